"""Consent: what is asked for, who decides, what holds now, and how it changes.

Consent holds for one pupil in one studio, for one purpose, in the present version of the words
that ask for it. A version goes up only when more is asked for; what was given to fewer words then
no longer holds, and is asked for again. A withdrawal ends every version at once.

Who decides (a choice of this project; local law stands above it):

* a grown-up pupil decides alone, whoever is linked as a guardian. The year of birth is all that is
  known, so a pupil counts as grown up from the year after the eighteenth birthday;
* for any other pupil each guardian of today decides, and one guardian's withdrawal is enough;
* a pupil without a year of birth and without a guardian decides alone: the studio has told us of
  nobody else. With a year of birth that says child and no guardian, nobody can: the teacher links
  a guardian first.

Without consent the teachers of the studio neither watch nor hear, no clip is taken in, and no
listening begins. The pupil and the guardians still see what they have.
"""

from dataclasses import dataclass

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone

from studio import figures

from .models import Consent, Enrolment, GuardianLink, Membership, Person, current

Purpose = Consent.Purpose
GROWN_UP_AGE = 18  # years; chosen, and lower in some countries


class ConsentMissing(PermissionDenied):
    """Consent was not given or was withdrawn. The ``sentence`` is for whoever asked.

    It names people, so it is not what the log gets.
    """

    def __init__(self, sentence: str) -> None:
        super().__init__("consent to recordings does not hold")
        self.sentence = sentence


class ChangedMeanwhile(Exception):
    """Somebody else decided after the page was read: it is to be read again."""


@dataclass(frozen=True, slots=True)
class Words:
    """What is asked for, as the person who decides reads it."""

    version: int
    title: str
    asked: tuple[str, ...]
    given: tuple[str, ...]
    withdrawn: tuple[str, ...]


WORDS = {
    Purpose.RECORDINGS: Words(
        version=1,
        title="Recordings of practice",
        asked=(
            "The pupil may send practice clips, with picture or sound only, to this studio.",
            "The teachers of this studio may watch and hear them, and write comments on them.",
            "A program that the studio runs listens for the notes and measures how well they are "
            "in tune. The studio may keep recordings at a storage service; nobody else gets them.",
        ),
        given=(
            "New clips can be sent from now on.",
            "The studio’s teachers can watch and hear all clips, earlier ones too.",
            "Clips that waited are taken up within a minute.",
        ),
        withdrawn=(
            "From that moment the studio’s teachers get nothing more of any clip. What a browser "
            "already has of one that is playing may sound on for a little.",
            "New clips are not accepted, and clips that wait are not listened to.",
            "Nothing is deleted. The pupil and the guardians still see and hear everything, "
            "but not what the teacher recorded or drew in reply, until you agree again.",
            "You can agree again at any time. To have recordings erased, or to get a copy of "
            "them, ask the teacher: withdrawing does neither.",
        ),
    ),
}


@dataclass(frozen=True, slots=True)
class Standing:
    """How one purpose stands: the words, the consent that holds, and all that was ever given."""

    purpose: str
    words: Words
    history: tuple[Consent, ...]

    @property
    def given(self) -> Consent | None:
        """The consent that holds now."""
        for consent in self.history:
            if consent.withdrawn_at is None and consent.version == self.words.version:
                return consent
        return None

    @property
    def last(self) -> Consent | None:
        return self.history[-1] if self.history else None

    @property
    def mark(self) -> str:
        """Changes with every decision, so that a page can tell whether it is still the newest."""
        if self.last is None:
            return "0"
        return f"{self.last.pk}{'-' if self.last.withdrawn_at else '+'}"


def holds(purpose: str, pupil: str = "pupil", studio: str = "studio") -> Exists:
    """A condition for queries: consent holds for the row whose fields name pupil and studio."""
    return Exists(
        Consent.objects.filter(
            purpose=purpose,
            version=WORDS[Purpose(purpose)].version,
            withdrawn_at__isnull=True,
            pupil=OuterRef(pupil),
            studio=OuterRef(studio),
        ).order_by()
    )


def is_given(enrolment: Enrolment, purpose: str = Purpose.RECORDINGS) -> bool:
    return Enrolment.objects.filter(holds(purpose), pk=enrolment.pk).exists()


def standing(enrolment: Enrolment, purpose: str = Purpose.RECORDINGS) -> Standing:
    rows = Consent.objects.filter(
        pupil=enrolment.pupil_id, studio=enrolment.studio_id, purpose=purpose
    ).select_related("given_by", "withdrawn_by")
    return Standing(purpose, WORDS[Purpose(purpose)], tuple(rows))


def is_grown_up(pupil: Person) -> bool | None:
    """Whether the year of birth says so; ``None`` where it is not known."""
    if pupil.birth_year is None:
        return None
    return timezone.localdate().year - pupil.birth_year > GROWN_UP_AGE


def guardians_of(enrolment: Enrolment) -> list[Person]:
    """Who answers for the pupil in this studio today."""
    linked = GuardianLink.objects.filter(
        current(), pupil=enrolment.pupil_id, guardian=OuterRef("pk")
    )
    member = Membership.objects.filter(
        current(),
        role=Membership.Role.GUARDIAN,
        studio=enrolment.studio_id,
        person=OuterRef("pk"),
    )
    guardians = Person.objects.filter(Exists(linked), Exists(member), is_active=True)
    return list(guardians.order_by("name", "pk"))


def deciders(enrolment: Enrolment) -> list[Person]:
    """Who may give and withdraw consent for this pupil; empty when a guardian is missing."""
    grown_up = is_grown_up(enrolment.pupil)
    if grown_up:
        return [enrolment.pupil]
    guardians = guardians_of(enrolment)
    if not guardians and grown_up is None:
        return [enrolment.pupil]
    return guardians


def require_for_sending(enrolment: Enrolment) -> None:
    """Raise :class:`ConsentMissing`, in the pupil's words, unless clips may be sent."""
    if not is_given(enrolment):
        raise ConsentMissing(cannot_send(enrolment))


def cannot_send(enrolment: Enrolment) -> str:
    """Why the pupil cannot send a clip, and who can change that."""
    who = deciders(enrolment)
    if not who:
        return (
            "Before you can send a clip, a grown-up who looks after you has to agree, and none "
            "is linked to you here yet. Ask your teacher to link one."
        )
    if who == [enrolment.pupil]:
        return (
            "Before you can send a clip, you have to agree that your teacher may watch and hear "
            "it. Read and decide under Consent on your practice page."
        )
    names = " or ".join(person.name for person in who)
    return (
        f"Before you can send a clip, {names} has to agree that your teacher may watch and hear "
        f"it. Ask {names} to log in here and look under Consent."
    )


def not_agreed(enrolment: Enrolment) -> str:
    """The same for a guardian of the pupil."""
    return (
        f"Consent for recordings does not hold. Until it is given, {enrolment.pupil} cannot send "
        "a clip, and nobody at the studio can watch or hear one."
    )


def cannot_watch(enrolment: Enrolment) -> str:
    """Why a teacher can neither watch nor hear, and what is left as it is."""
    last = standing(enrolment).last
    if last is not None and last.withdrawn_at is not None:
        day = figures.long_date(timezone.localtime(last.withdrawn_at))
        why = f"Consent for recordings of {enrolment.pupil} was withdrawn on {day}."
    elif last is not None:
        why = f"The words that ask for consent have changed since {enrolment.pupil}’s was given."
    else:
        why = f"Consent for recordings of {enrolment.pupil} has not been given."
    who = " or ".join(person.name for person in deciders(enrolment))
    then = f"{who} can give it" if who else "A guardian has to be linked first"
    return (
        f"{why} The clips can be neither watched nor heard until it is. {then}; "
        "nothing was deleted."
    )


@transaction.atomic
def give(enrolment: Enrolment, person: Person, purpose: str, mark: str) -> Consent:
    """Record that ``person`` agrees to the present words.

    Raises
    ------
    ChangedMeanwhile
        When ``mark`` is not the standing's: an old page must not undo a later withdrawal.
    """
    before = _locked_standing(enrolment, purpose)
    if before.given is not None:
        return before.given
    if mark != before.mark:
        raise ChangedMeanwhile
    return Consent.objects.create(
        pupil_id=enrolment.pupil_id,
        studio_id=enrolment.studio_id,
        purpose=purpose,
        version=before.words.version,
        given_by=person,
    )


@transaction.atomic
def withdraw(enrolment: Enrolment, person: Person, purpose: str) -> int:
    """End every standing consent for the purpose, whatever its version; says how many."""
    _locked_standing(enrolment, purpose)
    return Consent.objects.filter(
        pupil=enrolment.pupil_id,
        studio=enrolment.studio_id,
        purpose=purpose,
        withdrawn_at__isnull=True,
    ).update(withdrawn_at=timezone.now(), withdrawn_by=person)


def _locked_standing(enrolment: Enrolment, purpose: str) -> Standing:
    """The standing, while no other decision about this pupil's place can be made."""
    Enrolment.objects.select_for_update().get(pk=enrolment.pk)
    return standing(enrolment, purpose)
