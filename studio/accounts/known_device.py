"""Browsers in which somebody has logged in: what strangers do at an account does not shut them out.

A signed cookie names the browser by a random word, and the people who have logged in there. It
opens nothing: it only says that wrong tries from elsewhere are no reason to let this browser wait,
and its own are counted by its own word. It outlives a log-out, and holds nothing but numbers.
"""

import secrets
from dataclasses import dataclass

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse

SALT = "studio.accounts.known_device"
AGE_S = 60 * 60 * 24 * 400  # as long as a browser keeps any cookie
MOST_PEOPLE = 8  # a family's desk; the newest stay


@dataclass(frozen=True, slots=True)
class Device:
    """A browser by its random word, and the keys of who has logged in there."""

    word: str
    people: tuple[int, ...]


def of(request: HttpRequest) -> Device | None:
    """What the browser's cookie says; ``None`` where it has none of ours."""
    try:
        said = signing.loads(request.COOKIES[settings.DEVICE_COOKIE_NAME], salt=SALT, max_age=AGE_S)
        return Device(said["word"], tuple(said["people"]))
    except (KeyError, signing.BadSignature):
        return None


def learns(request: HttpRequest, person_pk: int) -> None:
    """The answer to this request marks the browser as one of this person's."""
    request.device_learns = person_pk  # type: ignore[attr-defined]


def note(request: HttpRequest, response: HttpResponse) -> None:
    """Write down who was learnt of."""
    person_pk = getattr(request, "device_learns", None)
    if person_pk is None:
        return
    before = of(request) or Device(secrets.token_urlsafe(16), ())
    people = [person_pk, *(pk for pk in before.people if pk != person_pk)][:MOST_PEOPLE]
    response.set_cookie(
        settings.DEVICE_COOKIE_NAME,
        signing.dumps({"word": before.word, "people": people}, salt=SALT),
        max_age=AGE_S,
        secure=settings.HTTPS,
        httponly=True,
        samesite="Lax",
    )
