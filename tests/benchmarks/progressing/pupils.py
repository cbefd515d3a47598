"""A school year of a made-up pupil, drawn from what is known of her: :func:`year_of`.

A week has 0 to 12 clips (6 on average); a clip answers one of the drills set then, each of which
lasts for 10 to 16 weeks, and plays its sixteen double stops with chance 0.8 each. The mean size of
a deviation, in cents and never below 3, is::

    typical size of the week + the drill's + the double stop's + the week's + the clip's

About it the playings are drawn from a normal law: half of the double stops are always off the same
way (deviation 0.6 of the middle), the others about nothing. One playing of fifty is a wrong note,
50 to 100 cents off. The typical size begins at ``begins_at`` and changes by ``per_week``. All of
it is chosen, to be as uneven as practice is.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy.special import ndtr

from studio.progress.playings import ROW, PlayedClip

LEAST_CENTS = 3.0
SPREAD = 0.6  # of the middle, of a double stop that is always off the same way
DRILL_SD, DOUBLE_STOP_SD, WEEK_SD, CLIP_SD = 3.0, 3.0, 1.5, 2.0
WRONG_NOTES, WRONG_CENTS = 0.02, (50.0, 100.0)
CLIPS_A_WEEK, MOST_CLIPS = 6.0, 12
DOUBLE_STOPS, PLAYED = 16, 0.8
DRILL_WEEKS = (10, 17)
FIRST_DAY = date(2026, 3, 2)  # a Monday
# Short name, semitones, the drills' strings by turns.
INTERVALS = (("P8", 12), ("M6", 9), ("M3", 4))
STRINGS = ((4, 3), (3, 2), (2, 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Pupil:
    """What is true of her. ``alike`` is the correlation of neighbouring weeks' form (0 to 1).

    ``easier`` is by how many cents each new drill is easier than the one before. In the middle of
    the time A4 moves by ``a4_moves`` cents, and another microphone adds ``doubt`` cents of
    uncertainty, takes ``snr_db`` from the distance to the noise and ``tilt_db`` from the upper
    note.
    """

    name: str
    begins_at: float = 20.0
    per_week: float = 0.0
    weeks: int = 40
    alike: float = 0.0
    easier: float = 0.0
    a4_moves: float = 0.0
    doubt: float = 0.0
    snr_db: float = 0.0
    tilt_db: float = 0.0
    singles: bool = False


@dataclass(frozen=True, slots=True)
class _Drill:
    number: int
    first: int
    last: int
    interval: tuple[str, int]
    strings: tuple[int, int]
    harder: float
    each: np.ndarray


def year_of(pupil: Pupil, seed: int) -> list[PlayedClip]:
    """Her clips in time."""
    draw = np.random.default_rng(seed)
    drills = _drills(pupil, draw)
    form, clips = 0.0, []
    for week in range(pupil.weeks):
        fresh = np.sqrt(1.0 - pupil.alike**2) if week else 1.0
        form = pupil.alike * form + draw.normal(0.0, WEEK_SD * fresh)
        size = pupil.begins_at + pupil.per_week * week + form
        now = [drill for drill in drills if drill.first <= week <= drill.last]
        for _ in range(min(MOST_CLIPS, draw.poisson(CLIPS_A_WEEK))):
            drill = now[draw.integers(len(now))]
            clips.append(_clip(pupil, drill, week, size + draw.normal(0.0, CLIP_SD), draw))
    return clips


def _drills(pupil: Pupil, draw: np.random.Generator) -> list[_Drill]:
    """Of each interval one after the other, the next begun two weeks before the last ends."""
    drills: list[_Drill] = []
    for interval in INTERVALS:
        first, turn = -int(draw.integers(0, 6)), int(draw.integers(3))
        while first < pupil.weeks:
            last = first + int(draw.integers(*DRILL_WEEKS)) - 1
            harder = draw.normal(0.0, DRILL_SD) - pupil.easier * turn
            each = draw.normal(0.0, DOUBLE_STOP_SD, DOUBLE_STOPS)
            strings = STRINGS[turn % len(STRINGS)]
            drills.append(_Drill(len(drills) + 1, first, last, interval, strings, harder, each))
            first, turn = last - 1, turn + 1
    return drills


def _unit(played: np.ndarray, draw: np.random.Generator) -> np.ndarray:
    """Signed deviations of mean size 1; those of even numbers are always off the same way.

    The mean size of a normal law (m, s) is s √(2/π) exp(-m²/2s²) + m (1 - 2 Φ(-m/s)).
    """
    about = (played % 2 == 0).astype(float)
    spread = np.where(about > 0, SPREAD, 1.0)
    z = about / spread
    mean = spread * np.sqrt(2.0 / np.pi) * np.exp(-z * z / 2.0) + about * (1.0 - 2.0 * ndtr(-z))
    way = np.where(played % 4 == 0, 1.0, -1.0)
    return way * (about + spread * draw.normal(size=len(played))) / mean


def _clip(
    pupil: Pupil, drill: _Drill, week: int, size: float, draw: np.random.Generator
) -> PlayedClip:
    later = week >= pupil.weeks // 2
    played = np.flatnonzero(draw.random(DOUBLE_STOPS) < PLAYED)
    rows = np.zeros(len(played), ROW)
    typical = np.maximum(size + drill.harder + drill.each[played], LEAST_CENTS)
    doubt = 0.5 + pupil.doubt * later
    settled = typical * _unit(played, draw) + draw.normal(0.0, doubt, len(played))
    wrong = draw.random(len(played)) < WRONG_NOTES
    settled[wrong] = draw.uniform(*WRONG_CENTS, int(np.sum(wrong)))
    rows["low"], rows["runs"], rows["doubt"] = 55 + 2 * played, 1, doubt
    if pupil.singles:
        rows["settled"] = settled * 0.3 + 15.0 - pupil.a4_moves * later
        rows["size"] = np.abs(rows["settled"])
    else:
        short, semitones = drill.interval
        rows["high"], rows["short"], rows["strings"] = rows["low"] + semitones, short, drill.strings
        rows["settled"], rows["size"] = settled, np.abs(settled)
        rows["first"] = rows["landing"] = np.abs(settled) * 1.5
        rows["moved"] = draw.gamma(4.0, 1.0, len(played))
        rows["balance"] = draw.normal(2.0, 3.0, len(played)) - pupil.tilt_db * later
    rows["at_s"] = 3.0 * played
    rows["fingers"] = rows["stops"] = rows["shifted"] = rows["position"] = -1
    rows["off"] = np.nan
    return PlayedClip(
        clip=f"{week}",
        day=FIRST_DAY + timedelta(days=7 * week + int(draw.integers(7))),
        rows=rows,
        drill=drill.number,
        a4_hz=440.0 * 2.0 ** ((pupil.a4_moves * later + draw.normal(0.0, 1.0)) / 1200.0),
        snr_db=30.0 + draw.normal(0.0, 2.0) - pupil.snr_db * later,
    )
