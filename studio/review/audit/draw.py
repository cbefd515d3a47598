"""Which moments a round asks about: marks and, of about the same length, double stops without one.

Of every five moments three are marks; the others are the last playings of runs in which nothing is
marked, as those are what a mark would be about. They are drawn so that each mark has one of about
its own length and kind beside it, so that neither tells what it is. Marks are taken from kind to
kind in turn, and within a kind from clip to clip, as far as there are any.

Only sizes of double stops are asked about. A mark about an open string or a lone note is left out:
nothing that sounds like it stands on the other side, so it would be known for a mark. Pure: what is
to choose from goes in, and the seed decides the rest.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from random import Random
from uuid import UUID

MARKS_IN_FIVE = 3
MOST = 100  # moments of a round
SHORTEST_S = 0.3  # chosen: what is shorter is hardly judged by ear
KIND_S = 1.0  # chosen: another kind is as far away as a length that is off by so much
LONGEST_S = 10.0  # chosen: what is longer keeps a round from being over in ten minutes


@dataclass(frozen=True, slots=True)
class Candidate:
    """A double stop that can be asked about; with a ``code`` it is marked. Times in seconds."""

    clip_id: UUID
    kind: str
    start_s: float
    end_s: float
    generation: int
    code: str = ""
    sentence: str = ""
    deviation_cents: float | None = None
    uncertainty_cents: float | None = None

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s

    @property
    def is_askable(self) -> bool:
        return SHORTEST_S <= self.length_s <= LONGEST_S


def drawn(candidates: Iterable[Candidate], seed: int) -> list[Candidate]:
    """The moments of a round in their order; empty where there are too few of either side."""
    chance = Random(seed)
    pool = [each for each in candidates if each.is_askable]
    chance.shuffle(pool)
    marks = [each for each in pool if each.code]
    others = [each for each in pool if not each.code]
    fives = fives_of(len(marks), len(others))
    chosen = _in_turn(marks, MARKS_IN_FIVE * fives)
    beside = _alike(chosen, others, (5 - MARKS_IN_FIVE) * fives, chance)
    moments = [*chosen, *beside]
    chance.shuffle(moments)
    return moments


def fives_of(marks: int, others: int) -> int:
    """How many times three marks and two others there are, at most a whole round."""
    return min(MOST // 5, marks // MARKS_IN_FIVE, others // (5 - MARKS_IN_FIVE))


def _in_turn(marks: Sequence[Candidate], many: int) -> list[Candidate]:
    """From kind to kind, and within each from clip to clip."""
    kinds = [_interleaved(_grouped(kind, "clip_id")) for kind in _grouped(marks, "kind")]
    return _interleaved(kinds)[:many]


def _alike(
    marks: Sequence[Candidate], others: Iterable[Candidate], many: int, chance: Random
) -> list[Candidate]:
    """For some of the marks the other that is nearest to its length and kind."""
    left, found = list(others), []
    for mark in chance.sample(marks, many):
        nearest = min(left, key=lambda one: _unlike_s(one, mark))
        left.remove(nearest)
        found.append(nearest)
    return found


def _unlike_s(one: Candidate, mark: Candidate) -> float:
    return abs(one.length_s - mark.length_s) + (KIND_S if one.kind != mark.kind else 0.0)


def _grouped(candidates: Iterable[Candidate], name: str) -> list[list[Candidate]]:
    groups: dict[object, list[Candidate]] = defaultdict(list)
    for each in candidates:
        groups[getattr(each, name)].append(each)
    return list(groups.values())


def _interleaved(groups: Iterable[Sequence[Candidate]]) -> list[Candidate]:
    """The first of each, then the second of each, and so on."""
    rows = zip_longest(*groups)
    return [each for row in rows for each in row if each is not None]
