"""Weeks of a made-up hand with one known cause of its deviations: :func:`weeks_of`.

Drills are rows of sixteen double stops with fingering: octaves (first and fourth finger), sixths
(neighbours), thirds (third and first, fourth and second), and stopped notes beside an open string,
each on one pair of strings, some in first position and some shifting up and down; first come the
two open strings, as one checks them (common practice, no source). Where ``opens`` is false no open
string is ever played. A week has 2 to 8 clips, each of one of the six drills set for a month; a
double stop is played with chance 0.8.

How sharp a note is, in cents::

    the cause's + the place's + the week's + the clip's + the playing's

The place's (string, finger, position and stop in one drill) is drawn once with ``PLACE_SD``: a
list of small habits, which no cause explains. The week's is of all stopped notes, the clip's of all
(its A4 is estimated). One note of fifty is a wrong one, 40 to 100 cents off. All of it is chosen,
to be as uneven as practice is.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from studio.progress.playings import ROW, PlayedClip
from studio.theory import VIOLIN

PLACE_SD, WEEK_SD, CLIP_SD, PLAYING_SD = 3.0, 1.5, 1.5, 7.0
WRONG_NOTES, WRONG_CENTS = 0.02, (40.0, 100.0)
PLAYED, LENGTH = 0.8, 16
DRILLS_A_MONTH, WEEKS_A_MONTH = 6, 4
CLIPS = (2, 9)
FIRST_DAY = date(2026, 3, 2)  # a Monday
# Semitones of the first finger above the nut by position, and of each finger above the first.
POSITIONS = {1: 2, 2: 4, 3: 5, 4: 7, 5: 9}
FRAME = {1: 0, 2: 2, 3: 3, 4: 5}
PAIRS = ((4, 3), (3, 2), (2, 1))
GRIPS = {
    "octaves": ((1, 4),),
    "sixths": ((1, 2), (2, 3), (3, 4)),
    "thirds": ((3, 1), (4, 2)),
    "open below": ((0, 1), (0, 2), (0, 3), (0, 4)),
    "open above": ((1, 0), (2, 0), (3, 0), (4, 0)),
}
FINGER, FRAME_WIDTH, STRING, POSITION, SHIFT, OPEN = (
    "finger",
    "frame",
    "string",
    "position",
    "shift",
    "open_string",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """What is true of it: a cause, which finger, string (1 the highest) or position, by how much.

    A frame that is ``cents`` too wide holds the fourth finger so much too high over the first, and
    those between in proportion. An open string that is out takes all notes on it along.
    """

    name: str
    cause: str = ""
    which: int = 0
    cents: float = 0.0
    weeks: int = 12
    opens: bool = True

    def adds(self, string: int, finger: int, position: int, shifted: int) -> float:
        """The cause's cents for one note."""
        if self.cause == OPEN:
            return self.cents * (string == self.which)
        if finger == 0:
            return 0.0
        if self.cause == FRAME_WIDTH:
            return self.cents * (finger - 1) / 3.0
        meant = {FINGER: finger, STRING: string, POSITION: position, SHIFT: self.which}
        held = {"": False, SHIFT: shifted == 1}.get(self.cause)
        return self.cents * (meant.get(self.cause) == self.which if held is None else held)


@dataclass(frozen=True, slots=True)
class _Drill:
    number: int
    rows: np.ndarray
    habits: np.ndarray


def weeks_of(hand: Hand, seed: int) -> list[PlayedClip]:
    """Its clips in time."""
    draw = np.random.default_rng(seed)
    drills: list[_Drill] = []
    clips = []
    for week in range(hand.weeks):
        if week % WEEKS_A_MONTH == 0:
            drills = [
                _drill(len(clips) * 10 + n + 1, hand.opens, draw) for n in range(DRILLS_A_MONTH)
            ]
        form = draw.normal(0.0, WEEK_SD)
        for _ in range(draw.integers(*CLIPS)):
            drill = drills[draw.integers(len(drills))]
            day = FIRST_DAY + timedelta(days=7 * week + int(draw.integers(7)))
            clips.append(_clip(hand, drill, day, form, draw))
    return clips


def _drill(number: int, opens: bool, draw: np.random.Generator) -> _Drill:
    kind = tuple(GRIPS)[draw.integers(len(GRIPS) if opens else 3)]
    strings = PAIRS[draw.integers(len(PAIRS))]
    stays = draw.random() < 0.4
    rows = np.zeros(LENGTH, ROW)
    begins = 0 if stays else int(draw.integers(2))
    ladder = [*range(1, 6), *range(4, 0, -1)]
    before = 0
    for n, row in enumerate(rows):
        grips = GRIPS[kind]
        position = 1 if stays else ladder[(begins + n // len(grips)) % len(ladder)]
        fingers = (0, 0) if opens and n == 0 else grips[n % len(grips)]
        stops = [(0 if finger == 0 else POSITIONS[position] + FRAME[finger]) for finger in fingers]
        lowest = [VIOLIN.open_strings[4 - string].midi for string in strings]
        notes = zip(lowest, stops, strings, fingers, strict=True)
        low, high = sorted((a + b, string, finger, b) for a, b, string, finger in notes)
        row["low"], row["high"], row["short"] = low[0], high[0], _short(high[0] - low[0])
        row["strings"], row["fingers"], row["stops"] = zip(low[1:], high[1:], strict=True)
        row["position"], row["shifted"] = position, int(n > 0 and position != before)
        row["at_s"], before = 3.0 * n, position
    rows["runs"], rows["doubt"] = 1, 0.5
    return _Drill(number, rows, draw.normal(0.0, PLACE_SD, (LENGTH, 2)))


def _short(semitones: int) -> str:
    names = {3: "m3", 4: "M3", 5: "P4", 7: "P5", 8: "m6", 9: "M6", 12: "P8", 10: "m7", 11: "M7"}
    return names.get(abs(semitones), "M2")


def _clip(
    hand: Hand, drill: _Drill, day: date, form: float, draw: np.random.Generator
) -> PlayedClip:
    played = draw.random(LENGTH) < PLAYED
    rows, habits = drill.rows[played].copy(), drill.habits[played]
    stopped = rows["fingers"] > 0
    cause = np.array(
        [
            [
                hand.adds(int(s), int(f), int(row["position"]), int(row["shifted"]))
                for s, f in zip(row["strings"], row["fingers"], strict=True)
            ]
            for row in rows
        ]
    ).reshape(len(rows), 2)
    off = cause + stopped * (habits + form + draw.normal(0.0, PLAYING_SD, stopped.shape))
    wrong = stopped & (draw.random(stopped.shape) < WRONG_NOTES)
    off = np.where(wrong, draw.uniform(*WRONG_CENTS, off.shape), off)
    off += draw.normal(0.0, CLIP_SD) + draw.normal(0.0, 0.5, off.shape)
    rows["off"] = off
    rows["settled"] = off[:, 1] - off[:, 0]
    rows["size"] = rows["first"] = rows["landing"] = np.abs(rows["settled"])
    rows["moved"], rows["balance"] = 2.0, 0.0
    return PlayedClip(clip=f"{day}", day=day, rows=rows, drill=drill.number, a4_hz=440.0)
