"""Recording a clip in the page: camera, microphone, the drill beside them, and the form of sending.

The recorder itself is the page's script (``static/recording``). What it makes goes the way of every
chosen file, so nothing here takes in a recording.
"""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Enrolment, Instrument
from studio.drills import access as drills
from studio.drills.models import Assignment
from studio.drills.sheets import kept_sheet
from studio.headers import records
from studio.intonation.judging.marks import OPEN_STRING_CENTS
from studio.notation.tones import hearing, scale_hz
from studio.review.web import sending
from studio.theory import A4_HZ, instrument_named


@require_safe
@records
def record(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Record a clip: the pupil for the own place, or a guardian for that of her child."""
    enrolment = people.sending_enrolment(request.user, pk)
    form = sending.empty_form(request, enrolment)
    chosen = _chosen(enrolment, request.GET.get("assignment", ""))
    context = sending.parts(request.user, enrolment, form) | {
        "queue": drills.queue_of(enrolment),
        "chosen": chosen,
        "open_strings": open_strings(enrolment),
    }
    return render(request, "review/record.html", context | _music(chosen))


def open_strings(enrolment: Enrolment) -> dict:
    """What the page listens for, as plain values for JSON.

    ``strings`` run from low to high, in Hz as tuned in pure fifths from A and in equal
    temperament; ``a4_hz`` is ``None`` where the studio tunes to whatever A is played, and then the
    strings are those of A4 = 440 Hz. ``tolerance_cents``: as for a mark on an open string.
    """
    own, a4_hz = enrolment.instrument(), enrolment.studio.a4_hz
    strings = instrument_named(own.kind if own else Instrument.Kind.VIOLIN).open_strings
    at = a4_hz or A4_HZ
    return {
        "a4_hz": a4_hz,
        "tolerance_cents": OPEN_STRING_CENTS,
        "strings": [
            {
                "name": pitch.step,
                "label": pitch.pretty,
                "pure": round(scale_hz(pitch, "pythagorean", at), 6),
                "equal": round(scale_hz(pitch, "equal", at), 6),
            }
            for pitch in strings
        ],
    }


def _chosen(enrolment: Enrolment, number: str) -> Assignment | None:
    return drills.queue_of(enrolment).filter(pk=figures.whole(number)).first()


def _music(chosen: Assignment | None) -> dict:
    """The drill's pages of music, all of them, and the notes that a drone may hold.

    Turning a page would load another one, and end what is being recorded.
    """
    score = chosen.version.page if chosen else None
    if chosen is None or score is None:
        return {}
    studio, first = chosen.enrolment.studio, kept_sheet(score)
    others = range(2, first.count + 1) if first else ()
    heard = hearing(score, tuning=studio.tuning, a4_hz=studio.a4_hz)
    drones = [drone | {"hz": drone["hz"][studio.tuning]} for drone in heard["drones"]]
    return {
        "sheets": [first, *(kept_sheet(score, str(number)) for number in others)] if first else [],
        "drones": drones,
    }
