"""The figures of the last full run as DEVELOPERS.md shows them, between two marked lines."""

from pathlib import Path
from typing import Any

from tests.benchmarks.ear.summary import Figures

DEVELOPERS = Path(__file__).resolve().parents[3] / "DEVELOPERS.md"
BEGIN = "<!-- figures: deploy/measure intonation --save -->"
END = "<!-- end of figures -->"
PAIR_COLUMNS = {
    "set": None,
    "double stops": "events",
    "found, %": "right",
    "median, c": "median_c",
    "p95, c": "p95_c",
    "max, c": "max_c",
    "unsure, %": "unsure",
    "in 1 sd, %": "within_1",
    "in 2 sd, %": "within_2",
}
LISTENER_COLUMNS = {
    "the same clips": None,
    "found, %": "found",
    "median, c": "median_c",
    "p95, c": "p95_c",
    "single notes heard as two, %": "false_pair_share",
    "multipitch accuracy, %": "multipitch_accuracy",
    "note F, %": "note_f1",
    "x real time": "x_real_time",
}


def write(found: Figures, path: Path = DEVELOPERS) -> None:
    """Put the figures in their place in ``path``."""
    text = path.read_text(encoding="utf-8")
    if text.count(BEGIN) != 1 or text.count(END) != 1:
        raise ValueError(f"{path.name} must hold {BEGIN!r} and {END!r} once each")
    before, after = text.split(BEGIN)[0], text.split(END)[1]
    path.write_text(f"{before}{BEGIN}\n{section(found)}\n{END}{after}", encoding="utf-8")


def section(found: Figures) -> str:
    """Where and when, targets, sets, and the other listeners."""
    about = (
        f"{found['date']}, {found['machine']}, Python {found['python']}, commit "
        f"{found['commit']}, seed {found['seed']}{_share(found['share'])}. Cents are absolute "
        "errors of the interval."
    )
    rows = {
        name: row
        for letter in "abcd"
        for name, row in found["groups"][letter]["conditions"].items()
    }
    whole = found["groups"]["e"]["conditions"]
    rows |= {f"whole clips: {name}": row for name, row in whole.items()}
    parts = [about, _targets(found["targets"]), _table(PAIR_COLUMNS, rows)]
    parts.append(_table(PAIR_COLUMNS, found["intervals"], "by interval"))
    parts.append(_table(LISTENER_COLUMNS, found["listeners"]["all"]))
    return "\n\n".join(parts)


def _share(share: float) -> str:
    return "" if share == 1.0 else f", {share:g} of the full run's clips (a busy machine)"


def _targets(targets: list[Figures]) -> str:
    lines = ["| what | figure | must be | |", "|---|---|---|---|"]
    for each in targets:
        bound = f"{'at least' if each['least'] else 'at most'} {each['bound']:g}"
        word = "reached" if each["reached"] else "**not yet**"
        lines.append(f"| {each['what']} | {each['value']:g} | {bound} | {word} |")
    return "\n".join(lines)


def _table(columns: dict[str, str | None], rows: dict[str, Figures], title: str = "") -> str:
    heads = list(columns)
    heads[0] = title or heads[0]
    lines = [f"| {' | '.join(heads)} |", "|---" * len(heads) + "|"]
    for name, row in rows.items():
        cells = [_cell(head, row.get(key)) for head, key in columns.items() if key]
        lines.append(f"| {name} | {' | '.join(cells)} |")
    return "\n".join(lines)


def _cell(head: str, value: Any) -> str:
    if value is None:
        return "–"
    if head.endswith("%"):
        return f"{100.0 * value:.1f}"
    return f"{value:.2f}" if head.endswith(" c") else f"{value:g}"
