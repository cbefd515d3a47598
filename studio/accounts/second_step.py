"""The second step of a log-in, for those who want it: a code from an app on the phone.

The codes are time-based one-time passwords (RFC 6238: SHA-1, six digits, 30 s, as every such app
knows them); django-otp makes and checks them. A code is taken up to one step early or late, and
once. Where the phone is lost, a printed code does instead, once; and whoever runs the studio's
machine can switch the step off. A browser can be spared the step for 30 days: a signed cookie says
so, which a new password, a new set-up or "log out everywhere" makes worthless.
"""

import hashlib
from base64 import b32encode

import segno
from django.conf import settings
from django.core import signing
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django_otp import verify_token
from django_otp.plugins.otp_totp.models import TOTPDevice

from studio import figures

from . import lockout, notices, throttling
from .models import Person, RecoveryCode
from .secret_words import as_typed, hashed, new_code, new_secret

SALT = "studio.accounts.second_step"
SPARED_S = 60 * 60 * 24 * 30
CODES = 8
DIGITS = 6
QR_SCALE = 5  # pixels a module; a phone reads it from a screen at arm's length


class MustWait(Exception):
    """Too many wrong codes: the next is looked at later."""


def device_of(person: Person) -> TOTPDevice | None:
    """The phone whose codes are asked for."""
    return TOTPDevice.objects.filter(user=person, confirmed=True).first()


def is_on(person: Person) -> bool:
    return device_of(person) is not None


# -- setting it up -------------------------------------------------------------------------


@transaction.atomic
def begin(person: Person) -> TOTPDevice:
    """A new key to be shown; it counts for nothing until a first code confirms it."""
    TOTPDevice.objects.filter(user=person, confirmed=False).delete()
    return TOTPDevice.objects.create(user=person, name=new_secret(), confirmed=False)


def begun(person: Person) -> TOTPDevice | None:
    """The key that waits for its first code."""
    return TOTPDevice.objects.filter(user=person, confirmed=False).first()


def confirm(request: HttpRequest, device: TOTPDevice, code: str) -> list[str] | None:
    """Switch it on by a first code; the printed codes, told this once, or ``None``.

    Raises
    ------
    MustWait
    """
    person = device.user
    if not _counted(request, person, lambda: _from_phone(device, code)):
        return None
    with transaction.atomic():
        TOTPDevice.objects.filter(user=person, confirmed=True).delete()
        TOTPDevice.objects.filter(pk=device.pk).update(confirmed=True)
        codes = make_codes(person)
        _tell(
            person, _("was switched on"), _("From now on a log-in asks for a code from the phone.")
        )
    return codes


@transaction.atomic
def make_codes(person: Person) -> list[str]:
    """New printed codes that do in place of the phone's; earlier ones no longer work."""
    _codes(person).delete()
    codes = [new_code() for _rest in range(CODES)]
    RecoveryCode.objects.bulk_create(
        RecoveryCode(
            person=person, kind=RecoveryCode.Kind.PHONE, code_sha256=hashed(as_typed(code))
        )
        for code in codes
    )
    return codes


def codes_left(person: Person) -> int:
    return _codes(person).filter(used_at=None).count()


@transaction.atomic
def switch_off(person: Person, by: str = "") -> None:
    """A log-in asks for the password alone again; whoever is concerned is told."""
    TOTPDevice.objects.filter(user=person).delete()
    _codes(person).delete()
    _tell(
        person,
        _("was switched off%(by)s") % {"by": by},
        _("From now on a log-in asks for the password alone."),
    )


def key_as_text(device: TOTPDevice) -> str:
    """The key as apps take it, base 32, in groups of four."""
    text = b32encode(device.bin_key).decode().rstrip("=")
    return " ".join(text[at : at + 4] for at in range(0, len(text), 4))


def picture(device: TOTPDevice) -> str:
    """The key as a QR code: an SVG element, black on white in every theme."""
    code = segno.make(device.config_url, micro=False, error="m")
    return code.svg_inline(
        scale=QR_SCALE,
        border=4,
        dark="#000",
        light="#fff",
        title=_("The key as a QR code, for the app on your phone"),
        svgclass="qr",
        lineclass=None,
    )


# -- asking for it -------------------------------------------------------------------------


def is_right(request: HttpRequest, person: Person, code: str) -> bool:
    """Whether the code is the phone's, or an unused printed one; a right one is used up.

    Raises
    ------
    MustWait
    """
    device = device_of(person)
    if device is None:
        return False
    return _counted(request, person, lambda: _from_phone(device, code) or _printed(person, code))


def spare(response: HttpResponse, person: Person) -> None:
    """From now on this browser is not asked for the second step, for 30 days."""
    device = device_of(person)
    if device is None:
        return
    response.set_cookie(
        settings.SPARED_COOKIE_NAME,
        signing.dumps(_mark(person, device), salt=SALT),
        max_age=SPARED_S,
        secure=settings.HTTPS,
        httponly=True,
        samesite="Lax",
    )


def is_spared(request: HttpRequest, person: Person) -> bool:
    """Whether this browser need not be asked; a mark of before a change is worth nothing."""
    device = device_of(person)
    try:
        said = signing.loads(
            request.COOKIES[settings.SPARED_COOKIE_NAME], salt=SALT, max_age=SPARED_S
        )
    except (KeyError, signing.BadSignature):
        return False
    return device is not None and said == _mark(person, device)


def spare_nobody(person: Person) -> None:
    """Every browser is asked again."""
    TOTPDevice.objects.filter(user=person).update(name=new_secret())


def _mark(person: Person, device: TOTPDevice) -> list:
    """What a spared browser shows: it changes with the password, the phone, and at will."""
    secret = f"{person.get_session_auth_hash()}{device.name}"
    return [person.pk, device.pk, hashlib.sha256(secret.encode()).hexdigest()]


def _counted(request: HttpRequest, person: Person, look) -> bool:
    counts = lockout.counts_of_second_step(request, person)
    if not throttling.take(counts):
        raise MustWait
    right = look()
    if right:
        throttling.give_back(counts)
    return right


def _from_phone(device: TOTPDevice, code: str) -> bool:
    typed = "".join(code.split())
    if len(typed) != DIGITS or figures.whole(typed) is None:
        return False
    return verify_token(device.user, device.persistent_id, typed) is not None


def _printed(person: Person, code: str) -> bool:
    unused = _codes(person).filter(code_sha256=hashed(as_typed(code)), used_at=None)
    return bool(unused.update(used_at=timezone.now()))


def _codes(person: Person):
    return person.recovery_codes.filter(kind=RecoveryCode.Kind.PHONE)


def _tell(person: Person, what: str, then: str) -> None:
    when = notices.when(timezone.now())
    notices.tell(
        person,
        _(
            "The second step of your log-in %(what)s on %(when)s. %(then)s If that was "
            "not you, change your password at once, and say what happened to whoever "
            "runs the studio’s machine."
        )
        % {"what": what, "when": when, "then": then},
        _("The second step of the log-in of %(person)s %(what)s on %(when)s. %(then)s")
        % {"person": person, "what": what, "when": when, "then": then},
    )
