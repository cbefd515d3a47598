"""What the listening must reach, and whether it does.

Each target names a figure by its place in the document of figures. What there is no figure for
(a set left out, the quick run without a long file) is not listed as reached or missed.
"""

from dataclasses import dataclass
from typing import Any

from tests.benchmarks.ear.real_summary import LONG, POOLED, SHORTER
from tests.benchmarks.ear.summary import Figures


@dataclass(frozen=True, slots=True)
class Target:
    """``least``: the figure must be at least the bound, else at most."""

    what: str
    place: tuple[str, ...]
    bound: float
    least: bool = False

    def met(self, figures: Figures) -> Figures | None:
        """The target with its figure; ``None`` when there is none."""
        value: Any = figures
        for step in self.place:
            value = value.get(step) if isinstance(value, dict) else None
        if value is None:
            return None
        reached = value >= self.bound if self.least else value <= self.bound
        return {
            "what": self.what,
            "value": value,
            "bound": self.bound,
            "least": self.least,
            "reached": bool(reached),
        }


def _pairs(group: str, condition: str) -> tuple[str, ...]:
    return ("groups", group, "conditions", condition)


REAL = (
    Target(
        "real pairs, both struck, 0.35 s and longer, found",
        ("real", "pairs", POOLED, LONG, "found"),
        0.85,
        least=True,
    ),
    Target(
        "real pairs, both struck, shorter, found",
        ("real", "pairs", POOLED, SHORTER, "found"),
        0.75,
        least=True,
    ),
    Target(
        "real single line heard as two notes, of its time", ("real", "line", POOLED, "false"), 0.01
    ),
    Target(
        "real pairs found, ahead of every library at the same false share",
        ("real", "lead", "found"),
        0.0,
        least=True,
    ),
    Target("the same, frame by frame", ("real", "lead", "frames_found"), 0.0, least=True),
    Target("marks on real single lines", ("real", "marks", "single_line_movements"), 0),
    Target("whole movements, x real time", ("real", "x_real_time"), 30, least=True),
    Target("whole movements, as fast as the network, times", ("real", "lead", "speed"), 1, True),
)
MADE, RECORDED = _pairs("a", "made, 30 dB"), _pairs("b", "recorded notes")
OCTAVES, SHAKEN = _pairs("a", "made, octaves, 30 dB"), _pairs("d", "vibrato 15 c")
MADE_SETS = (
    Target("steady pairs at 30 dB, median error, cents", (*MADE, "median_c"), 0.3),
    Target("steady pairs at 30 dB, 95th percentile, cents", (*MADE, "p95_c"), 1.0),
    Target("octaves at 30 dB, median error, cents", (*OCTAVES, "median_c"), 0.3),
    Target("octaves at 30 dB, 95th percentile, cents", (*OCTAVES, "p95_c"), 1.0),
    Target("recorded notes, median error, cents", (*RECORDED, "median_c"), 0.7),
    Target("recorded notes, 95th percentile, cents", (*RECORDED, "p95_c"), 5.0),
    *(
        Target(
            f"{change}, moved from clean, 95th percentile", ("moved", change, "moved_p95_c"), 0.5
        )
        for change in ("AAC 64 kbit/s", "AAC 32 kbit/s", "Opus 24 kbit/s")
    ),
    Target("vibrato of 15 c, median error, cents", (*SHAKEN, "median_c"), 1.0),
    Target("vibrato of 15 c, 95th percentile, cents", (*SHAKEN, "p95_c"), 5.0),
    Target("pairs found at 30 dB", (*MADE, "right"), 0.98, least=True),
    Target("recorded pairs found", (*RECORDED, "right"), 0.95, least=True),
    Target(
        "octaves more than 4 c off found (a to c)",
        ("intervals", "octave", "right"),
        0.98,
        least=True,
    ),
    Target(
        "octaves within 4 c found (a to c)",
        ("intervals", "octave within 4 c", "right"),
        0.90,
        least=True,
    ),
    Target(
        "single notes heard as two", ("controls", "all lines", "singles", "false_pair_share"), 0.01
    ),
    Target("marks where no double stop sounds", ("controls", "all", "marks"), 0),
    Target("mark precision", ("marks", "all", "precision"), 0.98, least=True),
    Target("mark recall", ("marks", "all", "recall"), 0.95, least=True),
    Target("mark spans within 50 ms", ("marks", "all", "span_within_50_ms"), 0.95, least=True),
    Target("x real time, processor time of one core", ("cost", "x_real_time_cpu"), 30, least=True),
    Target("peak memory of a 60-minute file, MB", ("cost", "peak_mb_60"), 1024),
)
CALIBRATED = {"within_1": 0.68, "within_2": 0.95}
CALIBRATION_MARGIN = 0.05


def reached(figures: Figures) -> list[Figures]:
    """Every target that there is a figure for: of real playing, then of what was made."""
    found = [target.met(figures) for target in REAL]
    found += _calibrated("real single notes", figures["real"]["singles"].get(POOLED))
    found += [target.met(figures) for target in MADE_SETS]
    found += _calibrated("errors", figures.get("calibration", {}).get("all"))
    return [target for target in found if target is not None]


def _calibrated(what: str, row: Figures | None) -> list[Figures]:
    """How far coverage is from that of a normal distribution."""
    row = row or {}
    told = [(key, share) for key, share in CALIBRATED.items() if row.get(key) is not None]
    return [
        {
            "what": f"{what} within {key[-1]} stated deviation(s), off {share:g} by",
            "value": round(abs(row[key] - share), 4),
            "bound": CALIBRATION_MARGIN,
            "least": False,
            "reached": abs(row[key] - share) <= CALIBRATION_MARGIN,
        }
        for key, share in told
    ]
