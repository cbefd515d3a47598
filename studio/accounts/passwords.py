"""A lost password: links that open an account once, recovery codes, and what a new one ends.

Who may help whom (a choice of this project): a teacher, a pupil of her own studio, as long as
that account opens nothing else: a guardian's, a teacher's, or a place in another studio. Those
have their recovery codes, and whoever runs the studio's machine. That is asked when the link is
made and again when it is used. Everybody concerned is told, a guardian for her child.
"""

from datetime import timedelta

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from . import access, audit, notices, sessions, throttling
from .models import (
    GuardianLink,
    Membership,
    PasswordLink,
    Person,
    RecoveryCode,
    current,
    login_named,
)
from .secret_words import as_typed, hashed, new_code, new_secret, new_short_code

LIFETIME = timedelta(days=1)
CODES = 8


class NoLongerOpen(Exception):
    """The link was used, replaced, has run out, may no longer be given, or never was."""


class NotYours(Exception):
    """The account opens more than this teacher's studio: only the operator may help."""


# -- links ---------------------------------------------------------------------------------


def may_help(teacher: Person, pupil: Person) -> bool:
    """Whether a teacher may open a pupil's account: it reaches nothing but a studio of hers.

    A child who does not log in has no account to open; her guardian decides whether she shall.
    """
    places = access.enrolments_of(pupil)
    taught = access.enrolments_taught_by(teacher).filter(pupil=pupil)
    guards = GuardianLink.objects.filter(current(), guardian=pupil)
    others = Membership.objects.filter(current(), person=pupil).exclude(
        role=Membership.Role.PUPIL, studio__in=taught.values("studio")
    )
    return (
        pupil.is_active
        and bool(pupil.logs_in_with)
        and teacher.is_active
        and taught.exists()
        and not others.exists()
        and not guards.exists()
        and not places.exclude(pk__in=taught.values("pk")).exists()
    )


@transaction.atomic
def make_link(person: Person, by: Person | None = None) -> tuple[PasswordLink, str]:
    """A link for ``person`` and its secret, told this once; an earlier one no longer works.

    Raises
    ------
    NotYours
        When the teacher who asks (nobody for the operator) may not help this person.
    """
    if by is not None and not may_help(by, person):
        raise NotYours
    _cancel_links(person)
    secret = new_secret()
    link = PasswordLink.objects.create(
        person=person,
        made_by=by,
        token_sha256=hashed(secret),
        expires_at=timezone.now() + LIFETIME,
    )
    studio = None
    if by is not None:
        studio = access.enrolments_taught_by(by).filter(pupil=person).first().studio
    audit.record(audit.Act.PASSWORD_LINK, by=by, studio=studio, about=person)
    _tell_made(link)
    return link, secret


def by_secret(secret: str) -> PasswordLink:
    """The open link of this secret.

    Raises
    ------
    NoLongerOpen
        Used, replaced, run out, no longer allowed and invented look alike.
    """
    links = _open_links().select_related("person", "made_by")
    link = links.filter(token_sha256=hashed(secret)).first()
    if link is None or not link.person.is_active:
        raise NoLongerOpen
    if link.made_by is not None and not may_help(link.made_by, link.person):
        raise NoLongerOpen
    return link


@transaction.atomic
def use_link(link: PasswordLink, password: str) -> None:
    """Set the password.

    Raises
    ------
    NoLongerOpen
        When somebody used the link in the meantime.
    """
    if not _open_links().filter(pk=link.pk).update(used_at=timezone.now()):
        raise NoLongerOpen
    renew(link.person, password)
    _tell_changed(
        link.person,
        _("with the link that %(made_by)s made") % {"made_by": link.made_by or notices.OPERATOR},
        link,
    )


# -- recovery codes ------------------------------------------------------------------------


@transaction.atomic
def make_codes(person: Person) -> list[str]:
    """New codes, told this once; earlier ones no longer work."""
    _codes(person).delete()
    codes = [new_code() for _rest in range(CODES)]
    RecoveryCode.objects.bulk_create(
        RecoveryCode(person=person, code_sha256=hashed(as_typed(code))) for code in codes
    )
    return codes


def codes_left(person: Person) -> int:
    return _codes(person).filter(used_at=None).count()


def find_code(log_in_name: str, code: str) -> RecoveryCode | None:
    """The unused code of whoever logs in with this; one query, known or not."""
    return (
        RecoveryCode.objects.filter(
            kind=RecoveryCode.Kind.PASSWORD,
            person__in=Person.objects.filter(login_named(log_in_name), is_active=True),
            code_sha256=hashed(as_typed(code)),
            used_at=None,
        )
        .select_related("person")
        .first()
    )


@transaction.atomic
def use_code(code: RecoveryCode, password: str) -> None:
    """Set the password.

    Raises
    ------
    NoLongerOpen
        When it was used in the meantime.
    """
    if not RecoveryCode.objects.filter(pk=code.pk, used_at=None).update(used_at=timezone.now()):
        raise NoLongerOpen
    renew(code.person, password)
    left = codes_left(code.person)
    _tell_changed(
        code.person,
        _("with a recovery code; %(left)s of %(codes)s are left") % {"left": left, "codes": CODES},
    )


# -- a new password ------------------------------------------------------------------------


def renew(person: Person, password: str, here: str | None = None) -> None:
    """Set a password: open sessions end (but ``here``), open links and old wrong tries go."""
    with transaction.atomic():
        person.set_password(password)
        person.password_is_code = False
        _begin_anew(person, here)


def renew_by_code(person: Person) -> str:
    """The same with a code that is made here and told this once."""
    code = new_short_code()
    with transaction.atomic():
        person.set_password(as_typed(code))
        person.password_is_code = True
        _begin_anew(person)
    return code


def take_away(person: Person) -> None:
    """From now on no password opens the account."""
    with transaction.atomic():
        person.set_unusable_password()
        person.password_is_code = False
        _begin_anew(person)


def _begin_anew(person: Person, here: str | None = None) -> None:
    person.save(update_fields=["password", "password_is_code"])
    sessions.end_all(person, but=here)
    _cancel_links(person)
    for name in person.log_in_names:
        throttling.forget(name)


def told_by_letter(person: Person) -> None:
    """The password was set by the link of a letter."""
    _tell_changed(person, _("with the link of a letter to this address"))


def _codes(person: Person) -> QuerySet[RecoveryCode]:
    return person.recovery_codes.filter(kind=RecoveryCode.Kind.PASSWORD)


def _open_links() -> QuerySet[PasswordLink]:
    return PasswordLink.objects.filter(
        used_at=None, cancelled_at=None, expires_at__gt=timezone.now()
    )


def _cancel_links(person: Person) -> None:
    _open_links().filter(person=person).update(cancelled_at=timezone.now())


def _tell_made(link: PasswordLink) -> None:
    who = link.made_by or notices.OPERATOR
    who = str(who)[0].upper() + str(who)[1:]
    made = _("on %(created_at)s; it works once, until ") % {
        "created_at": notices.when(link.created_at)
    }
    made += f"{notices.when(link.expires_at)}."
    notices.tell(
        link.person,
        _(
            "%(who)s made a link with which a new password for your account can be "
            "chosen, %(made)s If you did not want one, change your password on the page"
            " Account: then the link no longer works. And tell a grown-up whom you "
            "trust."
        )
        % {"who": who, "made": made},
        _(
            "%(who)s made a link with which a new password for the account of "
            "%(person)s can be chosen, %(made)s If %(person)s did not want one, let the"
            " password be changed on the page Account: then the link no longer works. "
            "And ask %(made_by)s."
        )
        % {
            "who": who,
            "person": link.person,
            "made": made,
            "made_by": link.made_by or _("the teacher"),
        },
        link,
    )


def _tell_changed(person: Person, how: str, link: PasswordLink | None = None) -> None:
    changed = _("was changed on %(now)s, %(how)s.") % {
        "now": notices.when(timezone.now()),
        "how": how,
    }
    ask = _("ask for a link for a new password at once, and say what happened")
    notices.tell(
        person,
        _("The password of your account %(changed)s If that was not you, %(ask)s.")
        % {"changed": changed, "ask": ask},
        _(
            "The password of the account of %(person)s %(changed)s If that was not "
            "%(person)s, %(ask)s."
        )
        % {"person": person, "changed": changed, "ask": ask},
        link,
    )
