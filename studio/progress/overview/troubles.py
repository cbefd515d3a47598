"""What goes wrong most across a studio: for each interval the share of runs that ended off.

A run counts as off where its last playing lies further from the target than the pupil's own level
allows, by more than twice its uncertainty: as a mark does. Each pupil has one voice, however much
she sent: the share is the mean of the pupils' shares, and its uncertainty (one standard deviation)
follows from how they differ. Of fewer than ``FEWEST_PUPILS`` nothing is said, and nobody is named.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..playings import PlayedClip
from ..subjects import SINGLE_NOTES, word_for

SURE = 2.0  # standard deviations, as a mark
FEWEST_PUPILS = 3  # of fewer it would be known who is meant
FEWEST_RUNS = 5  # of a pupil, for her share to be one: chosen
MOST_SAID = 6

PERFECT = frozenset({"unisons", "fourths", "fifths", "octaves"})


@dataclass(frozen=True, slots=True)
class Trouble:
    """``share`` from 0 to 1, ``uncertainty`` one standard deviation of it."""

    interval: str
    share: float
    uncertainty: float
    pupils: int
    runs: int
    off: int


def troubles(
    clips: Sequence[tuple[int, PlayedClip]], allowed: Mapping[int, tuple[float, float]]
) -> list[Trouble]:
    """The intervals that end off most, the largest share first.

    ``clips`` are those of pupils, each with the number of the place; ``allowed`` says of each place
    how many cents perfect and other intervals may be off.
    """
    if not clips:
        return []
    rows = np.concatenate([clip.rows for _place, clip in clips])
    places = np.repeat([place for place, _clip in clips], [len(c.rows) for _place, c in clips])
    codes, short = np.unique(np.ascontiguousarray(rows["short"]).view("<u4"), return_inverse=True)
    words = [word_for(code.decode()) for code in codes.view("S4")]
    perfect = np.array([word in PERFECT for word in words])[short]
    numbers, which = np.unique(places, return_inverse=True)
    bounds = np.array([allowed[int(number)] for number in numbers])[which]
    bound = np.where(perfect, bounds[:, 0], bounds[:, 1])
    off = rows["size"] - bound > SURE * np.nan_to_num(rows["doubt"])
    found = []
    for word in {each for each in words if each and each != SINGLE_NOTES}:
        mine = np.array([each == word for each in words])[short]
        said = _of(word, which[mine], off[mine], rows["runs"][mine])
        if said is not None:
            found.append(said)
    return sorted(found, key=lambda one: (-one.share, one.interval))[:MOST_SAID]


def _of(word: str, pupil: np.ndarray, off: np.ndarray, runs: np.ndarray) -> Trouble | None:
    played = np.bincount(pupil, weights=runs)
    ended_off = np.bincount(pupil, weights=runs * off)
    enough = played >= FEWEST_RUNS
    if enough.sum() < FEWEST_PUPILS:
        return None
    shares = ended_off[enough] / played[enough]
    return Trouble(
        interval=word,
        share=float(shares.mean()),
        uncertainty=float(shares.std(ddof=1) / np.sqrt(len(shares))),
        pupils=int(enough.sum()),
        runs=int(played[enough].sum()),
        off=int(ended_off[enough].sum()),
    )
