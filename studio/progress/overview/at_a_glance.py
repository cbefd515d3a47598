"""What the overview asks of all pupils of a teacher: a few queries, however many there are."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, DateField, DateTimeField, Min, Q, QuerySet
from django.utils import timezone

from studio.accounts import access as people
from studio.accounts.access import PERSON
from studio.accounts.models import Enrolment, Person
from studio.accounts.prepared import Given, IsOneOf, Prepared
from studio.clips.models import Clip
from studio.drills import access as drills
from studio.drills.models import Assignment
from studio.intonation import Policy
from studio.review.access import NOW
from studio.review.models import Review
from studio.theory import Interval

from ..models import ClipFigures, unpacked
from ..playings import LAYOUT, PlayedClip
from .quiet import LOOKED_BACK, Rhythm, rhythm_of

HEAVY_OPEN, HEAVY_OVERDUE = 7, 3  # from so many on the load is heavy: chosen, no standard
TROUBLES_DAYS = 56  # eight weeks


@dataclass(frozen=True, slots=True)
class Glance:
    """One pupil: how many clips wait and since when, her rhythm, her open drills."""

    place: Enrolment
    waiting: int
    waits_since: datetime | None
    rhythm: Rhythm | None
    open_drills: int
    overdue: int

    @property
    def is_heavy(self) -> bool:
        return self.open_drills >= HEAVY_OPEN or self.overdue >= HEAVY_OVERDUE

    @property
    def is_quiet(self) -> bool:
        return self.rhythm is not None and self.rhythm.is_quiet


def glances_of(person: Person, now: datetime) -> list[Glance]:
    """All pupils of the studios where ``person`` teaches, by name.

    Without consent nothing is said of recordings: no rhythm, nothing that waits.
    """
    places = _places(person=person.pk)
    numbers = [place.pk for place in places]
    heard = [place.pk for place in places if place.consented]
    today = timezone.localdate(now)
    since = now - timedelta(days=LOOKED_BACK)
    waiting = {row[0]: row[1:] for row in _waiting(places=heard)}
    days = _days(_sent(places=heard, since=since))
    drills_of = {row[0]: row[1:] for row in _drills(places=numbers, now=now, today=today)}
    return [
        Glance(
            place,
            *waiting.get(place.pk, (0, None)),
            rhythm_of(days.get(place.pk, ()), place.started_on, today) if place.consented else None,
            *drills_of.get(place.pk, (0, 0)),
        )
        for place in places
    ]


def _days(sent: Sequence[tuple[int, datetime]]) -> dict[int, set[date]]:
    found: dict[int, set[date]] = {}
    zone = timezone.get_current_timezone()
    for place, at in sent:
        found.setdefault(place, set()).add(at.astimezone(zone).date())
    return found


def played_lately(glances: Sequence[Glance], today: date) -> list[tuple[int, PlayedClip]]:
    """What was returned of the last weeks, of one generation of engines, with its place."""
    heard = [one.place.pk for one in glances if one.place.consented]
    rows = _figures(places=heard, since=today - timedelta(days=TROUBLES_DAYS))
    newest = max((row["generation"] for row in rows), default=0)
    return [(row["clip__enrolment"], unpacked(row)) for row in rows if row["generation"] == newest]


def allowed_cents(glances: Sequence[Glance]) -> dict[int, tuple[float, float]]:
    """How far perfect and other intervals may be off, by place: what the pupil's level allows."""
    of_level: dict[str, tuple[float, float]] = {}
    for level in {one.place.level for one in glances}:
        policy = Policy(level=level)
        octave, sixth = Interval.parse("P8"), Interval.parse("M6")
        of_level[level] = policy.tolerance_for(octave), policy.tolerance_for(sixth)
    return {one.place.pk: of_level[one.place.level] for one in glances}


_places = Prepared(lambda: people.enrolments_taught_by(PERSON).order_by("pupil__name", "pk"))


@Prepared
def _waiting() -> QuerySet:
    waiting = Review.objects.filter(
        IsOneOf("clip__enrolment", "places"),
        state__in=Review.UNANSWERED,
        clip__erased_at=None,
    )
    by_place = waiting.order_by().values_list("clip__enrolment")
    return by_place.annotate(many=Count("pk"), since=Min("clip__created_at"))


@Prepared
def _sent() -> QuerySet:
    return Clip.objects.filter(
        IsOneOf("enrolment", "places"),
        created_at__gte=Given("since", DateTimeField()),
        intake=Clip.Intake.RECEIVED,
        erased_at=None,
    ).values_list("enrolment", "created_at")


@Prepared
def _drills() -> QuerySet:
    open_now = Assignment.objects.filter(
        IsOneOf("enrolment", "places"), drills.published(NOW), done_at=None
    )
    overdue = Count("pk", filter=Q(due_on__lt=Given("today", DateField())))
    return open_now.order_by().values_list("enrolment").annotate(many=Count("pk"), overdue=overdue)


@Prepared
def _figures() -> QuerySet:
    names = ("clip_id", "day", "rows", "drill", "tuning", "key", "a4_hz", "snr_db", "generation")
    return ClipFigures.objects.filter(
        IsOneOf("clip__enrolment", "places"),
        clip__erased_at=None,
        layout=LAYOUT,
        day__gte=Given("since", DateField()),
    ).values(*names, "clip__enrolment")
