"""Chords of three and four notes, as two pairs of strings in one bow.

Three parts are played as the lower pair, then the upper pair, the middle note common to both; four
as two and two (common practice, no source). One hand holds all of a chord. Its notes lie so near to
each other as strings a fifth apart allow, and each note of the chord is among them.
"""

import itertools

from studio.figures.translation import N_, _
from studio.notation.arpeggios import CHORDS, chord_notes
from studio.notation.assembly import Assembly
from studio.notation.fingering import Placed, candidates
from studio.notation.request import Request
from studio.notation.score import Score
from studio.theory import Pitch

FIRST_POSITION = 1
_TRIAD = (0, 2, 4)
_PARTS = {3: N_("three notes"), 4: N_("four notes")}
_APART = (1, 2, 3)  # places in the chord between neighbouring strings
_OCTAVES = range(1, 5)  # of the tonic; above, no chord lies on these strings
_STEP_NOTES = 10
_NOTES = 14  # of a chord, from its lowest root: as many as its inversions reach

Chord = tuple[Placed, ...]  # each pair of neighbouring strings, from the lowest


def chords(request: Request) -> Score | None:
    """The chord on each step of the key, from the lowest tonic chord that can be held.

    Steps whose chord has no place are left out.
    """
    for octave in _OCTAVES:
        tonic = Pitch.parse(f"{request.spelled_key.tonic}{octave}")
        steps = [
            _cheapest(chord_notes(_on(degree), tonic, request, _STEP_NOTES), 0, request)
            for degree in range(8)
        ]
        if steps[0] is not None:
            title = _("%(spelled_key)s: chords of %(parts)s, in pairs") % {
                "spelled_key": request.spelled_key.name,
                "parts": _(_PARTS[request.parts]),
            }
            return _written([chord for chord in steps if chord is not None], request, title)
    return None


def _on(degree: int) -> tuple[int, ...]:
    return tuple(degree + above for above in _TRIAD)


def inversions(request: Request) -> Score | None:
    """One chord in all its inversions, from the lowest in root position that can be held."""
    words, degrees = CHORDS[request.chord]
    words = _(words)
    for octave in _OCTAVES:
        tonic = Pitch.parse(f"{request.spelled_key.tonic}{octave}")
        notes = chord_notes(degrees, tonic, request, _NOTES)
        found = [_cheapest(notes, place, request) for place in range(len(degrees) + 1)]
        if found[0] is not None:
            chord = words or _("tonic chord")
            title = _("%(spelled_key)s: %(chord)s in its inversions, in pairs") % {
                "spelled_key": request.spelled_key.name,
                "chord": chord,
            }
            return _written([each for each in found if each is not None], request, title)
    return None


def _cheapest(notes: list[Pitch], lowest: int, request: Request) -> Chord | None:
    """The chord over one of its notes: as close as it lies well in one hand."""
    wanted = {pitch.pitch_class_name for pitch in notes}
    found = []
    for apart in itertools.product(_APART, repeat=request.parts - 1):
        pitches = [notes[place] for place in itertools.accumulate(apart, initial=lowest)]
        names = {pitch.pitch_class_name for pitch in pitches}
        if len(names) == min(request.parts, len(wanted)):
            found += [(_price(each), sum(apart), each) for each in _held(pitches, request)]
    return min(found, key=lambda each: each[:2])[2] if found else None


def _held(pitches: list[Pitch], request: Request) -> list[Chord]:
    """Every way to hold a chord on neighbouring strings with one hand."""
    chords: list[Chord] = [()]
    for low, high in itertools.pairwise(pitches):
        ways = candidates(low, high, request)
        chords = [(*chord, way) for chord in chords for way in ways if _joins(chord, way)]
    return [chord for chord in chords if _agree(chord)]


def _joins(chord: Chord, way: Placed) -> bool:
    """Whether a pair goes on from a chord's last: the common string's finger, the hand's place."""
    if not chord:
        return True
    last = chord[-1]
    positions = {each.position for each in (*chord, way) if each.position is not None}
    same = last.low_string + 1 == way.low_string and last.fingers[1] == way.fingers[0]
    return same and len(positions) <= 1


def _agree(chord: Chord) -> bool:
    """No finger at two stops, and no crossed fingers, over all strings."""
    held = [(chord[0].fingers[0], chord[0].low_stop)]
    held += [(way.fingers[1], way.high_stop) for way in chord]
    stopped = [each for each in held if each[0]]
    return all(
        (finger == other) == (stop == other_stop) and (finger - other) * (stop - other_stop) >= 0
        for (finger, stop), (other, other_stop) in itertools.combinations(stopped, 2)
    )


def _price(chord: Chord) -> tuple[int, int]:
    """How far the hand is from first position, then how far its furthest finger is from the nut."""
    positions = [way.position for way in chord if way.position is not None]
    away = max((abs(position - FIRST_POSITION) for position in positions), default=0)
    return away, max(max(way.low_stop, way.high_stop) for way in chord)


def _written(found: list[Chord], request: Request, title: str) -> Score | None:
    assembly = Assembly(request)
    for chord in found:
        assembly.chord(chord[0], chord[-1])
    return assembly.score(title)
