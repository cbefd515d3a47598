"""What an interval was meant to be: its name, spelling and target under a policy."""

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product

from studio.intonation.model.options import Policy
from studio.intonation.model.score_following import ExpectedNote
from studio.theory import (
    Interval,
    Key,
    Pitch,
    interval_between,
    interval_of_semitones,
    spell,
    spell_pair,
    target_cents,
)
from studio.theory.intervals import MAX_SEMITONES, TRITONE
from studio.theory.pitches import spellings

# Chosen:
NEAR_CENTS = 70.0  # how far off a playing may be and still be taken for what was asked
BETWEEN_CENTS = 55.0  # about halfway between two sizes: the key decides,
KEY_LEAD_CENTS = 15.0  # unless the reading outside the key is nearer by more than this
# Other readings of two notes: one of them a semitone away.
_NEIGHBOURS = ((0, -1), (0, 1), (1, 0), (-1, 0))


@dataclass(frozen=True, slots=True)
class Named:
    """An interval with its two spelled notes, its target in cents and its tolerance."""

    low: Pitch
    high: Pitch
    interval: Interval
    target_cents: float | None
    tolerance_cents: float
    expected: ExpectedNote | None = None
    score_ref: str | None = None
    asked: bool = False  # by the drill or the score
    in_key: bool = True  # both notes, where a key is known
    midi: tuple[int, int] = (0, 0)
    names: tuple[str, str] = ("", "")
    between: bool = False  # two sizes, and nothing tells which was meant


class Namer:
    """Names pairs of MIDI numbers under one policy, and pairs of written notes.

    ``heard_key`` is the likeliest key of the clip, used where the policy names none.
    """

    def __init__(self, policy: Policy, heard_key: str | None = None) -> None:
        self._policy = policy
        key = policy.key or heard_key
        self._key = Key.parse(key) if key else None
        self._drill = Interval.parse(policy.interval) if policy.interval else None
        self._named: dict[tuple[int, int], Named] = {}
        self._readings: dict[tuple[int, int], tuple[tuple[float, Named], ...]] = {}

    def pitch(self, midi: int) -> Pitch:
        """A single note spelled in the key."""
        return spell(midi, self._key)

    def written(self, note: ExpectedNote, low: int, high: int) -> Named:
        """Name two notes of an expected one, by their places in it, as they are spelled there."""
        pair = _pair_of(note, low, high)
        first, second = (Pitch.parse(name) for name in pair.pitches)
        return self._make(first, second, interval_between(first, second), pair)

    def name(self, low_midi: int, high_midi: int) -> Named:
        """Name two notes that sound together."""
        pair = (low_midi, max(high_midi, low_midi))
        found = self._named.get(pair)
        if found is None:
            found = self._named[pair] = self._make(*self._spelled(*pair))
        return found

    def _spelled(self, low_midi: int, high_midi: int) -> tuple[Pitch, Pitch, Interval]:
        """By the key; a tritone that the key does not spell, by the interval of the drill."""
        low, high, interval = _spelled(low_midi, high_midi, self._key)
        drill = self._drill
        if interval.quality == TRITONE and drill and drill.semitones == interval.semitones:
            return _spelled_as(low_midi, high_midi, drill)
        return low, high, interval

    def _make(
        self, low: Pitch, high: Pitch, interval: Interval, expected: ExpectedNote | None = None
    ) -> Named:
        spelled = expected is not None or interval == self._drill
        return Named(
            low,
            high,
            interval,
            self._target(interval, spelled),
            self._policy.tolerance_for(interval),
            expected,
            expected.ref if expected else None,
            spelled,
            self._key is None or (self._key.contains(low) and self._key.contains(high)),
            (low.midi, high.midi),
            (str(low), str(high)),
        )

    def _target(self, interval: Interval, spelled: bool) -> float | None:
        chosen = self._policy.targets_cents.get(interval.short)
        if chosen is not None:
            return chosen
        return target_cents(interval, self._policy.tuning, spelled=spelled)

    def intended(self, low_midi: int, high_midi: int, size_cents: float) -> Named:
        """Name two notes, preferring what was asked for, or what the key holds, when it is near.

        An octave 60 cents wide has the nearest notes of a minor ninth; where an octave was asked
        for, it is an octave. A sixth halfway between minor and major is the one in the key, and
        rather a narrow sixth of the key than an augmented fifth that a minor key would allow.
        """
        plain = self.name(low_midi, high_midi)
        at_home = plain.in_key and not self._only_spelled_oddly(plain)
        if plain.asked or (at_home and not self._drill):
            return plain
        between = BETWEEN_CENTS
        if plain.target_cents is not None:
            between = min(between, abs(size_cents - plain.target_cents) + KEY_LEAD_CENTS)
        for low, high in _NEIGHBOURS:
            if low_midi + low > high_midi + high:
                continue
            other = self.name(low_midi + low, high_midi + high)
            if other.target_cents is None:
                continue
            off = abs(size_cents - other.target_cents)
            if other.asked and off <= NEAR_CENTS:
                return other
            if not at_home and off <= between and other.in_key:
                return other
        return plain

    def readings(self, low_midi: int, high_midi: int) -> tuple[tuple[float, Named], ...]:
        """What two notes may have been meant as besides their own interval: a neighbour's.

        Targets in cents, with the names; only intervals that have a target.
        """
        pair = (low_midi, high_midi)
        found = self._readings.get(pair)
        if found is None:
            own = self.name(low_midi, high_midi).interval
            pairs = [(low_midi + low, high_midi + high) for low, high in _NEIGHBOURS]
            named = [self.name(low, high) for low, high in pairs if low <= high]
            found = tuple(
                (each.target_cents, each)
                for each in named
                if each.target_cents is not None and each.interval != own
            )
            self._readings[pair] = found
        return found

    def _only_spelled_oddly(self, named: Named) -> bool:
        """Whether the size has an agreed target, and only the key's spelling takes it away."""
        if named.target_cents is not None:
            return False
        usual = interval_of_semitones(min(named.midi[1] - named.midi[0], MAX_SEMITONES))
        return target_cents(usual, self._policy.tuning) is not None


def _pair_of(note: ExpectedNote, low: int, high: int) -> ExpectedNote:
    """Two notes of a written chord as a double stop of their own."""
    if (low, high) == (0, len(note.pitches) - 1) and len(note.pitches) == 2:
        return note

    def two(values: tuple) -> tuple:
        return (values[low], values[high]) if values else ()

    return replace(
        note, pitches=two(note.pitches), strings=two(note.strings), fingers=two(note.fingers)
    )


@lru_cache(maxsize=512)
def _spelled_as(low_midi: int, high_midi: int, interval: Interval) -> tuple[Pitch, Pitch, Interval]:
    """The plainest spelling of two notes that makes a given interval of them."""
    pairs = [
        (low, high)
        for low, high in product(spellings(low_midi), spellings(high_midi))
        if high.diatonic - low.diatonic + 1 == interval.number
    ]
    low, high = min(pairs, key=lambda pair: sum(abs(pitch.alter) for pitch in pair))
    return low, high, interval


@lru_cache(maxsize=8192)
def _spelled(low_midi: int, high_midi: int, key: Key | None) -> tuple[Pitch, Pitch, Interval]:
    if high_midi - low_midi > MAX_SEMITONES:  # no two strings reach it: name it at the bound
        interval = interval_of_semitones(MAX_SEMITONES)
        return spell(low_midi, key), spell(high_midi, key), interval
    return spell_pair(low_midi, high_midi, key)
