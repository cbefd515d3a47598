"""The figures as a person reads them."""

from collections.abc import Iterable, Mapping
from typing import Any

from tests.benchmarks.ear import real_table
from tests.benchmarks.ear.summary import Figures

PAIR_COLUMNS = {
    "events": ("n", "d"),
    "right": ("found", "%"),
    "wrong": ("wrong", "%"),
    "fewer": ("fewer", "%"),
    "more": ("more", "%"),
    "missed": ("missed", "%"),
    "median_c": ("median", "c"),
    "p90_c": ("p90", "c"),
    "p95_c": ("p95", "c"),
    "max_c": ("max", "c"),
    "unsure": ("unsure", "%"),
    "within_1": ("in 1 sd", "%"),
    "within_2": ("in 2 sd", "%"),
    "onset_within_50_ms": ("onset", "%"),
    "offset_within_50_ms": ("offset", "%"),
}
MARK_COLUMNS = {
    "expected": ("expected", "d"),
    "made": ("made", "d"),
    "precision": ("precision", "%"),
    "recall": ("recall", "%"),
    "span_within_50_ms": ("span", "%"),
    "span_p95_s": ("span p95", "s"),
}
LISTENER_COLUMNS = {
    "pairs": ("n", "d"),
    "found": ("found", "%"),
    "found_and_nothing_else": ("exactly", "%"),
    "one_voice": ("a voice", "%"),
    "wrong": ("wrong", "%"),
    "median_c": ("median", "c"),
    "p90_c": ("p90", "c"),
    "p95_c": ("p95", "c"),
    "max_c": ("max", "c"),
    "false_pair_share": ("false", "%"),
    "multipitch_precision": ("mp prec", "%"),
    "multipitch_recall": ("mp rec", "%"),
    "multipitch_accuracy": ("mp acc", "%"),
    "note_f1": ("note F", "%"),
    "onset_f1": ("onset F", "%"),
    "x_real_time": ("x real", "x"),
}
CONTROL_COLUMNS = {
    "minutes": ("minutes", "x"),
    "marks": ("marks", "d"),
    "double_stops": ("double", "d"),
    "notes": ("notes", "d"),
    "notes_right": ("right", "%"),
    "notes_false": ("as two", "%"),
}
FORMATS = {"d": "{:d}", "c": "{:.2f}", "s": "{:.3f}", "x": "{:.1f}"}


def table(title: str, columns: Mapping[str, tuple[str, str]], rows: Mapping[str, Figures]) -> str:
    """One table: a row a line, what there is nothing to say of as a dash."""
    width = max((len(name) for name in rows), default=0)
    width = max(width, len(title))
    head = f"{title:{width}}" + "".join(f"{short:>10}" for short, _ in columns.values())
    lines = [
        f"{name:{width}}"
        + "".join(f"{_cell(row.get(key), form):>10}" for key, (_, form) in columns.items())
        for name, row in rows.items()
    ]
    return "\n".join([head, *lines, ""])


def _cell(value: Any, form: str) -> str:
    if value is None:
        return "-"
    return f"{100.0 * value:.1f}" if form == "%" else FORMATS[form].format(value)


def report(figures: Figures) -> str:
    """Everything: real playing, then what was made, in the order of the groups."""
    parts = [table(*each) for each in real_table.parts(figures["real"])]
    parts.append(real_table.notes(figures["real"]))
    if "groups" in figures:
        parts += _made(figures)
    parts += [_cost(figures.get("cost")), _targets(figures["targets"])]
    return "\n".join(part for part in parts if part)


def _made(figures: Figures) -> list[str]:
    groups = figures["groups"]
    parts = [
        table(f"{letter}. {groups[letter]['title']}", PAIR_COLUMNS, groups[letter]["conditions"])
        for letter in "abcde"
        if letter in groups
    ]
    moved = {"moved_median_c": ("median", "c"), "moved_p95_c": ("p95", "c")}
    parts += [
        table("by interval (a to c)", PAIR_COLUMNS, figures["intervals"]),
        table("c. moved from clean, in cents", moved, figures["moved"]),
        table("e. marks", MARK_COLUMNS, figures["marks"]),
        table("f. no double stop sounds", CONTROL_COLUMNS, _flat(figures["controls"])),
    ]
    if figures.get("listeners"):
        parts.append(table("the same clips, all", LISTENER_COLUMNS, figures["listeners"]["all"]))
        for name, rows in figures["listeners"]["by_condition"].items():
            parts.append(table(f"  {name}", LISTENER_COLUMNS, rows))
        for name, rows in figures["listeners"]["by_interval"].items():
            parts.append(table(f"  {name}", LISTENER_COLUMNS, rows))
    return parts


def _flat(controls: Mapping[str, Figures]) -> dict[str, Figures]:
    return {
        name: {
            **row,
            "notes": row["singles"]["events"] or None,
            "notes_right": row["singles"]["right"],
            "notes_false": row["singles"]["false_pair_share"],
        }
        for name, row in controls.items()
    }


def _cost(cost: Figures | None) -> str:
    if not cost:
        return ""
    return (
        f"speed, one core after warm-up: {cost['x_real_time_cpu']} x real time by processor time, "
        f"{cost['x_real_time_wall']} x by the clock (the machine may be busy); "
        f"judging {cost['events']} events {cost['judge_ms']} ms\n"
        f"peak memory: {cost['peak_mb']} MB for {cost['peak_minutes']:g} minutes "
        f"({cost['sound_mb']} MB of it the sound), {cost['peak_mb_of_one_minute']} MB for one\n"
    )


def _targets(targets: Iterable[Figures]) -> str:
    lines = [
        f"  {'reached' if t['reached'] else 'NOT YET':8} {t['what']}: {t['value']:g} "
        f"({'at least' if t['least'] else 'at most'} {t['bound']:g})"
        for t in targets
    ]
    return "\n".join(["targets", *lines, ""])
