"""The forms of studio.rights: of what is to be erased."""

from studio.accounts.models import Membership
from studio.clips import services
from studio.clips.models import Clip

from .form import GONE, LOG_IN, WRONG, Form, logged_out
from .rows import Rows

ERASING = "#erasing"


def _erased(rows: Rows) -> None:
    services.erase(Clip.objects.get(pk=rows.args["erase_clip"]["clip_id"]))


def _teaches_now(rows: Rows) -> None:
    person, studio = rows.cast.unlinked_guardian, rows.cast.studio
    Membership.objects.create(person=person, studio=studio, role="teacher")


FORMS = {
    "erase_clip": [
        Form(
            who="guardian", at="erase_clip", seen=ERASING, meanwhile=_erased, status=404, wrong=GONE
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
