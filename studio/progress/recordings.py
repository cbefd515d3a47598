"""Whether what was recorded with changed on the way: the A4, or the microphone and its room.

An interval is the same whatever A4 is, and however the microphone colours the sound, so double
stops compare across such a change. What belongs to the recording does not: a single note's
deviation moves with A4, and how loud two notes are beside each other with the microphone. So of
single notes only the distance from the clip's own middle is compared, and balance only since the
latest change.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from studio.theory.cents import in_cents

from .playings import Playings
from .statistics.change_point import step_in

LEAST_A4_CENTS = 4.0  # chosen: twice what an A4 estimated from a clip is known to
LEAST_SNR_DB = 6.0  # chosen: half the amplitude; a door that is open or shut makes less
LEAST_BALANCE_DB = 2.0  # chosen: less is hardly heard


@dataclass(frozen=True, slots=True)
class Changed:
    """What changed (``a4``, ``microphone``) and on which day first; ``by`` in cents or dB."""

    what: str
    day: date
    clip: int
    by: float


def changes_in(playings: Playings, *, levels: bool = False) -> list[Changed]:
    """The steps in a pupil's clips, in time; ``levels``: in how loud two notes are, too."""
    clips = playings.clips
    a4 = _known([each.a4_hz for each in clips])
    cents = in_cents(a4 / 440.0)
    asked = [
        ("a4", cents, LEAST_A4_CENTS),
        ("microphone", _known([each.snr_db for each in clips]), LEAST_SNR_DB),
    ]
    if levels:
        asked.append(("microphone", _balances(playings), LEAST_BALANCE_DB))
    found = []
    for what, values, least in asked:
        places = np.flatnonzero(np.isfinite(values))
        step = step_in(values[places], least)
        if step is not None:
            at = int(places[step.at])
            found.append(Changed(what, clips[at].day, at, step.size))
    return sorted(found, key=lambda each: each.clip)


def _known(values: list[float | None]) -> np.ndarray:
    return np.array([np.nan if value is None else value for value in values], dtype=float)


def _balances(playings: Playings) -> np.ndarray:
    """Each clip's middle of how much louder the upper note was, in dB."""
    heard = np.isfinite(playings.rows["balance"])
    return clip_medians(playings.rows["balance"][heard], playings.clip[heard], len(playings.clips))


def clip_medians(values: np.ndarray, clip: np.ndarray, clips: int) -> np.ndarray:
    """The median of each clip's values; NaN of a clip without any."""
    order = np.lexsort((values, clip))
    ordered, many = values[order].astype(float), np.bincount(clip, minlength=clips)
    start = np.cumsum(many) - many
    some = many > 0
    medians = np.full(clips, np.nan)
    low, high = start + (many - 1) // 2, start + many // 2
    medians[some] = (ordered[low[some]] + ordered[high[some]]) / 2.0
    return medians
