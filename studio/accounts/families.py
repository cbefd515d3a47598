"""A family comes in by one invitation: a guardian and her children, accepted once.

The teacher names the guardian and one to six children. Accepting makes, in one transaction, the
guardian's account (or takes the one she has), the children's, their places, instruments and links,
and consent where the guardian agreed, child by child. The rules of :mod:`.invitations`,
:mod:`.guardians` and :mod:`.consent` hold here too: who has an account with the address has to be
logged in, who teaches here decides nothing about consent, and a child who is here or elsewhere
already is taken only by a guardian who decides for her.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db import transaction

from studio.theory import instrument_named

from . import child_log_in, consent, guardians, invitations
from .consent import is_grown_up
from .models import (
    Enrolment,
    Instrument,
    Invitation,
    InvitedChild,
    Membership,
    Person,
    Studio,
    current,
)
from .services import link_guardian

MOST_CHILDREN = 6  # chosen
Role = Membership.Role


@dataclass(frozen=True, slots=True)
class ChildNamed:
    """A child as the teacher names her; without a length the usual one of the kind is taken."""

    name: str
    birth_year: int
    kind: str = Instrument.Kind.VIOLIN
    string_length_mm: float | None = None


@dataclass(frozen=True, slots=True)
class ChildTaken:
    """What the guardian says of a child: who she is, whether she agrees, and a log-in's name.

    ``already`` is an account that the child has, and that the guardian decides for.
    """

    invited: InvitedChild
    name: str
    agrees: bool = False
    login_name: str = ""
    already: Person | None = None


@dataclass(slots=True)
class Arrival:
    """Who came: the places in the children's order, and the codes that are told this once."""

    guardian: Person
    places: list[Enrolment] = field(default_factory=list)
    codes: dict[Person, str] = field(default_factory=dict)

    @property
    def agreed(self) -> list[Enrolment]:
        """The places to which a clip can be sent now."""
        return [place for place in self.places if consent.is_given(place)]


def invite(
    studio: Studio, name: str, email: str, children: Iterable[ChildNamed], by: Person
) -> tuple[Invitation, str]:
    """A family's invitation and its secret; an earlier one to that address no longer works."""
    with transaction.atomic():
        invitation, secret = invitations.invite(studio, Role.GUARDIAN, name, email, by=by)
        for child in children:
            InvitedChild.objects.create(
                invitation=invitation,
                name=child.name.strip(),
                birth_year=child.birth_year,
                kind=child.kind,
                string_length_mm=child.string_length_mm
                or instrument_named(child.kind).string_length_mm,
            )
    return invitation, secret


def is_family(invitation: Invitation) -> bool:
    return invitation.role == Role.GUARDIAN and invitation.pupil_id is None


def may_accept(account: Person) -> bool:
    """Whether who has the invited address already is no child: a guardian is grown up."""
    return is_grown_up(account) is not False


def proposes_log_in(child: InvitedChild, studio: Studio) -> bool:
    """Whether the child is surely of the studio's age; only the year of birth is known."""
    return consent.is_surely(child.birth_year, studio.own_login_age)


def children_of(guardian: Person) -> list[Person]:
    """The children, wherever they learn, for whom ``guardian`` decides today."""
    links = guardians.deciding().filter(guardian=guardian)
    pupils = Person.objects.filter(pk__in=links.values("pupil"), is_active=True)
    return [pupil for pupil in pupils.order_by("name", "pk") if not is_grown_up(pupil)]


@transaction.atomic
def accept(
    invitation: Invitation,
    children: Iterable[ChildTaken],
    name: str = "",
    password: str = "",
    person: Person | None = None,
) -> Arrival:
    """The guardian ``person``, or a new one with this name and password, comes with her children.

    Raises
    ------
    invitations.NoLongerOpen
        When somebody accepted or cancelled in the meantime.
    child_log_in.NameTaken
    """
    invitations.take(invitation)
    if person is None:
        person = Person.objects.create_user(invitation.email, password, name=name.strip())
    invitations.join(person, invitation.studio, Role.GUARDIAN)
    invitations.record_arrival(invitation, person)
    arrival = Arrival(person)
    for child in children:
        _bring(invitation, child, arrival)
    invitation.children.all().delete()
    return arrival


def _bring(invitation: Invitation, taken: ChildTaken, arrival: Arrival) -> None:
    """One child comes, is linked, and has consent and a log-in where the guardian said so."""
    guardian, studio = arrival.guardian, invitation.studio
    child = _account(taken, guardian)
    invitations.join(child, studio, Role.PUPIL)
    place = _place(invitation, taken.invited, child)
    link_guardian(guardian, child, studio, by=invitation.invited_by or guardian)
    invitations.record_arrival(invitation, guardian, about=child)
    if taken.agrees:
        _agree(place, guardian)
    new = not child.logs_in_with  # how she logs in already is not changed by the way
    if new and taken.login_name and child_log_in.may_change(guardian, child):
        arrival.codes[child] = child_log_in.make(child, taken.login_name, by=guardian)
    arrival.places.append(place)


def _account(taken: ChildTaken, guardian: Person) -> Person:
    """The child's own account, or a new one; another's stays out of reach."""
    if taken.already is not None and taken.already in children_of(guardian):
        return taken.already
    year = taken.invited.birth_year
    return Person.objects.create_user(None, None, name=taken.name.strip(), birth_year=year)


def _place(invitation: Invitation, invited: InvitedChild, child: Person) -> Enrolment:
    here = {"pupil": child, "studio": invitation.studio}
    if not Instrument.objects.filter(current(), **here).exists():
        length = invited.string_length_mm
        Instrument.objects.create(**here, kind=invited.kind, string_length_mm=length)
    return invitations.open_place(child, invitation)


def _agree(place: Enrolment, guardian: Person) -> None:
    """Where nothing was decided for these lessons; what was is changed on the page Consent alone.

    A withdrawal stands, of earlier lessons too: only there is it read before it is undone.
    """
    purpose = consent.Purpose.RECORDINGS
    now = consent.standing(place, purpose)
    untouched = now.last is None or now.began_anew
    if untouched and guardian in consent.deciders(place):
        consent.give(place, guardian, purpose, now.mark)
