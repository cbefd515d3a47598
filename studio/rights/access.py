"""Whose data a person may ask for: her own account's, and that of lessons she decides about.

Who decides about a pupil's lessons is who decides about consent (:mod:`studio.accounts.consent`):
a grown-up pupil herself, a child's guardians. It does not end with the lessons.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import Http404

from studio.accounts import access as people
from studio.accounts import consent, guardians, lesson_endings
from studio.accounts.access import get_or_404
from studio.accounts.models import Enrolment, Person, Studio
from studio.clips.models import Clip

WITH_PLACE = ("enrolment__pupil", "enrolment__studio")


@dataclass(frozen=True, slots=True)
class Scope:
    """What can be asked for at once: a person's account, or a pupil's lessons in one studio.

    ``place`` is the pupil's newest place in the studio, ended or not; None of an account.
    """

    person: Person
    studio: Studio | None = None
    place: Enrolment | None = None

    @property
    def key(self) -> str:
        """Names it in addresses and on pages."""
        return f"place-{self.place.pk}" if self.place else "account"

    @property
    def has_ended(self) -> bool:
        """Whether they are lessons of before."""
        return self.place is not None and not people.is_current(self.place)

    @property
    def take_back_until(self) -> date | None:
        """The last day on which the family can take back that it ended the lessons, if it can."""
        end = lesson_endings.end_of(self.place) if self.place and self.has_ended else None
        if end is None or lesson_endings.why_not(end, lesson_endings.Side.FAMILY):
            return None
        return lesson_endings.last_day_to_take_back(end.place.ended_on)


def scopes_of(person: Person) -> list[Scope]:
    """All that ``person`` may ask for today: own lessons, then children's, the account last.

    Of each pupil and studio once, whatever number of places she has had there.
    """
    return [*_lessons(person), Scope(person)]


def account_of(person: Person) -> Scope:
    return Scope(person)


def scope_of(person: Person, whose: Person, studio: Studio | None) -> Scope:
    """The scope of somebody's lessons in a studio, or of one's own account, or 404."""
    for scope in scopes_of(person):
        if (scope.person, scope.studio) == (whose, studio):
            return scope
    raise Http404


def lessons_for(person: Person, pk: int) -> Scope:
    """The lessons of a place, ended or not, for whose pupil ``person`` decides, or 404."""
    place = get_or_404(_places(person), pk)
    if person not in consent.deciders(place):
        raise Http404
    return Scope(place.pupil, place.studio, place)


def clip_for(person: Person, pk: UUID) -> Clip:
    """A clip for whose pupil ``person`` decides, of lessons that have ended too, or 404."""
    clip = get_or_404(Clip.objects.filter(erased_at=None).select_related(*WITH_PLACE), pk)
    lessons_for(person, clip.enrolment_id)
    return clip


def places_of(scope: Scope) -> list[Enrolment]:
    """All that a pupil has had in one studio, the newest first; none of an account."""
    if scope.studio is None:
        return []
    here = Enrolment.objects.filter(pupil=scope.person, studio=scope.studio)
    return list(here.select_related("pupil", "studio", "teacher").order_by("-started_on", "-pk"))


def clips_of(scope: Scope) -> QuerySet[Clip]:
    """The clips of a pupil's lessons in one studio that are not erased, newest first."""
    here = Clip.objects.filter(enrolment__pupil=scope.person, enrolment__studio=scope.studio)
    return here.filter(erased_at=None).select_related(*WITH_PLACE)


def _lessons(person: Person) -> Iterator[Scope]:
    seen = set()
    own_first = sorted(_places(person), key=lambda place: place.pupil_id != person.pk)
    for place in own_first:
        where = (place.pupil_id, place.studio_id)
        if where not in seen and person in consent.deciders(place):
            yield Scope(place.pupil, place.studio, place)
        seen.add(where)


def _places(person: Person) -> QuerySet[Enrolment]:
    """Own places and those of children in studios where ``person`` answers for them, newest first.

    Unlike :mod:`studio.accounts.access`, those that have ended are among them.
    """
    if not person.is_active:
        return Enrolment.objects.none()
    links = guardians.seeing().filter(guardian=person).values_list("pupil", "studio")
    places = Q(pupil=person)
    for pupil, studio in links:
        places |= Q(pupil=pupil, studio=studio)
    found = Enrolment.objects.filter(places).select_related("pupil", "studio", "teacher")
    return found.order_by("pupil__name", "-started_on", "-pk")
