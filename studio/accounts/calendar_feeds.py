"""The address at which somebody's calendar reads her dates: made, shown once, revoked.

The address is all that opens it, so it is 256 random bits of which only the hash is kept, and it
shows no more than titles, first names, days and times (``studio/drills/calendar.py``).
"""

import hashlib
import secrets
from datetime import timedelta

from django.db import transaction
from django.db.models import F
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from . import links
from .models import CalendarFeed, Person

SECRET_BYTES = 32
READS_AN_HOUR = 60  # of one address; calendars ask four times an hour or less (common practice)
HOUR = timedelta(hours=1)


class TooOften(Exception):
    """The calendar was read ``READS_AN_HOUR`` times within an hour."""


def of(person: Person) -> CalendarFeed | None:
    return CalendarFeed.objects.filter(person=person).first()


@transaction.atomic
def make(person: Person) -> str:
    """A new address, with scheme and host; an earlier one of the person works no more."""
    secret = secrets.token_urlsafe(SECRET_BYTES)
    revoke(person)
    CalendarFeed.objects.create(person=person, secret_sha256=_hash(secret))
    return links.site_address() + reverse("calendar_feed", kwargs={"secret": secret})


def revoke(person: Person) -> None:
    CalendarFeed.objects.filter(person=person).delete()


def whose(secret: str) -> Person | None:
    """Who made an address; ``None`` where it was never made, was revoked, or she is gone.

    Raises
    ------
    TooOften
        When it was read too often within the hour.
    """
    feed = CalendarFeed.objects.select_related("person").filter(secret_sha256=_hash(secret)).first()
    if feed is None or not feed.person.is_active:
        return None
    _count(feed)
    return feed.person


def _count(feed: CalendarFeed) -> None:
    now = timezone.now()
    mine = CalendarFeed.objects.filter(pk=feed.pk)
    if now - feed.hour_began_at >= HOUR:
        mine.update(hour_began_at=now, reads=1, read_at=now)
    elif not mine.filter(reads__lt=READS_AN_HOUR).update(reads=F("reads") + 1, read_at=now):
        raise TooOften(
            _("%(reads_an_hour)s readings within an hour; ask again in an hour")
            % {"reads_an_hour": READS_AN_HOUR}
        )


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
