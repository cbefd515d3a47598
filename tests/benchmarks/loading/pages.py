"""What is asked for: each page by name, as whom, and its address in the large studio."""

from collections.abc import Callable
from dataclasses import dataclass

from django.db.models import Count, QuerySet

from studio.accounts.models import Enrolment, Person, Studio
from studio.review.models import Return, Review

from .five_years import NAME as OF_FIVE_YEARS
from .names import LISTS, PROGRESS, RECORD
from .patterns import LENGTHS, LONG

RANGE_BYTES = 262_144  # what a browser's player asks for at a time, about
DESKS = 40
SEARCHED = ("octave", "lighter", "second%20finger", "zebra")


@dataclass(frozen=True, slots=True)
class Page:
    """One page: the addresses that are asked for in turn, by one person, and further headers."""

    name: str
    who: Person
    paths: tuple[str, ...]
    headers: tuple[tuple[str, str], ...] = ()

    @property
    def is_list(self) -> bool:
        return self.name in LISTS


def pages() -> list[Page]:
    """Every page that is measured, each for somebody who has much on it."""
    studio = Studio.objects.annotate(n=Count("enrolments")).latest("n")
    teacher = Person.objects.filter(memberships__role="teacher", memberships__studio=studio)[0]
    guardian = Person.objects.filter(memberships__role="guardian", memberships__studio=studio)[0]
    places = list(Enrolment.objects.filter(studio=studio).order_by("-pk")[:20])  # grown-ups
    pupil = places[0].pupil
    returned = Return.objects.filter(review__clip__enrolment__pupil=pupil)
    clips = tuple(f"/clips/{pk}/" for pk in returned.values_list("review__clip", flat=True)[:20])
    here = Review.objects.filter(clip__enrolment__studio=studio).exclude(state="returned")
    long = Enrolment.objects.select_related("pupil", "teacher").get(studio__name=OF_FIVE_YEARS)
    progress = f"/pupils/{long.pk}/progress/"
    part = ("Range", f"bytes=1000000-{1_000_000 + RANGE_BYTES - 1}")
    return [
        Page("waiting list", teacher, ("/waiting/",)),
        Page("pupils", teacher, ("/pupils/",)),
        Page("a pupil", teacher, tuple(f"/pupils/{place.pk}/" for place in places)),
        Page("desk", teacher, _desks(here, lambda seconds: seconds < LENGTHS[LONG][1], 4)),
        Page("desk, never judged", teacher, _desks(here, lambda seconds: seconds > 100, DESKS)),
        Page("queue", pupil, ("/queue/",)),
        Page("a returned clip", pupil, clips),
        Page("children", guardian, ("/children/",)),
        Page("shelf", teacher, ("/drills/",)),
        Page(PROGRESS[0], long.teacher, (progress,)),
        Page(PROGRESS[1], long.teacher, (f"{progress}?period=all",)),
        Page(PROGRESS[2], long.pupil, ("/progress/?period=all",)),
        Page(RECORD[0], teacher, ("/overview/",)),
        Page(RECORD[1], teacher, tuple(f"/search/?q={word}" for word in SEARCHED)),
        Page(RECORD[2], long.teacher, (f"/pupils/{long.pk}/history/",)),
        Page(RECORD[3], teacher, ("/lessons/week/",)),
        Page(RECORD[4], teacher, ("/blind-audit/",)),
        Page("part of a recording", pupil, (f"{clips[0]}media/",), (part,)),
    ]


def _desks(reviews: QuerySet[Review], fits: Callable[[float], bool], most: int) -> tuple[str, ...]:
    rows = reviews.order_by("pk").values_list("clip", "clip__duration_s")
    return tuple(f"/clips/{clip}/" for clip, seconds in rows if fits(seconds))[:most]
