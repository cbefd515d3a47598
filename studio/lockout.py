"""How long an account waits, at one address, after wrong passwords (for django-axes)."""

from datetime import timedelta

from axes.helpers import get_client_username
from axes.models import AccessAttempt
from django.conf import settings
from django.db.models import Sum
from django.http import HttpRequest

FIRST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=1)


def address_of(request: HttpRequest) -> str:
    """The browser's address.

    Behind a proxy it is the last one in X-Forwarded-For: our proxy appends the address it
    saw; what stands before that is the sender's own claim.
    """
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "") if settings.PROXY else ""
    return forwarded.split(",")[-1].strip() or request.META.get("REMOTE_ADDR", "")


def wait_after(request: HttpRequest | None) -> timedelta:
    """A minute at the limit, doubled for every failure beyond it, an hour at most."""
    if request is None:
        return FIRST_WAIT
    attempts = AccessAttempt.objects.filter(
        username=get_client_username(request), ip_address=address_of(request)
    )
    failures = attempts.aggregate(n=Sum("failures_since_start"))["n"] or 0
    beyond = min(max(failures - settings.AXES_FAILURE_LIMIT, 0), 10)
    return min(FIRST_WAIT * 2**beyond, LONGEST_WAIT)
