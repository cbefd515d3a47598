"""Scales on one string: a single line, judged by a melodic tuning.

The fingering is the cheapest row of positions (as :mod:`studio.notation.fingering` has it for
double stops): the hand stays as long as it can, and a shift is surest to the first finger going up.
"""

from dataclasses import dataclass
from fractions import Fraction

from studio.figures.translation import _
from studio.notation.degrees import scale_names, step_up
from studio.notation.fingering import (
    HALF_POSITION,
    MAX_STOP_SEMITONES,
    OPEN_STRING,
    SHIFT,
    SHIFT_PER_POSITION,
)
from studio.notation.request import OCTAVE_WORDS, Request
from studio.notation.score import Score, Written
from studio.notation.tonics import in_direction
from studio.theory import Pitch
from studio.theory.fingers import MAX_FINGER, letters_above

FAR, FAR_POSITIONS = 0.4, 2  # for the square of the positions beyond so many: a leap of the hand
LANDING = 0.2  # for each finger above the first on the higher side of a shift
SAME_FINGER = 0.6  # one finger for two notes: a slide that is heard
BEATS = Fraction(2)


@dataclass(frozen=True, slots=True)
class Stopped:
    """A note under one finger. ``position`` is ``None`` for the open string."""

    pitch: Pitch
    finger: int
    position: int | None


def one_string(request: Request) -> Score | None:
    """A scale from the lowest tonic on a string, as far as the range says."""
    strings = request.player.open_strings
    string = strings[len(strings) - request.string]
    key = request.spelled_key
    lowest = string.midi + (not request.open_strings)
    tonic = min(
        (pitch for pitch in _tonics_near(string, key.tonic) if pitch.midi >= lowest),
        key=lambda pitch: pitch.midi,
    )
    ways = {way: scale_names(key, request.minor, way) for way in ("up", "down")}
    count = 7 * request.octaves + 1
    up = [step_up(tonic, step, ways["up"]) for step in range(count)]
    down = [step_up(tonic, step, ways["down"]) for step in reversed(range(count))]
    row = in_direction(up, request, down)
    if max(pitch.midi for pitch in row) > string.midi + MAX_STOP_SEMITONES:
        return None
    fingered = _fingered(row, string, request.highest_position)
    return _written(fingered, request, string) if fingered else None


def _tonics_near(string: Pitch, name: str) -> list[Pitch]:
    return [Pitch.parse(f"{name}{octave}") for octave in range(string.octave, string.octave + 3)]


def _ways(pitch: Pitch, string: Pitch, highest: int) -> list[Stopped]:
    stop = pitch.midi - string.midi
    if stop == 0:
        return [Stopped(pitch, 0, None)]
    letters = letters_above(pitch, string)
    return [
        Stopped(pitch, finger, letters - finger + 1)
        for finger in range(1, MAX_FINGER + 1)
        if 0 <= letters - finger + 1 <= highest and stop >= finger
    ]


def _fingered(row: list[Pitch], string: Pitch, highest: int) -> list[Stopped] | None:
    """The cheapest row; ``None`` where a note lies above the highest position."""
    best: list[tuple[float, list[Stopped]]] = [(0.0, [])]
    for pitch in row:
        ways = _ways(pitch, string, highest)
        if not ways:
            return None
        best = [
            min(
                ((price + _price(path, way), [*path, way]) for price, path in best),
                key=lambda found: found[0],
            )
            for way in ways
        ]
    return min(best, key=lambda found: found[0])[1]


def _price(path: list[Stopped], way: Stopped) -> float:
    """Of holding a note, and of coming to it; the hand's place before an open string counts."""
    if way.position is None:
        return OPEN_STRING
    price = HALF_POSITION if way.position == 0 else 0.0
    before = next((each for each in reversed(path) if each.position is not None), None)
    if before is None or before.position is None or before.position == way.position:
        return price
    positions = abs(before.position - way.position)
    price += SHIFT + SHIFT_PER_POSITION * positions
    price += FAR * max(0, positions - FAR_POSITIONS) ** 2
    higher = max((before, way), key=lambda each: each.position or 0)
    price += LANDING * (higher.finger - 1)
    return price + (SAME_FINGER if before.finger == way.finger else 0.0)


def _written(row: list[Stopped], request: Request, string: Pitch) -> Score:
    written = []
    hand: int | None = None
    for number, way in enumerate(row, 1):
        shift = None not in (hand, way.position) and hand != way.position
        written.append(
            Written(
                id=f"n{number}",
                pitches=(way.pitch,),
                bar=number,
                strings=(request.string,),
                fingers=(way.finger,),
                beats=BEATS,
                manner="alone",
                playings=request.playings,
                hold_s=request.hold_s,
                shift=shift,
                position=way.position,
            )
        )
        hand = hand if way.position is None else way.position
    octaves = _(OCTAVE_WORDS[request.octaves])
    title = _("%(scale_name)s on the %(step)s string, %(octaves)s") % {
        "scale_name": request.scale_name,
        "step": string.step,
        "octaves": octaves,
    }
    return Score(
        title=title, instrument=request.instrument, key=request.key, written=tuple(written)
    )
