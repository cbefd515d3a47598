"""Log-in attempts: who has to wait, and for how long (a handler for django-axes).

Wrong passwords are counted for a day per account at one address, per account from anywhere,
and per address for any account. Over its limit each of the three waits after the latest
failure: a minute, then two, four ... up to an hour. An attempt made while waiting is refused
unread and counts for nothing.
"""

from datetime import timedelta

from axes.handlers.database import AxesDatabaseHandler
from axes.helpers import get_client_username
from axes.models import AccessAttempt
from django.conf import settings
from django.db.models import Max, Sum
from django.http import HttpRequest
from django.utils import timezone

FIRST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=1)
REMEMBERED = timedelta(days=1)
# A family or a school shares an address; an account is tried from a phone and a desk.
PAIR_LIMIT = 5
ACCOUNT_LIMIT = 20
ADDRESS_LIMIT = 50


def address_of(request: HttpRequest) -> str:
    """The browser's address.

    Behind a proxy it is the last one in X-Forwarded-For: our proxy appends the address it
    saw; what stands before that is the sender's own claim.
    """
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "") if settings.PROXY else ""
    return forwarded.split(",")[-1].strip() or request.META.get("REMOTE_ADDR", "")


def wait_after(failures: int, limit: int) -> timedelta:
    """None below the limit; from there a minute, doubled for every failure, up to an hour."""
    if failures < limit:
        return timedelta(0)
    return min(FIRST_WAIT * 2 ** min(failures - limit, 10), LONGEST_WAIT)


class BackOff(AxesDatabaseHandler):
    """Counts as its parent does; refuses for a while instead of until the count is forgotten."""

    def is_locked(self, request: HttpRequest, credentials: dict | None = None) -> bool:
        account = {"username": get_client_username(request, credentials)}
        address = {"ip_address": address_of(request)}
        return (
            _must_wait(account | address, PAIR_LIMIT)
            or _must_wait(account, ACCOUNT_LIMIT)
            or _must_wait(address, ADDRESS_LIMIT)
        )


def _must_wait(whose: dict, limit: int) -> bool:
    now = timezone.now()
    seen = AccessAttempt.objects.filter(attempt_time__gt=now - REMEMBERED, **whose).aggregate(
        failures=Sum("failures_since_start"), latest=Max("attempt_time")
    )
    wait = wait_after(seen["failures"] or 0, limit)
    return bool(wait) and now < seen["latest"] + wait
