"""Inviting people: a link with a 256-bit secret, for one address, once, for seven days.

Only the secret's SHA-256 is kept; a secret of that size needs no slow hash. Whoever has an
account with the invited address already must be logged in to accept, so that a link that went
astray gives nobody that account; for a new address the link lets its bearer choose a password.
"""

from datetime import timedelta

from django.db import transaction
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from django.utils.translation import gettext as _

from . import audit, consent, guardians
from .consent import is_grown_up
from .models import Enrolment, Instrument, Invitation, Membership, Person, Studio, current
from .secret_words import hashed, new_secret
from .services import link_guardian

LIFETIME = timedelta(days=7)
Role = Membership.Role


class NoLongerOpen(Exception):
    """The invitation was taken, cancelled, has run out, or never was."""


def invite(
    studio: Studio,
    role: str,
    name: str,
    email: str,
    *,
    by: Person | None = None,
    birth_year: int | None = None,
    pupil: Person | None = None,
) -> tuple[Invitation, str]:
    """A new invitation and its secret, which is told this once; an earlier one no longer works."""
    secret = new_secret()
    email = email.strip().lower()
    with transaction.atomic():
        again = open_in(studio).filter(role=role, email=email, pupil=pupil)
        again.update(cancelled_at=timezone.now())
        invitation = Invitation.objects.create(
            studio=studio,
            role=role,
            name=name.strip(),
            email=email,
            birth_year=birth_year,
            pupil=pupil,
            invited_by=by,
            token_sha256=hashed(secret),
            expires_at=timezone.now() + LIFETIME,
        )
        about = pupil or account_of(invitation)
        said = f"as {invitation.get_role_display()}"
        audit.record(audit.Act.INVITED, by=by, studio=studio, about=about, detail=said)
    return invitation, secret


def open_in(studio: Studio) -> QuerySet[Invitation]:
    """The studio's invitations that can still be accepted."""
    return _open().filter(studio=studio)


def by_secret(secret: str) -> Invitation:
    """The open invitation of a link.

    Raises
    ------
    NoLongerOpen
        Used, cancelled, run out and invented look alike.
    """
    found = _open().select_related("studio", "invited_by", "pupil")
    invitation = found.filter(token_sha256=hashed(secret)).first()
    if invitation is None:
        raise NoLongerOpen
    return invitation


def account_of(invitation: Invitation) -> Person | None:
    """Who has an account with the invited address already."""
    return Person.objects.filter(email=invitation.email).first()


def needs_guardian(invitation: Invitation, account: Person | None) -> bool:
    """Whether a guardian has to accept for whoever has this account.

    So it is for a child's place beside the first, and for whoever has a guardian and is not surely
    grown up: by the age that is known already, not by what the invitation claims.
    """
    if account is None or invitation.role != Role.PUPIL or is_grown_up(account):
        return False
    if guardians.are_linked_to(account):
        return True
    has_place = Enrolment.objects.filter(current(), pupil=account).exists()
    return has_place and is_grown_up(account) is False


def who_may_accept(invitation: Invitation, account: Person) -> list[Person]:
    """Who of those that are here already may accept; empty where a guardian is missing."""
    if needs_guardian(invitation, account):
        return guardians.answering_for(account)
    return [account]


@transaction.atomic
def accept_for(invitation: Invitation, child: Person, guardian: Person) -> None:
    """Give a child one more place; from now on ``guardian`` answers for the child there too.

    Raises
    ------
    NoLongerOpen
        When somebody accepted or cancelled in the meantime.
    """
    accept(invitation, person=child)
    join(guardian, invitation.studio, Role.GUARDIAN)
    link_guardian(guardian, child, invitation.studio, by=guardian)


@transaction.atomic
def accept(invitation: Invitation, name: str = "", password: str = "", person=None) -> Person:
    """Give the place to ``person``, or to a new person with this name and password.

    Raises
    ------
    NoLongerOpen
        When somebody accepted or cancelled in the meantime.
    """
    take(invitation)
    if person is None:
        person = Person.objects.create_user(invitation.email, password, name=name.strip())
    join(person, invitation.studio, invitation.role)
    if invitation.role == Role.PUPIL:
        _enrol(person, invitation)
    record_arrival(invitation, person)
    if invitation.role == Role.GUARDIAN:
        by = invitation.invited_by or person
        link_guardian(person, invitation.pupil, invitation.studio, by)
    return person


def take(invitation: Invitation) -> None:
    """Nobody else accepts it. Call it in the transaction of what is accepted.

    Raises
    ------
    NoLongerOpen
        When somebody accepted or cancelled in the meantime.
    """
    if not _open().filter(pk=invitation.pk).update(accepted_at=timezone.now()):
        raise NoLongerOpen


def join(person: Person, studio: Studio, role: str) -> None:
    """Let ``person`` belong to the studio in this role from today, unless that is so already."""
    held = Membership.objects.filter(current(), person=person, studio=studio, role=role)
    if not held.exists():
        teachers = Membership.objects.filter(studio=studio, role=Role.TEACHER)
        is_owner = role == Role.TEACHER and not teachers.exists()  # the studio's first
        Membership.objects.update_or_create(
            person=person,
            studio=studio,
            role=role,
            started_on=timezone.localdate(),
            defaults={"ended_on": None},
            create_defaults={"ended_on": None, "is_owner": is_owner},
        )


def open_place(pupil: Person, invitation: Invitation) -> Enrolment:
    """The pupil's place of today in the studio; a new one has nobody's consent yet."""
    here = {"pupil": pupil, "studio": invitation.studio}
    place = Enrolment.objects.filter(current(), **here).first()
    if place is None:
        place = Enrolment.objects.create(**here, teacher=invitation.invited_by)
        consent.begin_anew(place)
    return place


def record_arrival(invitation: Invitation, by: Person, about: Person | None = None) -> None:
    """Note who came; a child of a family by her guardian."""
    said = _("as pupil") if about else f"as {invitation.get_role_display()}"
    audit.record(audit.Act.CAME, by=by, studio=invitation.studio, about=about or by, detail=said)


@transaction.atomic
def cancel(studio: Studio, pk: int, by: Person | None = None) -> None:
    """Take an open invitation back; 404 where the studio has no such invitation.

    Raises
    ------
    NoLongerOpen
        When it was accepted or cancelled in the meantime, or has run out.
    """
    if not Invitation.objects.filter(studio=studio, pk=pk).exists():
        raise Http404
    if not open_in(studio).filter(pk=pk).update(cancelled_at=timezone.now()):
        raise NoLongerOpen
    audit.record(audit.Act.INVITATION_TAKEN_BACK, by=by, studio=studio)


def _open() -> QuerySet[Invitation]:
    return Invitation.objects.filter(
        accepted_at=None,
        cancelled_at=None,
        expires_at__gt=timezone.now(),
    )


def _enrol(person: Person, invitation: Invitation) -> None:
    # What another studio says must not make anybody older whose guardian decides.
    if invitation.birth_year and person.birth_year is None and not guardians.are_linked_to(person):
        person.birth_year = invitation.birth_year
        person.save(update_fields=["birth_year"])
    open_place(person, invitation)
    here = {"pupil": person, "studio": invitation.studio}
    if not Instrument.objects.filter(current(), **here).exists():
        Instrument.objects.create(**here)
