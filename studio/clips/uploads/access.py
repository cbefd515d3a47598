"""Whose upload it is. Every view gets its uploads here."""

from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404, HttpRequest
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts.models import Enrolment, Person
from studio.clips.models import Upload
from studio.translating import gettext_lazy

from . import partial

LOGGED_OUT = gettext_lazy("You are logged out.")
SOMEBODY_ELSE = gettext_lazy("Somebody else is logged in here now.")


def stranger(request: HttpRequest) -> str:
    """Why the session is not that of the page's sender, in a sentence; empty when it is.

    A page names its person in ``X-Sender``, so that what one began is never gone on with by
    another who has logged in beside it.
    """
    if not request.user.is_authenticated:
        return LOGGED_OUT
    sender = request.headers.get("X-Sender", "")
    return SOMEBODY_ELSE if sender and sender != str(request.user.pk) else ""


def upload_for(person: Person, pk: UUID) -> Upload:
    """The person's own upload, to a place that they send to today, or 404.

    One that has run out, or whose file is gone (a restored backup), is a 404 too: then its
    offset would promise what is not there.

    Raises
    ------
    consent.ConsentMissing
        While nobody has agreed to recordings.
    """
    upload = people.get_or_404(_living(person), pk)
    people.require_for_sending(person, upload.enrolment)
    if upload.clip_id is None and not partial.holds(upload.pk, upload.offset_bytes):
        raise Http404
    return upload


def unfinished(person: Person, place: Enrolment) -> QuerySet[Upload]:
    """What the person has begun to send to a place and may go on with, newest first."""
    return _living(person).filter(clip=None, enrolment=place).order_by("-changed_at")


def _living(person: Person) -> QuerySet[Upload]:
    alive = {"changed_at__gt": timezone.now() - Upload.LIFETIME}
    places = people.places_to_send_to(person)
    mine = Upload.objects.filter(person=person, enrolment__in=places, **alive)
    return mine.select_related(
        *("clip", "same_as", "enrolment__pupil", "enrolment__studio", "enrolment__teacher")
    )
