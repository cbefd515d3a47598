"""What was sent after the session ran out: kept for an hour, for the same person to send again.

The text fields of a form wait on the server, in the visitor's own session, which goes on through
the log-in; no password and no file is among them. Whoever used the browser last is known from a
signed cookie, and another person who logs in gets nothing. A form of another site never comes so
far: its token was refused before.
"""

import re
import time
from urllib.parse import urlsplit

from django.http import HttpRequest
from django.urls import Resolver404, resolve, reverse

from studio.web.paths import own_path

from . import remembered_person

KEY = "kept_words"
KEPT_S = 60 * 60
MOST_LETTERS = 200_000
NEVER = re.compile("password|again|code|csrf|token|secret", re.IGNORECASE)


def keep(request: HttpRequest, view) -> None:
    """Keep the words of a form that somebody sent by hand, and that a log-in has to come before."""
    person = remembered_person.last_person(request)
    if person is None or not by_hand(request) or getattr(view, "csrf_exempt", False):
        return  # without its token checked, it may be anybody's, or a recording of any size
    fields = [
        (name, value)
        for name, values in request.POST.lists()
        if not NEVER.search(name)
        for value in values
    ]
    if getattr(request, "was_cut", False) and not request.FILES:
        return  # the words themselves were cut, not the recording after them
    if sum(len(name) + len(value) for name, value in fields) > MOST_LETTERS:
        return
    request.session[KEY] = {
        "person": person,
        "action": request.get_full_path(),
        "fields": fields,
        "file": bool(request.FILES),
        "until": time.time() + KEPT_S,
    }
    request.words_kept_now = True  # type: ignore[attr-defined]
    if not request.user.is_authenticated:
        request.session.set_expiry(KEPT_S)


def kept(request: HttpRequest) -> dict | None:
    """What waits in this browser, whoever is logged in."""
    words = request.session.get(KEY)
    return words if words and words["until"] > time.time() else None


def kept_for(request: HttpRequest) -> dict | None:
    """What waits for the person who is logged in."""
    words = kept(request)
    return words if words and words["person"] == request.user.pk else None


def forget(session) -> None:
    if KEY in session:
        del session[KEY]


def forget_if_sent(request: HttpRequest) -> None:
    """It was sent again, or something else was sent there."""
    if getattr(request, "words_kept_now", False):
        return
    words = request.session.get(KEY)
    if words and words["action"] == request.get_full_path():
        forget(request.session)


def page_before(request: HttpRequest) -> str:
    """The page that a form was on, or the first page where that is not known."""
    split = urlsplit(request.META.get("HTTP_REFERER", ""))
    path = f"{split.path}?{split.query}" if split.query else split.path
    here = split.netloc == request.get_host()
    return own_path(path if here else "", reverse("home"))


def page_above(path: str) -> str:
    """The nearest address above this one: an address to post to stands below its page."""
    while path.strip("/"):
        path = path.rstrip("/").rpartition("/")[0] + "/"
        try:
            resolve(path)
        except Resolver404:
            continue
        return path
    return reverse("home")


def by_hand(request: HttpRequest) -> bool:
    """Whether a person pressed a button or typed an address, and no script asked."""
    mode = request.headers.get("Sec-Fetch-Mode", "navigate")
    return mode == "navigate" and "text/html" in request.headers.get("Accept", "")
