"""The figures kept, as DEVELOPERS.md and README.md show them, between two marked lines each."""

from pathlib import Path
from typing import Any

from tests.benchmarks.ear import real_table
from tests.benchmarks.ear.summary import Figures

ROOT = Path(__file__).resolve().parents[3]
DEVELOPERS, README = ROOT / "DEVELOPERS.md", ROOT / "README.md"
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
REAL_PAIR_COLUMNS = {
    "real pairs": None,
    "pairs": "pairs",
    "found, %": "found",
    "95 % interval from, %": "from",
    "to, %": "to",
    "unsure, %": "unsure",
    "frames found, %": "frames_found",
    "frames exactly, %": "frames_exactly",
}
LINE_COLUMNS = {
    "real single line": None,
    "seconds": "seconds",
    "heard as two, % of the time": "false",
    "of the frames, %": "frames_false",
}
SINGLE_COLUMNS = {
    "real single notes": None,
    "notes": "notes",
    "compared": "compared",
    "median, c": "median_c",
    "gross, %": "gross",
    "unsure, %": "unsure",
    "reader sure of": "sure",
    "in 1 sd, %": "within_1",
    "in 2 sd, %": "within_2",
    "joined in 1 sd, %": "joined_within_1",
    "joined in 2 sd, %": "joined_within_2",
}
CURVE_COLUMNS = {
    "setting": None,
    "0.35 s and longer found, %": "long_found",
    "all found, %": "found",
    "single line heard as two, %": "false",
    "frames found, %": "frames_found",
    "frames exactly, %": "frames_exactly",
    "frames false, %": "frames_false",
}
REAL_LISTENER_COLUMNS = {
    **CURVE_COLUMNS,
    "found at our false share, %": "at_false",
    "frames found at ours, %": "frames_at_false",
    "exactly at ours, %": "exactly_at_false",
    "x real time": "x_real_time",
}
REAL_OVERVIEW = {
    "real playing": None,
    "double stops found, %": "found",
    "single line heard as two, % of its time": "false",
    "found at our share of it, %": "at_false",
    "x real time": "x_real_time",
}
MADE_OVERVIEW = {
    "made clips": None,
    "double stops found, %": "found",
    "median error, c": "median_c",
    "95th percentile, c": "p95_c",
    "single notes heard as two, %": "false_pair_share",
    "x real time": "x_real_time",
}


def write(found: Figures) -> None:
    """Put the figures in their places."""
    put(section(found), DEVELOPERS)
    put(overview(found), README)


def put(figures: str, path: Path) -> None:
    """Put ``figures`` between the marked lines of ``path``."""
    text = path.read_text(encoding="utf-8")
    if text.count(BEGIN) != 1 or text.count(END) != 1:
        raise ValueError(f"{path.name} must hold {BEGIN!r} and {END!r} once each")
    before, after = text.split(BEGIN)[0], text.split(END)[1]
    path.write_text(f"{before}{BEGIN}\n{figures}\n{END}{after}", encoding="utf-8")


def overview(found: Figures) -> str:
    """Beside the other listeners: real playing, then what was made."""
    real, made = found["real"]["listeners"], found["listeners"]["all"]
    return "\n\n".join(
        (_table(REAL_OVERVIEW, real, "real playing"), _table(MADE_OVERVIEW, made, "made clips"))
    )


def section(found: Figures) -> str:
    """Where and when, targets; real playing, sets, and the other listeners."""
    share = "" if found["share"] == 1.0 else f", {found['share']:g} of the full run's clips"
    about = (
        f"Made sets: {_made_by(found)}, seed {found['seed']}{share}. Cents are absolute errors of "
        "the interval."
    )
    rows = {
        name: row
        for letter in "abcd"
        for name, row in found["groups"][letter]["conditions"].items()
    }
    whole = found["groups"]["e"]["conditions"]
    rows |= {f"whole clips: {name}": row for name, row in whole.items()}
    parts = [_targets(found["targets"]), *_real(found["real"])]
    parts += [about, _table(PAIR_COLUMNS, rows)]
    parts.append(_table(PAIR_COLUMNS, found["intervals"], "by interval"))
    parts.append(_table(LISTENER_COLUMNS, found["listeners"]["all"]))
    return "\n\n".join(parts)


def _made_by(of: Figures) -> str:
    return f"{of['date']}, {of['machine']}, Python {of['python']}, commit {of['commit']}"


def _real(real: Figures) -> list[str]:
    curves = [
        _table(CURVE_COLUMNS, rows, f"{name} at") for name, rows in real_table.curves(real).items()
    ]
    return [
        f"Real playing: {_made_by(real)}. {real_table.notes(real).strip().capitalize()}",
        _table(REAL_PAIR_COLUMNS, real_table.pairs(real), "real pairs"),
        _table(LINE_COLUMNS, real_table.by_player(real, "line"), "real single line"),
        _table(SINGLE_COLUMNS, real_table.by_player(real, "singles"), "real single notes"),
        _table(REAL_LISTENER_COLUMNS, real["listeners"], "real pairs, both struck"),
        *curves,
    ]


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
    if "%" in head:
        return f"{100.0 * value:.1f}"
    return f"{value:.2f}" if head.endswith(" c") else f"{value:g}"
