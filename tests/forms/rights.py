"""The forms of studio.rights: of what is to be copied or erased."""

from django.utils import timezone

from studio.accounts.models import Enrolment, Membership
from studio.clips import services
from studio.clips.models import Clip
from studio.rights.models import Copy

from .form import GONE, LOG_IN, OK_MESSAGE, WARNED, WRONG, Form, logged_out
from .rows import Rows

ERASING = "#erasing"


def _erased(rows: Rows) -> None:
    services.erase(Clip.objects.get(pk=rows.args["erase_clip"]["clip_id"]))


def _teaches_now(rows: Rows) -> None:
    person, studio = rows.cast.unlinked_guardian, rows.cast.studio
    Membership.objects.create(person=person, studio=studio, role="teacher")


def _made_just_now(rows: Rows) -> None:
    """In another window, whose copy of the account is ready by now."""
    pupil = rows.cast.pupil
    Copy.objects.create(asked_by=pupil, about=pupil, state="ready", ready_at=timezone.now())


def _came_back(rows: Rows) -> None:
    place = rows.ended
    Enrolment.objects.create(pupil=place.pupil, studio=place.studio, teacher=place.teacher)


FORMS = {
    "copy_begin": [
        Form(
            who="pupil",
            at="rights",
            seen="#copy-account [role=status]",
            meanwhile=_made_just_now,
            status=409,
            wrong=WRONG,
        )
    ],
    "copy_remove": [
        Form(
            who="guardian",
            at="rights",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "erase_clip": [
        Form(
            who="guardian", at="erase_clip", seen=ERASING, meanwhile=_erased, status=404, wrong=GONE
        )
    ],
    "times": [
        Form(
            who="teacher",
            at="times",
            good={"recordings": "A year"},
            seen="#changes",
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "lessons_end": [
        Form(
            who="guardian",
            at="lessons_end",
            seen=OK_MESSAGE,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "lessons_take_back": [
        Form(
            who="guardian",
            at="rights",
            args=lambda rows: {"pk": rows.ended.pk},
            seen=OK_MESSAGE,
            meanwhile=_came_back,
            status=302,
            wrong=WARNED,
        )
    ],
    "erase_lessons": [
        Form(
            who="guardian",
            at="erase_lessons",
            seen=ERASING,
            meanwhile=logged_out,
            status=302,
            wrong=LOG_IN,
        )
    ],
    "erase_account": [
        Form(
            who="unlinked_guardian",
            at="erase_account",
            seen=ERASING,
            meanwhile=_teaches_now,
            status=409,
            wrong=WRONG,
        )
    ],
}
