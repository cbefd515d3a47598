"""Double stops that lead on: mixed intervals on each step, resolutions, cadences in two voices.

Degrees of the scale are counted from the tonic, 0 and up; a pair is the degrees of its lower and
its upper note. In minor the seventh is raised, as the leading note (common practice, no source).
"""

from studio.figures.translation import N_, _
from studio.notation.assembly import Assembly
from studio.notation.degrees import scale_names, step_up
from studio.notation.fingering import candidates, finger
from studio.notation.request import INTERVALS, Request
from studio.notation.score import Score
from studio.notation.tonics import in_direction, tonics
from studio.theory import Pitch
from studio.theory.fingers import MAX_POSITION

Degrees = tuple[tuple[int, int], ...]
# By the word of a request: what it is called, and its double stops (common practice, no source).
RESOLUTIONS: dict[str, tuple[str, Degrees]] = {
    "tritone_third": (N_("diminished fifth to third"), ((6, 10), (7, 9))),
    "tritone_sixth": (N_("augmented fourth to sixth"), ((3, 6), (2, 7))),
    "sixth_octave": (N_("sixth to octave"), ((1, 6), (0, 7))),
    "suspension": (N_("seventh, sixth, octave"), ((1, 7), (1, 6), (0, 7))),
    "cadence_thirds": (
        N_("cadence from third to third"),
        ((7, 9), (7, 10), (6, 10), (7, 9)),
    ),
    "cadence_sixths": (
        N_("cadence from sixth to sixth"),
        ((2, 7), (3, 7), (3, 6), (2, 7)),
    ),
}
HIGHEST_POSITION = 5  # chosen: above, a resolution stands only where it lies nowhere lower
_OCTAVES = range(1, 8)  # of the tonic, below and above every instrument


def mixed(request: Request) -> Score | None:
    """On each step of the scale the intervals that are asked for, in turn, over one lower note."""
    names = {
        way: scale_names(request.spelled_key, request.minor, "down" if way == "down" else "up")
        for way in ("up", "down")
    }
    count = 7 * request.octaves + 1
    for tonic in tonics(request):
        up = [_on_step(tonic, step, names["up"], request) for step in range(count)]
        down = [_on_step(tonic, step, names["down"], request) for step in reversed(range(count))]
        groups = in_direction(up, request, down)
        placed = finger([pair for group in groups for pair in group], request)
        if placed is not None:
            assembly = Assembly(request)
            assembly.groups(placed, len(request.mixed))
            return assembly.score(f"{request.scale_name}: {_listed(request.mixed)}")
    return None


def _on_step(
    tonic: Pitch, step: int, names: tuple[str, ...], request: Request
) -> list[tuple[Pitch, Pitch]]:
    low = step_up(tonic, step, names)
    return [(low, step_up(low, INTERVALS[word] - 1, names)) for word in request.mixed]


def resolutions(request: Request) -> Score | None:
    """One resolution or cadence, wherever on the instrument it lies."""
    words, degrees = RESOLUTIONS[request.resolution]
    words = _(words)
    names = scale_names(request.spelled_key, "harmonic", "up")
    groups: list[list[tuple[Pitch, Pitch]]] = []
    for octave in _OCTAVES:
        tonic = Pitch.parse(f"{request.spelled_key.tonic}{octave}")
        row = [(step_up(tonic, low, names), step_up(tonic, high, names)) for low, high in degrees]
        highest = max(_nearest_position(*pair, request) for pair in row)
        if highest <= (HIGHEST_POSITION if groups else MAX_POSITION):
            groups.append(row)
    if not groups:
        return None
    placed = finger([pair for row in in_direction(groups, request) for pair in row], request)
    if placed is None:
        return None
    assembly = Assembly(request)
    assembly.groups(placed, len(degrees))
    return assembly.score(f"{request.spelled_key.name}: {words}")


def _nearest_position(low: Pitch, high: Pitch, request: Request) -> int:
    """The lowest position a double stop can be played in; beyond every hand where it cannot."""
    ways = candidates(low, high, request)
    return min((way.position or 0 for way in ways), default=MAX_POSITION + 1)


def _listed(words: tuple[str, ...]) -> str:
    return f"{', '.join(words[:-1])} and {words[-1]}"
