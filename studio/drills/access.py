"""Who may reach which drill and assignment."""

from datetime import datetime

from django.db.models import BigIntegerField, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.http import Http404
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts import consent
from studio.accounts.access import PERSON, Role, get_or_404, studios_of
from studio.accounts.models import Enrolment, Person, Studio, current
from studio.accounts.prepared import Given, Prepared

from .models import Assignment, Drill, DrillVersion, ShelfSettings

STUDIO = Given("studio", BigIntegerField())
SCORES = ("score", "request", "incipit")


def scores_of(version: str = "") -> tuple[str, ...]:
    """The large fields of a version, for lists to leave out; ``version`` is the way to it."""
    return tuple(f"{version}__{name}".removeprefix("__") for name in SCORES)


def published(now: datetime | Given | None = None) -> Q:
    """A filter for assignments that are seen at home: their time has come (by ``now``)."""
    return Q(published_at__lte=now or timezone.now())


def shelf_of(person: Person | Given) -> QuerySet[Drill]:
    """The drills of the studios where ``person`` teaches, newest first."""
    return (
        Drill.objects.filter(studio__in=studios_of(person, Role.TEACHER), archived_at=None)
        .prefetch_related(Prefetch("versions", DrillVersion.objects.defer(*SCORES)))
        .order_by("-created_at", "-pk")
    )


def titles_on_shelf(person: Person | Given) -> QuerySet[Drill]:
    """The same with no more than what each says as its title, ``newest_title``, to choose from."""
    newest = DrillVersion.objects.filter(drill=OuterRef("pk")).order_by("-number")
    titled = shelf_of(person).annotate(newest_title=Subquery(newest.values("title")[:1]))
    return titled.prefetch_related(None)


def titles_to_set(person: Person, studio: int) -> list[tuple[int, str]]:
    """The number and title of each drill that a teacher may set in a studio, newest first."""
    return _titles(person=person.pk, studio=studio)


@Prepared
def _titles() -> QuerySet:
    here = titles_on_shelf(PERSON).filter(studio=STUDIO)
    return here.values_list("pk", "newest_title")


def with_versions(drills: QuerySet[Drill]) -> QuerySet[Drill]:
    """Drills with their versions, and no more of each than its number and title."""
    titles = DrillVersion.objects.only("drill", "number", "title")
    return drills.prefetch_related(Prefetch("versions", titles))


def drill_for(person: Person, pk: int) -> Drill:
    """A drill on the teacher's shelf, or 404."""
    return get_or_404(shelf_of(person), pk)


def settings_of(studio: Studio) -> ShelfSettings:
    """How the studio works; the usual where nothing was chosen yet (that row is not saved)."""
    return _settings.first(studio=studio.pk) or ShelfSettings(studio=studio)


_settings = Prepared(lambda: ShelfSettings.objects.filter(studio=STUDIO).order_by("pk")[:1])


def pupils_of(person: Person, studio: Studio) -> QuerySet[Enrolment]:
    """Whom a drill of this studio can be made for and set for, by name."""
    taught = people.enrolments_taught_by(person)
    return taught.filter(current(), studio=studio).order_by("pupil__name", "pk")


def calendar_places(person: Person) -> QuerySet[Enrolment]:
    """Whose dates a person's calendar shows: her own, her children's and her pupils', while the
    lessons go on and consent to recordings holds."""
    own = people.enrolments_of(person).values("pk")
    children = people.enrolments_guarded_by(person).values("pk")
    pupils = people.enrolments_taught_by(person).filter(teacher=person).values("pk")
    hers = Q(pk__in=own) | Q(pk__in=children) | Q(pk__in=pupils)
    agreed = consent.holds(consent.Purpose.RECORDINGS)
    return Enrolment.objects.filter(current(), agreed, hers)


def queue_of(
    enrolment: Enrolment | Given, now: datetime | Given | None = None
) -> QuerySet[Assignment]:
    """What the pupil is to practise, in order: published (by ``now``) and not yet done."""
    return _assignments().filter(published(now), enrolment=enrolment, done_at=None)


def set_for(enrolment: Enrolment | Given) -> QuerySet[Assignment]:
    """What is set and not done, for the teacher: also what waits for a clip's return."""
    return _assignments().filter(enrolment=enrolment, done_at=None)


def done_by(
    enrolment: Enrolment | Given, now: datetime | Given | None = None
) -> QuerySet[Assignment]:
    return (
        _assignments()
        .filter(published(now), enrolment=enrolment, done_at__isnull=False)
        .order_by("-done_at")
    )


def home_assignment(person: Person, pk: int) -> Assignment:
    """A published assignment of the pupil's own, or of a guardian's child, or 404."""
    assignment = get_or_404(_assignments().filter(published()), pk)
    people.home_enrolment(person, assignment.enrolment_id)
    return assignment


def taught_assignment(person: Person, pk: int) -> Assignment:
    """Any assignment in a studio where ``person`` teaches, or 404."""
    return get_or_404(_assignments().filter(enrolment__in=people.enrolments_taught_by(person)), pk)


def seen_assignment(person: Person, pk: int) -> Assignment:
    """An assignment that ``person`` may look at: at home once published, or as a teacher."""
    try:
        return taught_assignment(person, pk)
    except Http404:
        return home_assignment(person, pk)


def area_of(person: Person, assignment: Assignment) -> str:
    """As whom ``person`` looks at an assignment: teacher, pupil or guardian."""
    if assignment.enrolment.pupil_id == person.pk:
        return "pupil"
    return "teacher" if people.teaches(person, assignment.enrolment) else "guardian"


def _assignments() -> QuerySet[Assignment]:
    return Assignment.objects.select_related(
        "version", "enrolment__pupil", "enrolment__studio", "set_by"
    ).defer("version__score", "version__request")
