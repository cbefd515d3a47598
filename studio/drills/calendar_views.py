"""The address that a calendar program asks, without a log-in."""

import hashlib

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.utils.http import parse_etags
from django.views.decorators.http import require_safe

from studio.accounts import calendar_feeds, lockout, throttling
from studio.accounts.throttling import Count
from studio.translating import gettext_lazy

WRONG_ADDRESSES = 30  # from one place, before it has to wait
PLAIN = "text/plain; charset=utf-8"
NONE = gettext_lazy(
    "There is no calendar at this address. Make a new one on your account’s page.\n"
)
TOO_OFTEN = gettext_lazy("This calendar was asked for too often. Ask again in an hour.\n")


@login_not_required
@require_safe
def feed(request: HttpRequest, secret: str) -> HttpResponse:
    """The calendar of whoever made the address; 304 where the program has it as it is."""
    from .calendar import calendar_of  # its library takes 80 ms to load, and few processes need it

    wrong = [Count(("calendar", lockout.address_of(request)), WRONG_ADDRESSES)]
    try:
        person = calendar_feeds.whose(secret)
    except calendar_feeds.TooOften:
        return _refused(TOO_OFTEN, 429)
    if person is None:
        return _refused(NONE, 404) if throttling.take(wrong) else _refused(TOO_OFTEN, 429)
    body = calendar_of(person)
    etag = f'"{hashlib.sha256(body).hexdigest()}"'
    asked = parse_etags(request.headers.get("If-None-Match", ""))
    has_it = any(one.removeprefix("W/") in (etag, "*") for one in asked)  # RFC 9110, 13.1.2
    answer = (
        HttpResponseNotModified()
        if has_it
        else HttpResponse(body, content_type="text/calendar; charset=utf-8")
    )
    answer["ETag"] = etag
    answer["Cache-Control"] = "private, no-cache"  # kept, and asked for each time
    answer["Referrer-Policy"] = "no-referrer"
    return answer


def _refused(words: str, status: int) -> HttpResponse:
    answer = HttpResponse(words, status=status, content_type=PLAIN)
    if status == 429:
        answer["Retry-After"] = str(int(calendar_feeds.HOUR.total_seconds()))
    return answer
