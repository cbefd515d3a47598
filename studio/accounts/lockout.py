"""Log-in attempts: who has to wait, and for how long (a handler for django-axes).

Wrong passwords are counted (:mod:`.throttling`) per account at one address, per account
from anywhere, and per address for any account. A browser in which the account's owner has logged in
before is counted by itself and by nothing else, so that nobody can shut its owner out from afar.
"""

from axes.handlers.base import AxesHandler
from axes.helpers import get_client_username
from django.conf import settings
from django.http import HttpRequest
from django.utils.translation import gettext as _

from . import known_device, throttling
from .models import Person, login_named
from .throttling import Count

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


def counts_of(request: HttpRequest, account: str) -> list[Count]:
    """What a try at the account's password counts on."""
    account = account.strip().lower()
    device = known_device.of(request)
    if device and Person.objects.filter(login_named(account), pk__in=device.people).exists():
        what = ("device", device.word, account)
        return [Count(what, PAIR_LIMIT, account, own=True)]
    address = address_of(request)
    return [
        Count(("pair", account, address), PAIR_LIMIT, account, own=True),
        Count(("account", account), ACCOUNT_LIMIT, account),
        Count(("address", address), ADDRESS_LIMIT),
    ]


def counts_of_code(request: HttpRequest, account: str) -> list[Count]:
    """What a try at a recovery code counts on: as a password does, but not from anywhere.

    Nobody can use up an account's tries from afar. A code has 120 bits, and is not guessed in any
    number of tries that a machine answers.
    """

    account, address = account.strip().lower(), address_of(request)
    return [
        Count(("pair", account, address), PAIR_LIMIT, account, own=True),
        Count(("codes", address), ADDRESS_LIMIT),
    ]


def counts_of_second_step(request: HttpRequest, person: Person) -> list[Count]:
    """What a try at the second step counts on: the known browser, else all others together.

    Whoever tries has the password already; a new password lifts no wait here.
    """
    device = known_device.of(request)
    mine = device is not None and person.pk in device.people
    where = device.word if device and mine else "elsewhere"
    return [Count((_("second step"), where, str(person.pk)), PAIR_LIMIT, own=True)]


class BackOff(AxesHandler):
    """django-axes asks here before a password is looked at, and tells how it went."""

    def is_locked(self, request: HttpRequest, credentials: dict | None = None) -> bool:
        request.tried = counts_of(request, get_client_username(request, credentials) or "")
        return not throttling.take(request.tried)

    def user_login_failed(self, sender, credentials: dict, request=None, **kwargs) -> None:
        """It was counted when it was taken; the last one that is let through is told to wait."""

        counts = getattr(request, "tried", ())
        if counts and throttling.must_wait(counts):
            request.axes_locked_out = True

    def user_logged_in(self, sender, request, user, **kwargs) -> None:
        was_right(request)


def was_right(request: HttpRequest) -> None:
    """The password that was tried with this request was the right one."""
    throttling.give_back(request.__dict__.pop("tried", ()))
