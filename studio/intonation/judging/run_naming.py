"""What each run was: what is written, where a drill was followed, else what it was meant to be.

By what is written (:func:`runs_by_note`)
-----------------------------------------
Every playing of one expected note is one run, whenever it came. A pupil who goes back to the
beginning plays a written double stop again; with the drill in hand
that is one more playing of it, and only the last one counts. Whatever the drill does not ask for is
grouped by what was heard, as without one. What was played *in the place of* a written note is named
as wrong and not measured against it: it gets a run, and no mark.

By ear (:class:`Meaning`): one name for each pair of a run's voices
-------------------------------------------------------------------
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
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from studio.intonation.judging.interval_naming import BETWEEN_CENTS, NEAR_CENTS, Named, Namer
from studio.intonation.model.judgement import SURE
from studio.intonation.model.measurement import HeardInterval
from studio.intonation.model.runs import Played, RunOfPlayings, cents_of, find_runs
from studio.intonation.model.score_following import ExpectedNote, FollowedEvent, Following
from studio.intonation.wording.sentences import SAME_CENTS
from studio.theory import SEMITONE_CENTS

Pair = tuple[int, int]  # (low, high) voice index
Names = dict[Pair, Named]
# Choices of this project, in cents; see above.
CLEAR_CENTS = 20.0  # nearer than this, a name is not in doubt: two sixths are 71 cents apart
LEAD_CENTS = 15.0  # against a name outside the key
AWAY_CENTS = 15.0  # against a name that the playings moved away from
OPEN_CENTS = 6.0  # two names that cost the same within this are both possible
NO_TARGET_CENTS = 1000.0  # a name without a target gives way to any other
NEAR_ITS_NAME_CENTS = 25.0  # a note this near to its name at the clip's pitch belongs to the key


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
                name = round(cents / SEMITONE_CENTS)
                if abs(cents - SEMITONE_CENTS * name) <= NEAR_ITS_NAME_CENTS:
                    found.add(name % 12)
        return frozenset(found)


def _is_near(each: _Sounded, named: Named) -> bool:
    """Whether both notes are near enough to the name's."""
    (low, high), midi = each.cents, named.midi
    return (
        max(abs(low - SEMITONE_CENTS * midi[0]), abs(high - SEMITONE_CENTS * midi[1])) <= NEAR_CENTS
    )


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


def runs_by_note(
    items: Sequence[Played], following: Following, namer: Namer, a4_hz: float
) -> tuple[list[RunOfPlayings], list[Names | None]]:
    """Group what was heard by what was written.

    Returns
    -------
    runs, names
        In the order written, then what the drill does not ask for, in time; ``None`` for the names
        of the latter, which have to be found by ear.
    """
    rows = {row.event: row for row in following.events}
    groups: dict[tuple[int, tuple[int | None, ...]], RunOfPlayings] = {}
    names: dict[tuple[int, tuple[int | None, ...]], Names] = {}
    single: list[tuple[FollowedEvent, Played]] = []
    for item in items:
        row = rows[item.event.id]
        if row.state not in ("whole", "part") or row.note is None:
            continue
        if sum(place is not None for place in row.voices) < 2:
            if len(item.cents) == 1 or len(following.score[row.note].pitches) == 1:
                single.append((row, item))  # not a pair with a voice heard an octave off
            continue
        key = (row.note, row.voices)
        if key not in groups:
            note = following.score[row.note]
            groups[key] = RunOfPlayings(expected=note)
            names[key] = names_of(row, note, namer)
        groups[key].playings.append(_as_read(item, row, a4_hz))
    of_note: dict[int, list[RunOfPlayings]] = defaultdict(list)
    for (place, _), group in groups.items():
        of_note[place].append(group)
    for row, item in single:
        _give_broken(row, item, of_note, following)
    keys = sorted(groups, key=lambda key: (key[0], groups[key].playings[0].event.start_s))
    left = find_runs([item for item in items if rows[item.event.id].state in ("extra", "wrong")])
    for group in left:
        group.wrong = any(rows[item.event.id].state == "wrong" for item in group.playings)
    return (
        [*(groups[key] for key in keys), *left],
        [*(names[key] for key in keys), *(None for _ in left)],
    )


def names_of(row: FollowedEvent, note: ExpectedNote, namer: Namer) -> Names:
    """The written names of an event's pairs of voices."""
    placed = [(voice, place) for voice, place in enumerate(row.voices) if place is not None]
    return {
        (low, high): namer.written(note, low_place, high_place)
        for number, (low, low_place) in enumerate(placed)
        for high, high_place in placed[number + 1 :]
    }


def single_notes(following: Following) -> dict[int, ExpectedNote | None]:
    """Events that were written single notes, by id; ``None`` for those that no melody is judged by:
    notes of a double stop played alone, what was wrong, and what is not written at all."""
    found: dict[int, ExpectedNote | None] = {}
    for row in following.events:
        alone = (
            row.note is not None and row.state == "whole" and following.belongs_to[row.note] is None
        )
        found[row.event] = following.score[row.note] if alone and row.note is not None else None
    return found


def _as_read(item: Played, row: FollowedEvent, a4_hz: float) -> Played:
    if not row.reading:
        return item
    f0s_hz = sorted(item.event.alternatives[row.reading - 1].f0_hz)
    return Played(item.event, tuple(cents_of(f0, a4_hz) for f0 in f0s_hz), (item.cents,))


def _give_broken(
    row: FollowedEvent,
    item: Played,
    of_note: Mapping[int, Sequence[RunOfPlayings]],
    following: Following,
) -> None:
    """Give a note played alone to the run of its double stop.

    A separate note counts while the double stop is still to come; after that it belongs to another
    round, or is just another note.
    """
    assert row.note is not None
    separate = following.belongs_to[row.note]
    note = row.note if separate is None else separate
    for group in of_note.get(note, ()):
        if separate is None or item.event.start_s < group.playings[-1].event.start_s:
            group.broken.append(item)
        return
