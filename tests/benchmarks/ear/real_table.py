"""Real playing as a person reads it."""

from tests.benchmarks.ear.real_summary import POOLED
from tests.benchmarks.ear.summary import Figures

PAIR_COLUMNS = {
    "pairs": ("n", "d"),
    "found": ("found", "%"),
    "from": ("from", "%"),
    "to": ("to", "%"),
    "unsure": ("unsure", "%"),
    "frames_found": ("fr found", "%"),
    "frames_exactly": ("fr exact", "%"),
}
LINE_COLUMNS = {
    "seconds": ("seconds", "x"),
    "false": ("false", "%"),
    "frames_false": ("fr false", "%"),
}
SINGLE_COLUMNS = {
    "notes": ("n", "d"),
    "compared": ("compared", "d"),
    "median_c": ("median", "c"),
    "gross": ("gross", "%"),
    "unsure": ("unsure", "%"),
    "sure": ("n sure", "d"),
    "within_1": ("in 1 sd", "%"),
    "within_2": ("in 2 sd", "%"),
    "joined_within_1": ("joined 1", "%"),
    "joined_within_2": ("joined 2", "%"),
}
LISTENER_COLUMNS = {
    "long_found": ("long", "%"),
    "found": ("found", "%"),
    "false": ("false", "%"),
    "at_false": ("at ours", "%"),
    "frames_found": ("fr found", "%"),
    "frames_exactly": ("fr exact", "%"),
    "frames_false": ("fr false", "%"),
    "frames_at_false": ("at ours", "%"),
    "exactly_at_false": ("ex. ours", "%"),
    "x_real_time": ("x real", "x"),
}
CURVE = ("long_found", "found", "false", "frames_found", "frames_exactly", "frames_false")
CURVE_COLUMNS = {key: LISTENER_COLUMNS[key] for key in CURVE}


def parts(real: Figures) -> list[tuple[str, dict[str, tuple[str, str]], dict[str, Figures]]]:
    """Title, columns and rows of each table."""
    found = [
        ("real playing: pairs, 95 % interval", PAIR_COLUMNS, pairs(real)),
        ("real playing: single line", LINE_COLUMNS, by_player(real, "line")),
        ("real playing: single notes", SINGLE_COLUMNS, by_player(real, "singles")),
    ]
    if "listeners" in real:
        found.append(("real playing: both struck", LISTENER_COLUMNS, real["listeners"]))
        found += [(f"  {name}", CURVE_COLUMNS, rows) for name, rows in curves(real).items()]
    return found


def pairs(real: Figures) -> dict[str, Figures]:
    """Each group of pairs, of all players and of each."""
    return {
        group if name == POOLED else f"{group}, {name}": real["pairs"][name][group]
        for group in real["pairs"][POOLED]
        for name in _order(real)
        if group in real["pairs"][name]
    }


def by_player(real: Figures, what: str) -> dict[str, Figures]:
    """A figure of all players, and of each."""
    return {name: real[what][name] for name in _order(real)}


def curves(real: Figures) -> dict[str, dict[str, Figures]]:
    """By listener, its settings."""
    return {
        name: {point["setting"]: point for point in points}
        for name, points in real["curves"].items()
    }


def _order(real: Figures) -> list[str]:
    players = [name for name in real["pairs"] if name != POOLED]
    return [POOLED, *(players if len(players) > 1 else ())]


def notes(real: Figures) -> str:
    """What is no table."""
    marks = real["marks"]
    return (
        f"marks: {_or_dash(marks['single_line_movements'])} on whole movements of one line, "
        f"{marks['single_line_stretches']} in single-line stretches, {marks['all']} in all; "
        f"{real['x_real_time']} x real time; "
        + (
            "heard as fitted without the player who is judged"
            if real["players_left_out"]
            else "heard as it is"
        )
        + ".\n"
    )


def _or_dash(value: int | None) -> str:
    return "-" if value is None else str(value)
