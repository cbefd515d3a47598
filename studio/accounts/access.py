"""Who may see what. Views reach every object through an ``access`` module, never otherwise.

What a person may not see and what does not exist look alike: :class:`~django.http.Http404`.
"""

from collections.abc import Iterable

from django.db.models import BigIntegerField, CharField, Exists, Model, OuterRef, Q, QuerySet
from django.http import Http404
from django.utils import timezone

from . import consent, guardians
from .models import AddressChange, Enrolment, GuardianLink, Membership, Person, Studio, current
from .prepared import Given, Prepared

Role = Membership.Role
PERSON, PLACE = Given("person", BigIntegerField()), Given("place", BigIntegerField())


def studios_of(person: Person | Given, role: str | Given) -> QuerySet[Studio]:
    """The studios in which ``person`` holds ``role`` today."""
    held = Membership.objects.filter(
        current(), person=person, role=role, studio=OuterRef("pk"), person__is_active=True
    )
    return Studio.objects.filter(Exists(held)).order_by("pk")


def roles_of(person: Person) -> list[str]:
    """The roles ``person`` holds today in any studio: teacher, pupil, guardian, in this order.

    A pupil without a place has nothing to open, so that role counts only with one.
    """
    held = set(_roles_held(person=person.pk))
    if Role.PUPIL in held and not _own_places(person=person.pk):
        held.discard(Role.PUPIL)
    return [role for role in Role.values if role in held]


def is_teacher(person: Person) -> bool:
    return studios_of(person, Role.TEACHER).exists()


def teaching_studio(person: Person) -> Studio:
    """The studio a teacher works in (the first, when there are several), or 404."""
    studio = next(iter(taught_studios(person)), None)
    if studio is None:
        raise Http404
    return studio


def taught_studios(person: Person) -> list[Studio]:
    """The studios in which ``person`` teaches today."""
    return _studios_held(person=person.pk, role=Role.TEACHER)


def enrolments_taught_by(person: Person | Given) -> QuerySet[Enrolment]:
    """Every enrolment of the studios where ``person`` teaches: colleagues share a studio."""
    return _enrolments().filter(studio__in=_studios_taught_in(person))


def places_to_hear(person: Person) -> list[int]:
    """The numbers of the places whose clips ``person`` teaches and, by consent, may watch now.

    They are asked for once for all the queries of a page: whether consent holds is a long question.
    """
    return _places_to_hear(person=person.pk)


def teaches(person: Person, enrolment: Enrolment) -> bool:
    """Whether ``person`` is a teacher of that pupil's studio today."""
    return bool(_taught_place(person=person.pk, place=enrolment.pk))


def enrolments_of(person: Person | Given) -> QuerySet[Enrolment]:
    """A pupil's own places."""
    return _enrolments().filter(pupil=person, pupil__is_active=True)


def enrolments_guarded_by(person: Person | Given) -> QuerySet[Enrolment]:
    """The places of the children ``person`` answers for, each in the studio of its link."""
    return _enrolments().filter(_guarded_by(person))


def enrolments_kept_by(person: Person | Given) -> QuerySet[Enrolment]:
    """A family's places: own ones and those of children, of lessons that have ended too."""
    return _every_enrolment().filter(_of_family(person))


def ended_enrolments_kept_by(person: Person | Given) -> QuerySet[Enrolment]:
    """Those of them of which the lessons have ended, the latest first."""
    ended = enrolments_kept_by(person).filter(ended_on__lte=timezone.localdate())
    return ended.order_by("-ended_on", "-pk")


def enrolments_seen_by(person: Person | Given) -> QuerySet[Enrolment]:
    """All that ``person`` may look at: as a teacher of today, and as a family for good."""
    taught = Q(current(), studio__in=_studios_taught_in(person))
    return _every_enrolment().filter(taught | _of_family(person))


def guarded_places(person: Person) -> list[Enrolment]:
    """Those of :func:`enrolments_guarded_by`, by the child's name."""
    return _guarded_places(person=person.pk)


def ended_children(person: Person) -> list[Enrolment]:
    """Those of :func:`ended_enrolments_kept_by` that are of children."""
    return _ended_children(person=person.pk)


def is_current(enrolment: Enrolment) -> bool:
    """Whether the lessons of a place have begun and not ended."""
    today, ended_on = timezone.localdate(), enrolment.ended_on
    return enrolment.started_on <= today and (ended_on is None or ended_on > today)


def kept_enrolment(person: Person, pk: int) -> Enrolment:
    """A pupil's own place, or a guardian's child's, of lessons that have ended too; or 404."""
    return get_or_404(enrolments_kept_by(person), pk)


def taught_enrolment(person: Person, pk: int) -> Enrolment:
    return or_404(_taught_place.first(person=person.pk, place=pk))


def ended_taught_enrolment(person: Person, pk: int) -> Enrolment:
    """A place whose lessons have ended, in a studio where ``person`` teaches, or 404.

    That they have ended is all that a teacher learns of it; and that they can be taken back.
    """
    ended = Enrolment.objects.filter(
        studio__in=_studios_taught_in(person), ended_on__lte=timezone.localdate()
    )
    return get_or_404(ended.select_related("pupil", "studio", "teacher"), pk)


def guarded_enrolment(person: Person, pk: int) -> Enrolment:
    """The place of a guardian's child, or 404."""
    return get_or_404(enrolments_guarded_by(person), pk)


def kept_guarded_enrolment(person: Person, pk: int) -> Enrolment:
    """The same, of lessons that have ended too."""
    return get_or_404(_every_enrolment().filter(_guarded_by(person)).exclude(pupil=person), pk)


def home_enrolment(person: Person, pk: int) -> Enrolment:
    """A pupil's own place, or a guardian's child's."""
    homes = Q(pk__in=enrolments_of(person).values("pk")) | Q(
        pk__in=enrolments_guarded_by(person).values("pk")
    )
    return get_or_404(_enrolments().filter(homes), pk)


def is_home(person: Person, enrolment: Enrolment) -> bool:
    """Whether it is the person's own place, or that of a child the person answers for.

    It stays so after the lessons: what came of them is the family's.
    """
    return bool(_place_at_home(person=person.pk, place=enrolment.pk))


def own_enrolment(person: Person) -> Enrolment:
    """The pupil's present place (the newest, when there are several), or 404."""
    return or_404(_own_places.first(person=person.pk))


def sending_enrolment(person: Person, child: int | None = None) -> Enrolment:
    """The place that clips are sent to, or 404: the pupil's own, or with ``child`` that of a
    guardian's child.

    Raises
    ------
    consent.ConsentMissing
        While nobody has agreed to recordings; it says who has to.
    """
    if child is None:
        enrolment = own_enrolment(person)
    else:
        enrolment = guarded_enrolment(person, child)
        if enrolment.pupil_id == person.pk or not may_send_for(enrolment):
            raise Http404
    require_for_sending(person, enrolment)
    return enrolment


def may_send_for(enrolment: Enrolment) -> bool:
    """Whether a guardian of the pupil sends to it: nobody does for a grown-up."""
    return not consent.is_grown_up(enrolment.pupil)


def sends_for(person: Person, enrolment: Enrolment) -> bool:
    """Whether ``person`` sends to it as a guardian."""
    guarded = enrolments_guarded_by(person).exclude(pupil=person).filter(pk=enrolment.pk)
    return may_send_for(enrolment) and guarded.exists()


def places_to_send_to(person: Person) -> list[int]:
    """The numbers of the places that ``person`` sends to today, whether consent holds or not."""
    own = [place.pk for place in _own_places(person=person.pk)]
    guarded = enrolments_guarded_by(person).exclude(pupil=person)
    return own + [one.pk for one in guarded if may_send_for(one)]


def require_for_sending(person: Person, enrolment: Enrolment) -> None:
    """Raise :class:`consent.ConsentMissing`, in the sender's words, unless clips may be sent."""
    consent.require_for_sending(enrolment, by_guardian=enrolment.pupil_id != person.pk)


def decided_enrolment(person: Person, pk: int) -> Enrolment:
    """A place for whose pupil ``person`` gives and withdraws consent, or 404."""
    enrolment = home_enrolment(person, pk)
    if person not in consent.deciders(enrolment):
        raise Http404
    return enrolment


def address_change_to_answer(person: Person, pk: int) -> AddressChange:
    """A child's wish for another address, which is for ``person`` to agree to or decline."""
    hers = guardians.deciding().filter(guardian=person).values("pupil")
    asked = AddressChange.objects.select_related("person").filter(person__is_active=True)
    found = get_or_404(asked.filter(person__in=hers), pk)
    return or_404(None if consent.is_grown_up(found.person) else found)


def guardian_links_taught_by(person: Person) -> QuerySet[GuardianLink]:
    """Who answers for pupils in the studios where ``person`` teaches, today; with ``decides``."""
    place = enrolments_taught_by(person).filter(pupil=OuterRef("pupil"), studio=OuterRef("studio"))
    decides = guardians.deciding().filter(pk=OuterRef("pk"))
    return (
        GuardianLink.objects.filter(current(), Exists(place))
        .annotate(decides=Exists(decides))
        .select_related("guardian", "pupil", "studio")
        .order_by("guardian__name", "pk")
    )


def taught_guardian_link(person: Person, pk: int) -> GuardianLink:
    return get_or_404(guardian_links_taught_by(person), pk)


def places_in(studio: Studio) -> QuerySet[Enrolment]:
    """The pupils' places in one studio, for its own teachers' pages."""
    return _enrolments().filter(studio=studio)


def members_of(studio: Studio, role: str) -> QuerySet[Person]:
    """Who holds ``role`` in a studio today."""
    held = Membership.objects.filter(current(), studio=studio, role=role, person=OuterRef("pk"))
    return Person.objects.filter(Exists(held), is_active=True).order_by("name", "pk")


def teachers_in(studios: Iterable[Studio] | QuerySet) -> QuerySet[Membership]:
    """The memberships of those who teach in some studios today, by name."""
    return (
        Membership.objects.filter(
            current(), studio__in=studios, role=Role.TEACHER, person__is_active=True
        )
        .select_related("person", "studio")
        .order_by("person__name", "pk")
    )


def colleagues(person: Person) -> list[Membership]:
    """The memberships of the others who teach today where ``person`` does, by name."""
    return _colleagues(person=person.pk)


def colleague_membership(person: Person, pk: int) -> Membership:
    """A colleague's membership in a studio that ``person`` owns, or 404; never one's own."""
    found = Membership.objects.filter(current(), Exists(_owned_by(person)), role=Role.TEACHER)
    others = found.exclude(person=person).exclude(is_owner=True)
    return get_or_404(others.select_related("person", "studio"), pk)


def own_membership(person: Person) -> Membership:
    """As what ``person`` teaches in the studio of :func:`teaching_studio`, or 404."""
    held = Membership.objects.filter(current(), role=Role.TEACHER, person=person)
    return held.select_related("person", "studio").get(studio=teaching_studio(person))


def lessons_handed_over_by(person: Person, pk: int) -> Membership:
    """The membership of a teacher whose pupils ``person`` may give to others, or 404.

    Her own, or, for the owner of the studio, anybody's.
    """
    found = Membership.objects.filter(current(), role=Role.TEACHER).select_related(
        "person", "studio"
    )
    mine = Q(person=person, person__is_active=True)
    return get_or_404(found.filter(mine | Q(Exists(_owned_by(person)))), pk)


def owned_studio(person: Person) -> Studio:
    """The studio that ``person`` owns and teaches in today (the first), or 404."""
    held = _owned_by(person, studio="pk")
    return or_404(Studio.objects.filter(Exists(held)).order_by("pk").first())


def _owned_by(person: Person, studio: str = "studio") -> QuerySet[Membership]:
    """A condition for rows whose field ``studio`` names one that ``person`` owns today."""
    return Membership.objects.filter(
        current(),
        person=person,
        person__is_active=True,
        role=Role.TEACHER,
        is_owner=True,
        studio=OuterRef(studio),
    )


def require_operator(person: Person) -> None:
    """404 for everybody but whoever looks after the service."""
    if not (person.is_operator and person.is_active):
        raise Http404


def _guarded_by(person: Person | Given) -> Exists:
    """A condition for places: ``person`` answers for the pupil there."""
    link = guardians.seeing().filter(
        guardian=person, pupil=OuterRef("pupil"), studio=OuterRef("studio")
    )
    return Exists(link)


def _studios_taught_in(person: Person | Given) -> QuerySet:
    """The numbers of the studios of :func:`studios_of` a teacher, for conditions."""
    held = Membership.objects.filter(
        current(), person=person, role=Role.TEACHER, person__is_active=True
    )
    return held.values("studio")


def ended_in_own_studio(person: Person, model: type[Model], pk: int, **only: object):
    """A row of a studio where ``person`` teaches that has ended; None where there is none."""
    mine = model.objects.filter(pk=pk, studio__in=studios_of(person, Role.TEACHER), **only)
    return mine.exclude(current()).first()


def get_or_404(queryset: QuerySet, pk):
    try:
        return queryset.get(pk=pk)
    except queryset.model.DoesNotExist:
        raise Http404 from None


def or_404(found):
    """What was found, if anything was."""
    if found is None:
        raise Http404
    return found


def _enrolments() -> QuerySet[Enrolment]:
    """Places of today; ``consented`` says whether consent to recordings holds."""
    return _every_enrolment().filter(current())


def _every_enrolment() -> QuerySet[Enrolment]:
    """The same of all places, ended or not."""
    return Enrolment.objects.select_related("pupil", "studio", "teacher").annotate(
        consented=consent.holds(consent.Purpose.RECORDINGS)
    )


def _of_family(person: Person | Given) -> Q:
    return Q(pupil=person, pupil__is_active=True) | Q(_guarded_by(person))


# -- asked on nearly every page ------------------------------------------------------------

_studios_held = Prepared(lambda: studios_of(PERSON, Given("role", CharField())))
_roles_held = Prepared(
    lambda: Membership.objects.filter(current(), person=PERSON, person__is_active=True).values_list(
        "role", flat=True
    )
)
_places_to_hear = Prepared(
    lambda: Enrolment.objects.filter(
        current(), consent.holds(consent.Purpose.RECORDINGS), studio__in=_studios_taught_in(PERSON)
    ).values_list("pk", flat=True)
)
_colleagues = Prepared(lambda: teachers_in(_studios_taught_in(PERSON)).exclude(person=PERSON))
_guarded_places = Prepared(lambda: enrolments_guarded_by(PERSON).order_by("pupil__name", "pk"))
_ended_children = Prepared(lambda: ended_enrolments_kept_by(PERSON).exclude(pupil=PERSON))
_taught_place = Prepared(lambda: enrolments_taught_by(PERSON).filter(pk=PLACE))
_own_places = Prepared(lambda: enrolments_of(PERSON).order_by("-started_on", "-pk")[:1])
_place_at_home = Prepared(
    lambda: Enrolment.objects.filter(pk=PLACE).filter(_of_family(PERSON)).values_list("pk")
)
