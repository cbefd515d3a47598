"""Where a pupil and a guardian go: home, and to the pages on which a clip is recorded and sent."""

from django.urls import reverse

from studio.accounts import access as people
from studio.accounts.models import Enrolment, Person


def home_of(person: Person, enrolment: Enrolment) -> str:
    """The pupil's practice page, or the guardian's page of the child."""
    if enrolment.pupil_id == person.pk:
        return reverse("queue")
    return reverse("child", args=[enrolment.pk])


def send_at(person: Person, enrolment: Enrolment, agreed: bool) -> str:
    """Where ``person`` sends a clip to a place; ``agreed``: consent to recordings holds there.

    Empty while it does not, for the guardian of a grown-up, and once the lessons have ended.
    """
    if not agreed or not people.is_current(enrolment):
        return ""
    if enrolment.pupil_id == person.pk:
        return reverse("send")
    return reverse("child_send", args=[enrolment.pk]) if people.may_send_for(enrolment) else ""


def record_at(person: Person, enrolment: Enrolment) -> str:
    """Where ``person``, who may send to the place, records a clip for it."""
    own = enrolment.pupil_id == person.pk
    return reverse("record") if own else reverse("child_record", args=[enrolment.pk])
