"""What is compared over weeks: one row for each double stop or note of a clip, and a pupil's all.

Cents are deviations from the target, wide and sharp positive; sizes have no sign. A row is the runs
of one thing in one clip, put together by :func:`studio.progress.statistics.robust.location`;
``runs`` says how many. NaN is what could not be measured; 0 in ``strings`` and ``high``, -1 in
``fingers``, ``stops``, ``position`` and ``shifted``, what nothing says, or what a single note does
not have.

``off`` is how sharp each note lies by itself. A double stop is tuned pure and a scale is not, so
the two notes' places are those of equal temperament at the clip's own A4, moved apart or together,
each by half, until they are pure; beside an open string, which cannot move, the stopped note alone
is moved. So the upper note's less the lower's is the deviation of the interval.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

import numpy as np

LAYOUT = 2  # raised when the meaning of a field changes: rows of another one are written anew
ROW = np.dtype(
    [
        ("low", "u1"),  # MIDI numbers; of a single note the note
        ("high", "u1"),
        ("short", "S4"),  # the interval, such as b"M6"; empty of a single note
        (
            "strings",
            "u1",
            2,
        ),  # the player's numbers, 1 the highest, of the lower and the higher note
        ("fingers", "i1", 2),
        ("stops", "i1", 2),  # semitones above the open string, 0 the open string itself
        ("position", "i1"),
        ("shifted", "i1"),  # 1 where the hand moved along the string to reach it, 0 where not
        ("runs", "<u2"),
        ("at_s", "<f4"),  # where the playing nearest to ``size`` begins
        ("settled", "<f4"),  # signed, of each run's last settled playing
        ("size", "<f4"),  # its size, without the sign
        ("doubt", "<f4"),  # one standard deviation of a single playing's measurement
        ("first", "<f4"),  # the size of each run's first playing
        ("landing", "<f4"),  # the size just after the onset of the first playing
        ("moved", "<f4"),  # how far it moved while it was held, one standard deviation
        ("off", "<f4", 2),  # how sharp the lower and the higher note are
        ("balance", "<f4"),  # level of the upper note less that of the lower one, in dB
    ]
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedClip:
    """One clip's rows, and what they were recorded and judged with.

    ``drill`` is the number of the drill, 0 where the clip answers none. ``snr_db`` is how far its
    notes stand above the noise, ``a4_hz`` its own reference.
    """

    clip: UUID | str
    day: date
    rows: np.ndarray
    drill: int = 0
    tuning: str = "just"
    key: str = ""
    a4_hz: float | None = None
    snr_db: float | None = None

    @classmethod
    def empty(cls, clip: UUID | str, day: date) -> "PlayedClip":
        """A clip that says nothing."""
        return cls(clip=clip, day=day, rows=np.zeros(0, ROW))


@dataclass(frozen=True, slots=True, eq=False)
class Playings:
    """All rows of a pupil in time, and of each the place of its clip in ``clips``."""

    clips: tuple[PlayedClip, ...]
    rows: np.ndarray
    clip: np.ndarray
    week: np.ndarray

    @classmethod
    def of(cls, clips: Sequence[PlayedClip]) -> "Playings":
        """Clips in any order; a week is counted from Monday, and has the same number everywhere."""
        in_time = tuple(sorted(clips, key=lambda each: each.day))
        many = [len(each.rows) for each in in_time]
        rows = np.frombuffer(b"".join(each.rows.tobytes() for each in in_time), ROW)
        weeks = np.array([week_of(each.day) for each in in_time], dtype=np.int64)
        return cls(in_time, rows, np.repeat(np.arange(len(many)), many), np.repeat(weeks, many))

    def where(self, wanted: np.ndarray) -> "Playings":
        """Some of the rows, by booleans or by their places."""
        # As plain bytes: else numpy copies field by field, which takes five times as long.
        packed = np.ascontiguousarray(self.rows).view(f"V{ROW.itemsize}")
        rows = packed[wanted].view(ROW)
        return Playings(self.clips, rows, self.clip[wanted], self.week[wanted])

    def of_clips(self, values: Sequence[float | int]) -> np.ndarray:
        """A value of each clip, for each row."""
        return np.asarray(values)[self.clip]


def week_of(day: date) -> int:
    """The number of a day's week, which begins on Monday.

    >>> week_of(date(2026, 11, 30)) - week_of(date(2026, 11, 29))
    1
    """
    return (day.toordinal() - 1) // 7


def monday_of(week: int) -> date:
    """The first day of a week by its number.

    >>> monday_of(week_of(date(2026, 12, 2)))
    datetime.date(2026, 11, 30)
    """
    return date.fromordinal(week * 7 + 1)
