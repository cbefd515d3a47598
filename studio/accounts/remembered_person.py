"""Who used this browser last, for as long as nobody logged out of it.

A signed cookie, read when a session has run out: what was being written is given back to the same
person only, and what the browser still keeps of one person is cleared before another sees it.
It opens nothing.
"""

from django.conf import settings
from django.core.signing import BadSignature
from django.http import HttpRequest, HttpResponse

SALT = "studio.accounts.known_browser"  # of its first name: cookies that are out stay good
AGE_S = 60 * 60 * 24 * 90  # longer than a session


def last_person(request: HttpRequest) -> int | None:
    try:
        return int(request.get_signed_cookie(settings.KNOWN_COOKIE_NAME, salt=SALT, max_age=AGE_S))
    except (KeyError, BadSignature, ValueError):
        return None


def note(response: HttpResponse, person_pk: int) -> None:
    response.set_signed_cookie(
        settings.KNOWN_COOKIE_NAME,
        str(person_pk),
        salt=SALT,
        max_age=AGE_S,
        secure=settings.HTTPS,
        httponly=True,
        samesite="Lax",
    )


def forget(response: HttpResponse) -> None:
    response.delete_cookie(settings.KNOWN_COOKIE_NAME, samesite="Lax")
