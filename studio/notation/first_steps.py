"""Exercises for who has never held two strings at once: every one against an open string.

All are common practice, no source; the notes are this project's own. They stay in first position
and go by steps: drones above and below a moving finger, the fourth finger against the next open
string, the first octaves.
"""

from studio.figures.translation import _
from studio.notation.assembly import Assembly
from studio.notation.patterns import note_under, place, string_pairs
from studio.notation.request import Request
from studio.notation.score import Score
from studio.theory import Pitch

UP_AND_BACK = (1, 2, 3, 4, 3, 2, 1)  # fingers


def drone_above(request: Request) -> Score | None:
    """Fingers on the lower string, one after another, against the open string above."""
    assembly = Assembly(request)
    for index in string_pairs(request):
        low_string, high_string = request.player.open_strings[index : index + 2]
        for finger in _fingers(request):
            low = note_under(low_string, finger, request)
            # A raised fourth finger passes the open string, or meets it under another name.
            if low.midi > high_string.midi or (low.midi == high_string.midi and low != high_string):
                continue
            place(assembly, low, high_string, index, (finger, 0), request)
    return assembly.score(
        _("%(spelled_key)s: fingers under an open string")
        % {"spelled_key": request.spelled_key.name}
    )


def drone_below(request: Request) -> Score | None:
    """Fingers on the higher string, one after another, against the open string below."""
    assembly = Assembly(request)
    for index in string_pairs(request):
        low_string, high_string = request.player.open_strings[index : index + 2]
        for finger in _fingers(request):
            high = note_under(high_string, finger, request)
            place(assembly, low_string, high, index, (0, finger), request)
    return assembly.score(
        _("%(spelled_key)s: fingers over an open string")
        % {"spelled_key": request.spelled_key.name}
    )


def fourth_finger_check(request: Request) -> Score | None:
    """The fourth finger against the next open string: one and the same note on both."""
    assembly = Assembly(request)
    for index in string_pairs(request):
        high = request.player.open_strings[index + 1]
        place(assembly, high, high, index, (4, 0), request)
    return assembly.score(_("The fourth finger against the next open string"))


def first_octaves(request: Request) -> Score | None:
    """From the third finger over an open string to the first and fourth together, and back."""
    assembly = Assembly(request)
    for index in string_pairs(request):
        string = request.player.open_strings[index]
        first = note_under(string, 1, request)
        for low, fingers in ((string, (0, 3)), (first, (1, 4)), (string, (0, 3))):
            high = Pitch(low.step, low.alter, low.octave + 1)
            place(assembly, low, high, index, fingers, request)
    return assembly.score(
        _("%(spelled_key)s: first octaves") % {"spelled_key": request.spelled_key.name}
    )


def _fingers(request: Request) -> tuple[int, ...]:
    """The fingers in the direction that is asked for."""
    top = UP_AND_BACK.index(max(UP_AND_BACK))
    return {"up": UP_AND_BACK[: top + 1], "down": UP_AND_BACK[top:]}.get(
        request.direction, UP_AND_BACK
    )
