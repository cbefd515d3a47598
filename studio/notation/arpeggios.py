"""Arpeggios and chromatic scales in double stops.

An arpeggio goes through the notes of a chord of the key; in thirds its other voice is the chord's
next note, in sixths the next but one, in octaves and tenths the same note or the next, an octave
above. So the sizes are the chord's own: a fourth or a fifth stands among them.

A chromatic scale keeps the size that its interval has on the tonic: major thirds in major, minor in
minor. Its lower notes are raised on the way up and lowered on the way down, spelled otherwise where
one of the two notes would need a sign that is seldom seen. All common practice, no source.
"""

from collections.abc import Iterator

from studio.figures.translation import N_, _
from studio.notation.assembly import Assembly
from studio.notation.degrees import scale_names, step_up
from studio.notation.fingering import MAX_STOP_SEMITONES, finger
from studio.notation.request import OCTAVE_WORDS, Request
from studio.notation.score import Score
from studio.notation.tonics import in_direction, tonics
from studio.theory import Pitch
from studio.theory.pitches import MAX_ALTER

# By the word of a request: what it is called, and the degrees of its notes from the tonic.
CHORDS: dict[str, tuple[str, tuple[int, ...]]] = {
    "tonic": ("", (0, 2, 4)),
    "dominant_seventh": (N_("dominant seventh"), (4, 6, 8, 10)),
    "leading_seventh": (N_("seventh chord on the leading note"), (6, 8, 10, 12)),
}
# By an interval's number: how many of the chord's notes, and how many octaves, lie between voices.
APART = {3: (1, 0), 6: (2, 0), 8: (0, 1), 10: (1, 1)}
_SELDOM = {"E#", "B#", "Cb", "Fb"}
_OCTAVES = range(1, 7)  # of the tonic

Pair = tuple[Pitch, Pitch]


def arpeggio(request: Request) -> Score | None:
    """A chord's notes up the instrument, from its root, in one interval."""
    words, degrees = CHORDS[request.chord]
    words = _(words)
    if request.number not in APART:
        return None
    thirds, octaves = APART[request.number]
    apart = thirds + octaves * len(degrees)
    for notes in _chord_notes(degrees, request):
        count = len(degrees) * request.octaves + 1
        up = [(notes[place], notes[place + apart]) for place in range(count)]
        score = _written(up, None, request, f"{words or 'arpeggio'} in {request.interval}")
        if score is not None:
            return score
    return None


def chord_notes(
    degrees: tuple[int, ...], tonic: Pitch, request: Request, count: int
) -> list[Pitch]:
    """So many notes of a chord from its root up; in minor with the leading note."""
    names = scale_names(request.spelled_key, "harmonic", "up")
    octaves, places = zip(*(divmod(place, len(degrees)) for place in range(count)), strict=True)
    return [
        step_up(tonic, 7 * octave + degrees[place], names)
        for octave, place in zip(octaves, places, strict=True)
    ]


def _chord_notes(degrees: tuple[int, ...], request: Request) -> Iterator[list[Pitch]]:
    """The notes from each root that the instrument has, the lowest first."""
    strings = request.player.open_strings
    highest = strings[-1].midi + MAX_STOP_SEMITONES - 12 * request.octaves
    count = len(degrees) * (request.octaves + 1) + 2
    for octave in _OCTAVES:
        tonic = Pitch.parse(f"{request.spelled_key.tonic}{octave}")
        (root,) = chord_notes(degrees, tonic, request, 1)
        if strings[0].midi <= root.midi <= highest:
            yield chord_notes(degrees, tonic, request, count)


def chromatic(request: Request) -> Score | None:
    """Every semitone from tonic to tonic, in one size of one interval."""
    for tonic in tonics(request):
        above = step_up(tonic, request.number - 1, scale_names(request.spelled_key))
        size = above.midi - tonic.midi
        semitones = range(12 * request.octaves + 1)
        up = [_chromatic_pair(tonic, place, size, request, "up") for place in semitones]
        down = [_chromatic_pair(tonic, place, size, request, "down") for place in semitones]
        title = _("chromatic scale in %(interval)s") % {"interval": request.interval}
        score = _written(up, down[::-1], request, title)
        if score is not None:
            return score
    return None


def _chromatic_pair(tonic: Pitch, place: int, size: int, request: Request, way: str) -> Pair:
    """The pair some semitones above the tonic, in the spelling that is read best."""
    steps = request.number - 1
    spelled = [
        (unlike + _oddness(low) + _oddness(high), low, high)
        for unlike, low in _spellings(tonic, place, request, way)
        if (high := _spelled(low.diatonic + steps, low.midi + size)) is not None
    ]
    _rest, low, high = min(spelled, key=lambda found: found[0])
    return low, high


def _spellings(tonic: Pitch, place: int, request: Request, way: str) -> list[tuple[int, Pitch]]:
    """A note some semitones above the tonic, each way with a price: the key's own first.

    Then raised from the key's note below on the way up, lowered from the one above on the way down.
    """
    midi = tonic.midi + place
    names = scale_names(request.spelled_key)
    steps = [step_up(tonic, step, names) for step in range(-1, 7 * request.octaves + 2)]
    own = [pitch for pitch in steps if pitch.midi == midi]
    if own and place % 12 == 0:
        return [(0, own[0])]
    found = [(0, pitch) for pitch in own]
    for pitch in steps:
        apart = abs(pitch.midi - midi)
        if pitch in own or apart > 2 or abs(pitch.alter + midi - pitch.midi) > MAX_ALTER:
            continue
        usual = not own and apart == 1 and (pitch.midi < midi) == (way == "up")
        found.append((0 if usual else 1, _respelled(pitch, midi)))
    return found


def _respelled(pitch: Pitch, midi: int) -> Pitch:
    """A pitch at another height with the same letter."""
    return Pitch(pitch.step, pitch.alter + midi - pitch.midi, pitch.octave)


def _spelled(diatonic: int, midi: int) -> Pitch | None:
    octave, letter = divmod(diatonic, 7)
    natural = Pitch("CDEFGAB"[letter], 0, octave)
    alter = midi - natural.midi
    return Pitch(natural.step, alter, octave) if abs(alter) <= MAX_ALTER else None


def _oddness(pitch: Pitch) -> int:
    """How seldom a sign is seen: none, E sharp and the like, double signs."""
    return 4 if abs(pitch.alter) > 1 else 2 * (pitch.pitch_class_name in _SELDOM)


def _written(up: list[Pair], down: list[Pair] | None, request: Request, title: str) -> Score | None:
    placed = finger(in_direction(up, request, down), request)
    if placed is None:
        return None
    assembly = Assembly(request)
    for way in placed:
        assembly.double_stop(way)
    key, octaves = request.spelled_key.name, _(OCTAVE_WORDS[request.octaves])
    return assembly.score(f"{key}: {title}, {octaves}")
