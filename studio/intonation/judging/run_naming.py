"""What a run was meant to be: one name for each pair of its voices.

A playing far off lies between two names: 845 cents may be a narrow major sixth or a wide minor
one. What was meant is told by all that belongs to the run, each put as so many cents:

* how near the nearest of its playings, or its two notes played separately, came to a target;
* ``LEAD_CENTS`` against a name with a note outside the key that the policy names or, where it names
  none, with a note that sounded nowhere in the clip near enough to its name;
* ``AWAY_CENTS`` against a name that the playings moved away from: who repeats, mends.

The name that costs least is taken. Where two cost much the same, nobody could say which was meant:
the name is ``between``, and nothing is marked. The numbers are choices of this project.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from studio.intonation.judging.interval_naming import BETWEEN_CENTS, NEAR_CENTS, Named, Namer
from studio.intonation.model.measurement import HeardInterval
from studio.intonation.model.runs import Played, RunOfPlayings
from studio.intonation.model.thresholds import SURE
from studio.intonation.wording.sentences import SAME_CENTS

Pair = tuple[int, int]  # (low, high) voice index
Names = dict[Pair, Named]
CLEAR_CENTS = 20.0  # nearer than this, a name is not in doubt: two sixths are 71 cents apart
LEAD_CENTS = 15.0
AWAY_CENTS = 15.0
OPEN_CENTS = 6.0  # two names that cost the same within this are both possible
NO_TARGET_CENTS = 1000.0  # a name without a target gives way to any other
NEAR_ITS_NAME_CENTS = 25.0


@dataclass(slots=True)
class _Sounded:
    """One playing of a pair: what was measured, the name it has alone, and its distance to that."""

    item: Played
    heard: HeardInterval
    named: Named
    off_cents: float

    @property
    def midi(self) -> tuple[int, int]:
        voices = self.item.event.voices
        return voices[self.heard.low].midi, voices[self.heard.high].midi

    @property
    def cents(self) -> tuple[float, float]:
        """The two notes above MIDI 0 at the clip's reference."""
        return self.item.cents[self.heard.low], self.item.cents[self.heard.high]


class Meaning:
    """Names the runs of one clip, whose events are ``items``.

    ``key_given``: the policy names the key, so that it need not be gathered from what sounded.
    """

    def __init__(self, namer: Namer, items: Sequence[Played], *, key_given: bool) -> None:
        self._namer, self._items, self._key_given = namer, items, key_given

    def names_of(self, group: RunOfPlayings) -> Names:
        """One name for each pair of voices in a run.

        That of the playing nearest to a target where it is clear; what the whole run says, where
        not.
        """
        by_pair: dict[Pair, list[_Sounded]] = {}
        intended = self._namer.intended
        for item in group.playings:
            voices = item.event.voices
            for heard in item.event.intervals:
                size = heard.size_cents
                named = intended(voices[heard.low].midi, voices[heard.high].midi, size)
                target = named.target_cents
                off = NO_TARGET_CENTS if target is None else abs(size - target)
                found = _Sounded(item, heard, named, off)
                by_pair.setdefault((heard.low, heard.high), []).append(found)
        return {pair: self._name(sounded, group) for pair, sounded in by_pair.items()}

    def _name(self, sounded: Sequence[_Sounded], group: RunOfPlayings) -> Named:
        nearest = sounded[0]
        for each in sounded:
            if each.off_cents < nearest.off_cents:
                nearest = each
        named = nearest.named
        if named.asked or named.target_cents is None:
            return named
        last_off = abs(sounded[-1].heard.size_cents - named.target_cents)
        if max(nearest.off_cents, last_off) <= CLEAR_CENTS:
            return named
        return self._weighed(named, sounded, group)

    def _weighed(self, nearest: Named, sounded: Sequence[_Sounded], group: RunOfPlayings) -> Named:
        """The name that costs least among all that a playing may have had."""
        rivals = self._rivals(nearest, sounded)
        if not rivals:
            return nearest
        apart_cents = group.size_apart_cents
        own = _cost(nearest, sounded, apart_cents)
        costs = [(named, _cost(named, sounded, apart_cents)) for named in rivals]
        if all(cost > own + LEAD_CENTS + OPEN_CENTS for _, cost in costs):
            return nearest  # whatever sounded elsewhere
        best, least, next_least = nearest, math.inf, math.inf
        for named, cost in ((nearest, own), *costs):
            if not self._is_at_home(named):
                cost += LEAD_CENTS
            if cost < least:
                best, least, next_least = named, cost, least
            else:
                next_least = min(next_least, cost)
        return replace(best, between=True) if next_least - least < OPEN_CENTS else best

    def _rivals(self, nearest: Named, sounded: Sequence[_Sounded]) -> list[Named]:
        """Another interval that a playing may have been: its size and its notes are near enough."""
        found: dict[str, Named] = {}
        for each in sounded:
            named = each.named
            if named is not nearest and named.target_cents is not None:
                found[named.interval.short] = named
            others = self._namer.readings(*each.midi)
            size = each.heard.size_cents
            for target, named in others:
                if -BETWEEN_CENTS <= size - target <= BETWEEN_CENTS and _is_near(each, named):
                    found.setdefault(named.interval.short, named)
        if found:
            found.pop(nearest.interval.short, None)
        return list(found.values())

    def _is_at_home(self, named: Named) -> bool:
        if self._key_given:
            return named.in_key
        low, high = named.midi
        return low % 12 in self._clearly_heard and high % 12 in self._clearly_heard

    @cached_property
    def _clearly_heard(self) -> frozenset[int]:
        """The pitch classes that sounded near their name at the clip's reference."""
        found = set()
        for item in self._items:
            for cents in item.cents:
                name = round(cents / 100.0)
                if abs(cents - 100.0 * name) <= NEAR_ITS_NAME_CENTS:
                    found.add(name % 12)
        return frozenset(found)


def _is_near(each: _Sounded, named: Named) -> bool:
    """Whether both notes are near enough to the name's."""
    (low, high), midi = each.cents, named.midi
    return max(abs(low - 100.0 * midi[0]), abs(high - 100.0 * midi[1])) <= NEAR_CENTS


def _cost(named: Named, sounded: Sequence[_Sounded], apart_cents: float | None) -> float:
    assert named.target_cents is not None  # the nearest has one, and so has every rival
    target = named.target_cents
    offs = [abs(each.heard.size_cents - target) for each in sounded]
    cost = min(offs) if apart_cents is None else min(*offs, abs(apart_cents - target))
    return cost + AWAY_CENTS if _moved_away(offs, sounded) else cost


def _moved_away(offs: Sequence[float], sounded: Sequence[_Sounded]) -> bool:
    first, last = (sounded[place].heard.uncertainty_cents for place in (0, -1))
    if len(sounded) < 2 or first is None or last is None:
        return False
    return offs[-1] - offs[0] > max(SAME_CENTS, SURE * (first**2 + last**2) ** 0.5)
