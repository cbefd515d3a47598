"""The 24 keys, and how pitches that were only heard are spelled.

A pitch is spelled by its place on the line of fifths (... Eb Bb F C G D A E B F# C# G# ...).
Twelve neighbouring places name each sounding pitch once. A major key takes the twelve from three
fifths below its tonic to eight above (C major: E flat to G sharp), a minor key from five below
to six above (A minor: B flat to D sharp): the scale's own notes, the raised sixth and seventh
and the usual chromatic ones. With no key known, the twelve of C major are taken, so that B flat
and E flat are flats and F, C and G sharp are sharps (common practice, no source).
"""

import re
from dataclasses import dataclass
from functools import lru_cache

from studio.theory import naming
from studio.theory.intervals import Interval, interval_between, interval_of_semitones
from studio.theory.pitches import STEPS, Pitch, spellings

MODES = ("major", "minor")
_MAJOR = ["C", "G", "D", "A", "E", "B", "F#", "Db", "Ab", "Eb", "Bb", "F"]
_MINOR = ["A", "E", "B", "F#", "C#", "G#", "D#", "Bb", "F", "C", "G", "D"]
_LOWEST_FIFTH = {"major": -3, "minor": -5}  # of the twelve, from the tonic
_SCALE_FIFTHS = {"major": (-1, 5), "minor": (-4, 2)}  # first and last of the seven
_MINOR_RAISED = {3, 5}  # raised sixth and seventh of the melodic minor
_DEFAULT_LOWEST = -3  # E flat
_MINOR_TO_MAJOR = 3  # a minor key's signature is that of the major three fifths below
_KEY = re.compile(r"([A-Ga-g])\s?([b#♭♯]|-?flat|-?sharp)?[\s-]*(major|minor|maj|min|m)?", re.I)


@dataclass(frozen=True, slots=True)
class Key:
    """A key: its tonic without octave (``Bb``) and its mode (major or minor).

    Raises
    ------
    ValueError
        For an unknown mode, or a tonic whose signature would need more than seven signs.

    Examples
    --------
    >>> Key.parse("Bb major").spell(63)
    Pitch(step='E', alter=-1, octave=4)
    """

    tonic: str
    mode: str

    def __post_init__(self) -> None:
        if self.mode not in MODES:
            raise ValueError(f"mode {self.mode!r} is not known; write major or minor")
        if abs(self.signature) > 7:
            raise ValueError(
                f"{self.tonic} {self.mode} would need {abs(self.signature)} signs; at most 7"
            )

    @classmethod
    def parse(cls, name: str) -> "Key":
        """The key of a name such as ``Bb major``, ``g minor``, ``F#m`` or ``Eb``."""
        found = _KEY.fullmatch(name.strip())
        if not found:
            raise ValueError(f"{name!r} is not a key; write it like Bb major or F# minor")
        letter, sign, mode = found.groups()
        alter = {"": "", "b": "b", "♭": "b", "#": "#", "♯": "#"}.get(sign or "")
        if alter is None:
            alter = "b" if "flat" in (sign or "").lower() else "#"
        # A lone m means minor; M, maj or nothing means major.
        minor = mode is not None and (mode == "m" or mode.lower().startswith("min"))
        return cls(letter.upper() + alter, "minor" if minor else "major")

    @property
    def name(self) -> str:
        """The name in a reader's words: ``B♭ major``."""
        return self.named(self.mode)

    @property
    def written(self) -> str:
        """The same for forms and addresses, which read it back: never translated."""
        return f"{self.tonic.replace('b', '♭').replace('#', '♯')} {self.mode}"

    def named(self, mode: str) -> str:
        """With the form of its minor scale: melodic, harmonic or natural."""
        tonic = Pitch.parse(f"{self.tonic}4")
        return naming.key(tonic.step, tonic.alter, mode)

    @property
    def fifths(self) -> int:
        """Place of the tonic on the line of fifths."""
        return _fifths_of(self.tonic)

    @property
    def signature(self) -> int:
        """Sharps (positive) or flats (negative) at the clef."""
        return self.fifths - (_MINOR_TO_MAJOR if self.mode == "minor" else 0)

    @property
    def relative(self) -> "Key":
        """The key of the other mode with the same signature."""
        other = "minor" if self.mode == "major" else "major"
        fifths = self.signature + (_MINOR_TO_MAJOR if other == "minor" else 0)
        return Key(_name_of_fifths(fifths), other)

    @property
    def scale(self) -> tuple[str, ...]:
        """The seven names upwards from the tonic (natural minor in minor keys)."""
        first, last = _SCALE_FIFTHS[self.mode]
        names = [_name_of_fifths(self.fifths + place) for place in range(first, last + 1)]
        start = STEPS.index(self.tonic[0])
        return tuple(sorted(names, key=lambda name: (STEPS.index(name[0]) - start) % 7))

    def spell(self, midi: int) -> Pitch:
        """The pitch that a MIDI number has in this key."""
        return _spell_from(midi, self.fifths + _LOWEST_FIFTH[self.mode])

    def contains(self, pitch: Pitch) -> bool:
        """Whether a spelled pitch is in the scale (in minor also the raised 6th and 7th)."""
        first, last = _SCALE_FIFTHS[self.mode]
        place = pitch.fifths - self.fifths
        return first <= place <= last or (self.mode == "minor" and place in _MINOR_RAISED)

    def __str__(self) -> str:
        return f"{self.tonic} {self.mode}"


@lru_cache(maxsize=64)
def _fifths_of(tonic: str) -> int:
    return Pitch.parse(f"{tonic}4").fifths


def _name_of_fifths(fifths: int) -> str:
    step = "FCGDAEB"[(fifths + 1) % 7]
    alter = (fifths + 1) // 7
    return step + ("#" * alter if alter > 0 else "b" * -alter)


ALL_KEYS: tuple[Key, ...] = tuple(Key(tonic, "major") for tonic in _MAJOR) + tuple(
    Key(tonic, "minor") for tonic in _MINOR
)


@lru_cache(maxsize=4096)
def _spell_from(midi: int, lowest_fifth: int) -> Pitch:
    """The one spelling among twelve neighbours on the line of fifths."""
    return next(
        pitch for pitch in spellings(midi) if lowest_fifth <= pitch.fifths < lowest_fifth + 12
    )


def spell(midi: int, key: Key | None = None) -> Pitch:
    """Spell a MIDI number in ``key``, or with E flat to G sharp when no key is known.

    >>> str(spell(70)), str(spell(66))
    ('Bb4', 'F#4')
    """
    return key.spell(midi) if key else _spell_from(midi, _DEFAULT_LOWEST)


@lru_cache(maxsize=8192)
def spell_pair(
    low_midi: int, high_midi: int, key: Key | None = None
) -> tuple[Pitch, Pitch, Interval]:
    """Spell two notes that sound together, and name their interval.

    Where both notes belong to the key, their spelling there counts, so that a tritone in a key is
    an augmented fourth or a diminished fifth. Otherwise the pair is spelled so that it reads as
    the usual interval of its size (C sharp and F are written D flat and F: a major third), and
    six semitones are an unspelled tritone.

    Raises
    ------
    ValueError
        If the second is below the first or more than four octaves above it.
    """
    usual = interval_of_semitones(high_midi - low_midi)
    low, high = spell(low_midi, key), spell(high_midi, key)
    if key and key.contains(low) and key.contains(high):
        return low, high, interval_between(low, high)
    wanted = {usual.number} if usual.quality != "TT" else {usual.number, usual.number + 1}
    pairs = [
        (a, b)
        for a in spellings(low_midi)
        for b in spellings(high_midi)
        if b.diatonic - a.diatonic + 1 in wanted
    ]
    low, high = min(pairs, key=lambda pair: _oddness(pair, (low, high)))
    return low, high, usual


def _oddness(pair: tuple[Pitch, Pitch], single: tuple[Pitch, Pitch]) -> tuple[int, int, int]:
    """How far a pair's spelling is from plain: double signs, changed notes, then signs."""
    double = sum(abs(pitch.alter) == 2 for pitch in pair)
    changed = sum(a != b for a, b in zip(pair, single, strict=True))
    return double, changed, sum(abs(pitch.alter) for pitch in pair)
