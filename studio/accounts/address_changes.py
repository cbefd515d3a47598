"""Another address to log in with: at once, or for a child once a guardian agrees.

Who has the address of an account can have a new password sent there. So whoever decides for a
child is asked before it changes, on her pages and by letter where mail is sent, and one of several
is enough; until then the child logs in as before. Of everybody else's account the change is made
at once. A choice of this project; local law stands above it.
"""

from datetime import timedelta

from django.conf import settings
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from . import guardians, letters, notices
from .consent import is_grown_up
from .models import AddressChange, Notice, Person

ANSWERED_WITHIN = timedelta(days=30)


class AddressTaken(Exception):
    """Somebody logs in with that address already."""


class AnsweredAlready(Exception):
    """Another guardian has answered, or the child has taken it back."""


def needs_guardian(person: Person) -> bool:
    """Whether the address of this account changes only once a guardian agrees."""
    grown_up = is_grown_up(person)
    return grown_up is False or (grown_up is None and guardians.are_linked_to(person))


def who_agrees(person: Person) -> list[Person]:
    """The guardians of whom one has to agree; nobody where it needs no agreement."""
    return guardians.answering_for(person) if needs_guardian(person) else []


def nobody_agrees(person: Person) -> bool:
    """Whether a guardian has to agree, and there is none."""
    return needs_guardian(person) and not guardians.answering_for(person)


def wanted(person: Person) -> AddressChange | None:
    """What the guardians of a child were asked, and have not answered yet."""
    return AddressChange.objects.filter(person=person).first()


def ask(person: Person, email: str, site: str) -> list[Person]:
    """Ask whoever decides for a child; who that is. An earlier question goes.

    ``site`` is the studio's address, scheme and host, for the letter.

    Raises
    ------
    AddressTaken
    """
    if Person.objects.filter(email=email).exists():
        raise AddressTaken
    who = who_agrees(person)
    with transaction.atomic():
        AddressChange.objects.filter(person=person).delete()
        asked = AddressChange.objects.create(person=person, email=email)
        for guardian in who:
            _ask(guardian, asked, site)
    return who


def _ask(guardian: Person, asked: AddressChange, site: str) -> None:
    child = asked.person
    text = _(
        "%(child)s wants to log in with %(email)s instead of %(logs_in_with)s. "
        "Whoever has that address can have a new password sent there. It is changed"
        " only if you agree."
    ) % {"child": child, "email": asked.email, "logs_in_with": child.logs_in_with}
    Notice.objects.create(to=guardian, text=text, address_change=asked)
    if settings.MAIL and guardian.email:
        link = f"{site}{reverse('answer_address', args=[asked.pk])}"
        letters.post_about_account(
            guardian.email,
            guardian.name,
            _("%(text)s Agree or decline here:\n\n%(link)s") % {"text": text, "link": link},
        )


def agree(asked: AddressChange, by: Person) -> None:
    """The child logs in with the new address from now on; she and all guardians are told.

    Raises
    ------
    AddressTaken
        Somebody else has it by now: the question is closed, and the child is told.
    AnsweredAlready
    """
    child, email = asked.person, asked.email
    try:
        with transaction.atomic():
            _close(asked)
            change(child, email)
    except AddressTaken:
        with transaction.atomic():
            _close(asked)
            still = _("cannot be used here. You log in with %(logs_in_with)s.") % {
                "logs_in_with": child.logs_in_with
            }
            notices.tell_each(
                [child],
                _("%(by)s agreed, but %(email)s %(still)s Choose another address.")
                % {"by": by, "email": email, "still": still},
            )
        raise


@transaction.atomic
def decline(asked: AddressChange, by: Person) -> None:
    """The child logs in as before, and is told; so are the other guardians.

    Raises
    ------
    AnsweredAlready
    """
    child = asked.person
    others = [one for one in who_agrees(child) if one != by]
    _close(asked)
    still = child.logs_in_with
    notices.tell_each(
        [child],
        _("%(by)s does not want you to log in with %(email)s. You log in with %(still)s.")
        % {"by": by, "email": asked.email, "still": still},
    )
    notices.tell_each(
        others,
        _("%(by)s declined that %(child)s logs in with %(email)s. It is %(still)s as before.")
        % {"by": by, "child": child, "email": asked.email, "still": still},
    )


def take_back(person: Person) -> bool:
    """The child no longer wants it; whether there was anything to take back."""
    return bool(AddressChange.objects.filter(person=person).delete()[0])


def forget_old() -> int:
    """Close what no guardian has answered in time, and tell the child; how many those were."""
    old = AddressChange.objects.filter(asked_at__lt=timezone.now() - ANSWERED_WITHIN)
    many = 0
    for asked in old.select_related("person"):
        with transaction.atomic():
            asked.delete()
            notices.tell_each(
                [asked.person],
                _(
                    "Nobody answered within %(days)s days whether you may log in with "
                    "%(email)s. You log in with %(logs_in_with)s, and can ask again."
                )
                % {
                    "days": ANSWERED_WITHIN.days,
                    "email": asked.email,
                    "logs_in_with": asked.person.logs_in_with,
                },
            )
        many += 1
    return many


def _close(asked: AddressChange) -> None:
    """Of two answers one counts; the notices that ask go with the question."""
    if not AddressChange.objects.filter(pk=asked.pk).delete()[0]:
        raise AnsweredAlready


def change(person: Person, email: str) -> None:
    """From now on ``person`` logs in with this address alone; the guardians are told.

    Raises
    ------
    AddressTaken
    """
    before, since = person.email, notices.when(timezone.now())
    changed = _("was changed on %(since)s, from %(before)s to %(email)s.") % {
        "since": since,
        "before": before or person.login_name,
        "email": email,
    }
    try:
        with transaction.atomic():
            AddressChange.objects.filter(person=person).delete()
            Person.objects.filter(pk=person.pk).update(email=email, login_name=None)
            notices.tell(
                person,
                _("Your address %(changed)s If that was not you, change your password at once.")
                % {"changed": changed},
                _(
                    "The address of the account of %(person)s %(changed)s If %(person)s did not"
                    " want that, let the password be changed at once."
                )
                % {"person": person, "changed": changed},
            )
            if settings.MAIL and before:
                letters.post_about_account(
                    before, person.name, _("Your address %(changed)s") % {"changed": changed}
                )
    except IntegrityError:
        raise AddressTaken from None
    person.email, person.login_name = email, None
