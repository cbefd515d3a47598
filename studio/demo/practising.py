"""The demo's noted practice: short portions over the term, a holiday, and one that was too long."""

from datetime import date, timedelta

from django.utils import timezone

from studio.accounts.models import Enrolment
from studio.drills.models import Assignment
from studio.drills.practice import services
from studio.drills.practice.services import Practised

from .people import Cast

WEEKS = 15
FREE = (6, 7)  # weeks ago in which nobody noted anything
#: By pupil: the weekdays on which each portion of some minutes is usual (Monday is 0).
USUAL = {
    "ida": {0: (10,), 2: (12,), 3: (8,), 5: (10, 6)},
    "otto": {1: (6,), 4: (8,)},
    "jonas": {0: (15,), 1: (20,), 3: (15, 10), 6: (25,)},
}
HANDS = ("easy", "", "easy", "little_tired", "", "easy", "")
WORDS = {3: "Slower, and then it was in tune.", 11: "The fourth finger is short today."}
LONG_AGO = timedelta(days=9)  # since Jonas played on for too long


def note(cast: Cast) -> int:
    """Note what the demo's pupils practised; how many entries."""
    return sum(_term(cast, login) for login in USUAL) + _too_long(cast.places["jonas"])


def _term(cast: Cast, login: str) -> int:
    place, today = cast.places[login], timezone.localdate()
    author = cast.senders.get(login, place.pupil)
    drills = list(Assignment.objects.filter(enrolment=place).order_by("set_at"))
    monday = today - timedelta(days=today.weekday())
    count = 0
    for ago in range(WEEKS - 1, -1, -1):
        for day, minutes in _portions(USUAL[login], monday - timedelta(weeks=ago), ago):
            if ago in FREE or not place.started_on <= day <= today:
                continue
            said = Practised(
                day,
                minutes,
                unbroken_min=minutes if count % 3 == 0 else None,
                hand=HANDS[count % len(HANDS)],
                word=WORDS.get(count % 14, ""),
                assignment=drills[count % len(drills)] if drills and count % 4 else None,
            )
            services.note(place, author, said)
            count += 1
    return count


def _portions(usual: dict[int, tuple[int, ...]], monday: date, ago: int) -> list[tuple[date, int]]:
    """A week's portions: one of its days is left out, another each week."""
    days = list(usual)
    left_out = days[ago % len(days)]
    return [
        (monday + timedelta(days=day), minutes + ago % 3)
        for day in days
        if day != left_out
        for minutes in usual[day]
    ]


def _too_long(place: Enrolment) -> int:
    day = timezone.localdate() - LONG_AGO
    services.note(place, place.pupil, Practised(day, 75, 65, "tired", "Forgot the time."))
    return 1
