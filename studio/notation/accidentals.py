"""Which signs a page prints before its notes.

Conventions (common practice, no source)
----------------------------------------
* A sign holds for its step and octave until the bar ends; before it the key signature holds. Every
  score stands on one staff.
* Both notes of a unison have the sign.
* A note that is held over a bar line is written again here, without a tie, and so has its sign
  again. One that is tied has none, and none holds for what follows it in a new bar.
* A *courtesy* sign is not needed and yet printed, without brackets, and says so in MusicXML
  (``cautionary``): where the bar, or the one before it, last had the same step altered otherwise,
  in whichever octave. Where each bar holds one double stop, the bars are no metre but the steps of
  a scale, and the sign is printed where that note was last altered otherwise, however long ago: so
  the way down of a melodic minor scale has its naturals. A bar says it once; a double stop with a
  step altered in two ways says both each time, and so does what follows as its lower note was.
* A page from elsewhere that has signs of its own keeps them. Only what it needs is added: its
  courtesy is its own.
"""

from collections.abc import Iterable
from dataclasses import replace

from studio.notation.score import Accidental, Score, Written
from studio.theory import Key, Pitch

KINDS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
_SHARPS = "FCGDAEB"

Place = tuple[str, int]  # step and octave: one line or space of the staff


def with_accidentals(score: Score) -> Score:
    """The score with every sign that is to be printed.

    >>> from studio.notation import Request, generate
    >>> drill = generate(Request(key="A minor", manner="together"))
    >>> [str(sign) for item in with_accidentals(drill).written for sign in item.accidentals if sign]
    ... # doctest: +NORMALIZE_WHITESPACE
    ['sharp', 'sharp', 'sharp', 'sharp',
     'natural cautionary', 'natural cautionary', 'natural cautionary', 'natural cautionary']
    """
    reader = _Reader(score)
    return score.with_written(
        [_signed(item, reader) for bar in score.bars for item in reader.bar(bar)]
    )


def without_usual(score: Score) -> Score:
    """The score without its signs, where they are just those that it would get without them."""
    plain = score.with_written([replace(item, accidentals=()) for item in score.written])
    return plain if with_accidentals(plain) == score else score


def _signed(item: Written, reader: "_Reader") -> Written:
    return replace(item, accidentals=tuple(reader.signs(item)))


class _Reader:
    """Reads a page as a player does: what holds at each place of the staff, and what last did."""

    def __init__(self, score: Score) -> None:
        self._signature = signature(score.spelled_key)
        self._has_own = any(sign for item in score.written for sign in item.accidentals)
        self._one_a_bar = all(_is_one_double_stop(bar) for bar in score.bars)
        self._here: dict[Place, int | None] = {}
        self._before: dict[Place, int | None] = {}
        self._ever: dict[Place, int | None] = {}
        self._said: set[Place] = set()
        self._two_ways: dict[str, int] = {}  # as the last thing's upper note, which had both

    def bar(self, bar: Iterable[Written]) -> Iterable[Written]:
        """Begin a bar, and hand on what it holds."""
        self._before, self._here, self._said, self._two_ways = self._here, {}, set(), {}
        return bar

    def signs(self, item: Written) -> list[Accidental | None]:
        """What is printed before each note of one written thing, which is then read."""
        found = [
            own or (None if tied else self._sign(pitch, item))
            for pitch, own, tied in zip(item.pitches, item.accidentals, item.tied, strict=True)
        ]
        for pitch, sign, tied in zip(item.pitches, found, item.tied, strict=True):
            if tied and not sign:
                continue
            place = pitch.step, pitch.octave
            self._here[place] = self._ever[place] = pitch.alter
            if sign:
                self._said.add(place)
        for place in _doubtful(item):
            self._here[place] = None
        self._two_ways = _in_two_ways(item)
        return found

    def _sign(self, pitch: Pitch, item: Written) -> Accidental | None:
        kind, place = KINDS[pitch.alter], (pitch.step, pitch.octave)
        holds = self._here.get(place, self._signature.get(pitch.step, 0))
        if holds != pitch.alter or place in _doubtful(item):
            return Accidental(kind)
        if not self._has_own and self._wants_courtesy(pitch, item):
            return Accidental(kind, ("cautionary",))
        return None

    def _wants_courtesy(self, pitch: Pitch, item: Written) -> bool:
        if pitch.step in _in_two_ways(item):
            return True
        if self._two_ways.get(pitch.step, pitch.alter) != pitch.alter:
            return True
        return (pitch.step, pitch.octave) not in self._said and self._misleads(pitch)

    def _misleads(self, pitch: Pitch) -> bool:
        """Whether what was last read of this step might be read on."""
        place = pitch.step, pitch.octave
        if self._one_a_bar and self._ever.get(place, pitch.alter) != pitch.alter:
            return True
        if place in self._here:
            return False
        if self._before.get(place, pitch.alter) != pitch.alter:
            return True
        last = _last_of(pitch.step, self._here)
        if last is None and place not in self._before:
            last = _last_of(pitch.step, self._before)
        return last not in (None, pitch.alter)


def signature(key: Key | None) -> dict[str, int]:
    """What the signs at the clef make of each step.

    >>> signature(Key.parse("D major"))
    {'F': 1, 'C': 1}
    """
    return signature_of(key.signature if key else 0)


def signature_of(count: int) -> dict[str, int]:
    """The same by the number of sharps; of flats, where it is below 0."""
    steps = _SHARPS if count > 0 else _SHARPS[::-1]
    return dict.fromkeys(steps[: abs(count)], 1 if count > 0 else -1)


def _last_of(step: str, bar: dict[Place, int | None]) -> int | None:
    """How a step was last altered in a bar, in any octave."""
    found = [alter for (name, _), alter in bar.items() if name == step]
    return found[-1] if found else None


def _doubtful(item: Written) -> set[Place]:
    """Places of the staff that one thing has twice, altered otherwise: F with F sharp."""
    held: dict[Place, int] = {}
    found = set()
    for pitch in item.pitches:
        place = pitch.step, pitch.octave
        if held.setdefault(place, pitch.alter) != pitch.alter:
            found.add(place)
    return found


def _in_two_ways(item: Written) -> dict[str, int]:
    """Steps that one thing has altered otherwise, in whichever octaves, as its last note has them.

    D below D flat is the one, with −1.
    """
    held: dict[str, int] = {}
    found = {}
    for pitch in item.pitches:
        if held.setdefault(pitch.step, pitch.alter) != pitch.alter:
            found[pitch.step] = pitch.alter
    return found


def _is_one_double_stop(bar: tuple[Written, ...]) -> bool:
    """Whether a bar holds one double stop or chord, perhaps with its notes separately."""
    whole = [item for item in bar if len(item.pitches) > 1]
    return len(whole) == 1 and all(
        item.manner == "separate" and set(item.pitches) <= set(whole[0].pitches)
        for item in bar
        if item is not whole[0]
    )
