"""Figures of real playing from its scores. Shares are 0 to 1; ``None`` where there is nothing."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from tests.benchmarks.ear.real import COUNTED
from tests.benchmarks.ear.real_scoring import GROSS_CENTS, MovementScore, PairScore, SingleScore
from tests.benchmarks.ear.summary import Figures

Scores = dict[str, list[MovementScore]]  # ours and the others', by listener

POOLED = "pooled"
LONG_S = 0.35
LONG, SHORTER = "both struck, 0.35 s and longer", "both struck, shorter"
Z95 = 1.959964
READER_SURE_CENTS = 1.0
OCTAVE, FIFTH = 12, 7


def _both(pair: PairScore) -> bool:
    return pair.label.struck == 2 and pair.label.check in COUNTED


def _held(pair: PairScore) -> bool:
    return pair.label.struck == 1 and pair.label.check in COUNTED


GROUPS: dict[str, Callable[[PairScore], bool]] = {
    LONG: lambda p: _both(p) and p.label.length_s >= LONG_S,
    SHORTER: lambda p: _both(p) and p.label.length_s < LONG_S,
    "one held over": _held,
    **{
        f"{who}, check {check}": lambda p, i=is_of, c=check: i(p) and p.label.check == c
        for who, is_of in (("both struck", _both), ("one held over", _held))
        for check in COUNTED
    },
    "octaves, both struck": lambda p: (
        p.label.semitones == OCTAVE
        and p.label.struck == 2
        and p.label.check in (*COUNTED, "octave_unverified")
    ),
    "fifths, both struck": lambda p: _both(p) and p.label.semitones == FIFTH,
}


def real(scores: Scores, ours: str) -> Figures:
    """Everything about real playing: ours by player and pooled, and beside the other listeners."""
    mine = scores[ours]
    players = sorted({each.player for each in mine})
    by_player = {name: [m for m in mine if m.player == name] for name in players}
    rows = {**by_player, POOLED: mine}
    found: Figures = {
        "players_left_out": all(each.left_out for each in mine),
        "pairs": {name: pair_rows(of) for name, of in rows.items()},
        "line": {name: line_row(of) for name, of in rows.items()},
        "singles": {name: single_row(of) for name, of in rows.items()},
        "marks": mark_row(mine),
        "x_real_time": _speed(mine),
    }
    if len(scores) > 1:
        found["listeners"], found["curves"] = listeners(scores, ours)
        found["lead"] = _lead(found["listeners"], ours)
    return found


def wilson(hits: int, of: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927, *J. Am. Stat. Assoc.* 22, 209-212)."""
    share, spread = hits / of, Z95**2 / of
    middle = (share + spread / 2.0) / (1.0 + spread)
    half = np.sqrt(spread * share * (1.0 - share) + spread**2 / 4.0) / (1.0 + spread)
    return max(0.0, float(middle - half)), min(1.0, float(middle + half))


def pair_rows(movements: Iterable[MovementScore]) -> dict[str, Figures]:
    """Each group of labelled pairs that there is."""
    pairs = [pair for movement in movements for pair in movement.pairs]
    rows = {name: [p for p in pairs if belongs(p)] for name, belongs in GROUPS.items()}
    return {name: pair_row(of) for name, of in rows.items() if of}


def pair_row(pairs: Sequence[PairScore]) -> Figures:
    """Event by event with its interval, and frame by frame."""
    found = [pair for pair in pairs if pair.found]
    low, high = wilson(len(found), len(pairs))
    frames = sum(pair.frames for pair in pairs)
    return {
        "pairs": len(pairs),
        "found": _ratio(len(found), len(pairs)),
        "from": round(low, 4),
        "to": round(high, 4),
        "unsure": _ratio(sum(pair.unsure for pair in found), len(found)),
        "frames_found": _ratio(sum(pair.frames_found for pair in pairs), frames),
        "frames_exactly": _ratio(sum(pair.frames_exactly for pair in pairs), frames),
    }


def line_row(movements: Sequence[MovementScore]) -> Figures:
    """How much of the single line is reported as two or more notes."""
    seconds = sum(movement.line_s for movement in movements)
    return {
        "seconds": round(seconds, 1),
        "false": _ratio(sum(movement.false_s for movement in movements), seconds),
        "frames_false": _ratio(
            sum(movement.false_frames for movement in movements),
            sum(movement.line_frames for movement in movements),
        ),
    }


def mark_row(movements: Sequence[MovementScore]) -> Figures:
    """Marks where one line is played: whole movements of it, and stretches of others."""
    lines = [movement for movement in movements if movement.single_line]
    return {
        "single_line_movements": sum(m.marks for m in lines) if lines else None,
        "single_line_stretches": sum(movement.line_marks for movement in movements),
        "all": sum(movement.marks for movement in movements),
    }


def single_row(movements: Iterable[MovementScore]) -> Figures:
    """Single notes that nothing rings beside, against the reader.

    Coverage by the stated deviation alone is told of notes that the reader is sure of; *joined*
    takes all, and the reader's standard error with the stated one.
    """
    asked = [s for m in movements for s in m.singles if s.label.check == "ok"]
    read = [s for s in asked if s.error_cents is not None]
    same = [s for s in read if abs(s.error_cents or 0.0) <= GROSS_CENTS]
    told = [s for s in read if s.stated_cents is not None]
    sure = [s for s in told if (s.reader_cents or 0.0) <= READER_SURE_CENTS]
    middle = np.median([abs(s.error_cents or 0.0) for s in same]) if same else None
    return {
        "notes": len(asked),
        "compared": len(read),
        "median_c": None if middle is None else round(float(middle), 2),
        "gross": _ratio(len(read) - len(same), len(read)),
        "unsure": _ratio(len(read) - len(told), len(read)),
        "sure": len(sure),
        **{f"within_{n}": _covered(sure, n, joined=False) for n in (1, 2)},
        "told": len(told),
        **{f"joined_within_{n}": _covered(told, n, joined=True) for n in (1, 2)},
    }


def _covered(singles: Sequence[SingleScore], deviations: int, *, joined: bool) -> float | None:
    def inside(single: SingleScore) -> bool:
        own = (single.reader_cents or 0.0) if joined else 0.0
        bound = deviations * np.hypot(single.stated_cents or 0.0, own)
        return abs(single.error_cents or 0.0) <= bound

    return _ratio(sum(map(inside, singles)), len(singles))


# --- beside the other listeners -----------------------------------------------------------------


def listeners(scores: Scores, ours: str) -> tuple[dict[str, Figures], dict[str, list[Figures]]]:
    """One row a listener at its usual setting, and for those with thresholds all settings.

    ``at_false`` and ``frames_at_false`` are what it finds at our false share.
    """
    rows, curves = {}, {}
    mine = point(scores[ours])
    for name, movements in scores.items():
        settings = list(dict.fromkeys(movement.setting for movement in movements))
        points = [point([m for m in movements if m.setting == each]) for each in settings]
        if len(points) > 1:
            curves[name] = points
        usual = [m for m in movements if m.setting == settings[0]]
        rows[name] = {
            **points[0],
            "at_false": at_share(points, "found", "false", mine),
            "frames_at_false": at_share(points, "frames_found", "frames_false", mine),
            "exactly_at_false": at_share(points, "frames_exactly", "frames_false", mine),
            "x_real_time": _speed(usual),
        }
    return rows, curves


def point(movements: Sequence[MovementScore]) -> Figures:
    """Found among the pairs of which both notes are struck, and false, at one setting."""
    pairs = [pair for movement in movements for pair in movement.pairs]
    row = pair_row([pair for pair in pairs if _both(pair)])
    kept = ("pairs", "found", "frames_found", "frames_exactly")
    line = line_row(movements)
    return {
        "setting": movements[0].setting,
        **{key: row[key] for key in kept},
        "long_found": pair_row([pair for pair in pairs if GROUPS[LONG](pair)])["found"],
        "false": line["false"],
        "frames_false": line["frames_false"],
    }


def at_share(points: Sequence[Figures], found: str, false: str, ours: Figures) -> float:
    """What a listener finds at our false share, on straight lines between its settings.

    Who leaves out a random part of what is reported moves on the line to nothing found and nothing
    false (Provost & Fawcett 2001, *Machine Learning* 42, 203-231); so the curve begins there. With
    a larger false share than any of its settings it finds what it finds at its most.
    """
    reached = sorted((each[false] or 0.0, each[found] or 0.0) for each in points)
    shares, values = zip((0.0, 0.0), *reached, strict=True)
    return round(float(np.interp(ours[false], shares, np.maximum.accumulate(values))), 4)


def _lead(rows: dict[str, Figures], ours: str) -> Figures:
    """Ours less the best of the others' at our false share; how often as fast as the network."""
    others = {name: row for name, row in rows.items() if name != ours}
    mine = rows[ours]
    lead: Figures = {
        "found": mine["found"] - max(row["at_false"] for row in others.values()),
        "frames_found": mine["frames_found"] - max(r["frames_at_false"] for r in others.values()),
    }
    lead = {key: round(value, 4) for key, value in lead.items()}
    network = others.get("Basic Pitch")
    if network and network["x_real_time"]:
        lead["speed"] = round(mine["x_real_time"] / network["x_real_time"], 2)
    return lead


def _speed(movements: Sequence[MovementScore]) -> float | None:
    cpu_s = sum(movement.cpu_s for movement in movements)
    return round(sum(m.duration_s for m in movements) / cpu_s, 1) if cpu_s else None


def _ratio(part: float, whole: float) -> float | None:
    return round(float(part) / whole, 4) if whole else None
