"""Consent: what is asked for, who decides, what holds now, and how it changes.

Consent holds for one pupil in one studio, for one purpose, in the present version of the words
that ask for it, or in an earlier one that asked for as much. What was given to words that asked
for less no longer holds, and is asked for again (:mod:`.consent_words`). A withdrawal ends every
version at once.

Who decides (a choice of this project; local law stands above it):

* a grown-up pupil decides alone, whoever is linked as a guardian. The year of birth is all that is
  known, so a pupil counts as grown up from the year after the eighteenth birthday;
* for any other pupil each guardian of today in that studio decides, and one guardian's withdrawal
  is enough. A guardian who teaches there does not (:mod:`studio.accounts.guardians`);
* a pupil without a year of birth and without a guardian decides alone: the studio has told us of
  nobody else. With a year of birth that says child and no guardian, nobody can: the teacher links
  a guardian first.

Who comes back after lessons have ended is asked anew: what was agreed to was for those lessons.

Consent needs somebody who can withdraw it. What a guardian gave *rests* once nobody is left who
decides for the pupil; whoever is linked later has to agree anew.

Without consent the teachers of the studio neither watch nor hear, no clip is taken in, and no
listening begins. The pupil and the guardians still see what they have.
"""

from dataclasses import dataclass

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import BigIntegerField, Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures

from . import audit, guardians, retention
from .condition import Condition
from .consent_words import WORDS, Purpose, Words
from .models import Consent, Enrolment, Person
from .prepared import Given, Prepared

GROWN_UP_AGE = 18  # years; chosen, and lower in some countries


class ConsentMissing(PermissionDenied):
    """Consent was not given or was withdrawn. The ``sentence`` is for whoever asked.

    It names people, so it is not what the log gets.
    """

    def __init__(self, sentence: str) -> None:
        super().__init__(_("consent to recordings does not hold"))
        self.sentence = sentence


class ChangedMeanwhile(Exception):
    """Somebody else decided after the page was read: it is to be read again."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How one purpose stands: the words, the consent that holds, and all that was ever given."""

    purpose: str
    words: Words
    history: tuple[Consent, ...]
    given: Consent | None  # what holds now

    @property
    def rests(self) -> bool:
        """It was given and not withdrawn, but nobody is left who could withdraw it."""
        newest = self.last
        return (
            self.given is None
            and newest is not None
            and newest.withdrawn_at is None
            and newest.superseded_at is None
            and newest.version >= self.words.holds_since
        )

    @property
    def began_anew(self) -> bool:
        """It was given for lessons that ended, and the pupil has come back since."""
        newest = self.last
        return (
            self.given is None
            and newest is not None
            and newest.withdrawn_at is None
            and newest.superseded_at is not None
        )

    @property
    def last(self) -> Consent | None:
        return self.history[-1] if self.history else None

    @property
    def mark(self) -> str:
        """Changes with every decision, so that a page can tell whether it is still the newest."""
        if self.last is None:
            return "0"
        ended = self.last.withdrawn_at or self.rests or self.began_anew
        return f"{self.last.pk}{'-' if ended else '+'}"


def holds(purpose: str, pupil: str = "pupil", studio: str = "studio") -> Condition:
    """A condition for queries: consent holds for the row whose fields name pupil and studio."""
    asked = Purpose(purpose)
    return Condition(_standing, asked, WORDS[asked].holds_since, pupil=pupil, studio=studio)


def is_given(enrolment: Enrolment, purpose: str = Purpose.RECORDINGS) -> bool:
    return Enrolment.objects.filter(holds(purpose), pk=enrolment.pk).exists()


def standing(enrolment: Enrolment, purpose: str = Purpose.RECORDINGS) -> Standing:
    words = WORDS[Purpose(purpose)]
    place = {"pupil": enrolment.pupil_id, "studio": enrolment.studio_id}
    history = tuple(_history(str(purpose), words.holds_since, **place))
    holding = next((row for row in reversed(history) if row.holds), None)
    return Standing(purpose, words, history, holding)


def is_grown_up(pupil: Person) -> bool | None:
    """Whether the year of birth says so; ``None`` where it is not known."""
    if pupil.birth_year is None:
        return None
    return is_surely(pupil.birth_year, GROWN_UP_AGE)


def is_surely(birth_year: int, age: int) -> bool:
    """Whether whoever was born in that year has had the birthday of this age, whatever its day."""
    return birth_year < timezone.localdate().year - age


def deciders(enrolment: Enrolment) -> list[Person]:
    """Who may give and withdraw consent for this pupil; empty when a guardian is missing."""
    grown_up = is_grown_up(enrolment.pupil)
    if grown_up:
        return [enrolment.pupil]
    linked = guardians.deciders(enrolment)
    if not linked and grown_up is None and not guardians.of(enrolment):
        return [enrolment.pupil]
    return linked


def require_for_sending(enrolment: Enrolment, by_guardian: bool = False) -> None:
    """Raise :class:`ConsentMissing`, in the pupil's or a guardian's words, unless it is given."""
    if not is_given(enrolment):
        raise ConsentMissing(not_agreed(enrolment) if by_guardian else cannot_send(enrolment))


def cannot_send(enrolment: Enrolment) -> str:
    """Why the pupil cannot send a clip, and who can change that."""
    return f"{_withdrawn(enrolment)} {_who_can_agree(enrolment)}".strip()


def _who_can_agree(enrolment: Enrolment) -> str:
    who = deciders(enrolment)
    if not who:
        return _(
            "Before you can send a clip, a grown-up who looks after you has to agree, and nobody "
            "is linked to you here who may. Ask your teacher to link one."
        )
    if who == [enrolment.pupil]:
        return _(
            "Before you can send a clip, you have to agree that your teacher may watch and hear "
            "it. Read and decide under Consent on your practice page."
        )
    names = " or ".join(person.name for person in who)
    return _(
        "Before you can send a clip, %(names)s has to agree that your teacher may "
        "watch and hear it. Ask %(names)s to log in here and look under Consent."
    ) % {"names": names}


def not_agreed(enrolment: Enrolment) -> str:
    """The same for a guardian of the pupil."""
    return _(
        "%(enrolment)s Until it is given, %(pupil)s cannot send a clip, and nobody "
        "at the studio can watch or hear one."
    ) % {
        "enrolment": _withdrawn(enrolment) or _("Consent for recordings does not hold."),
        "pupil": enrolment.pupil,
    }


def _withdrawn(enrolment: Enrolment) -> str:
    """Who withdrew it and when; empty where that is not why it does not hold."""
    last = standing(enrolment).last
    if last is None or last.withdrawn_at is None:
        return ""
    day = figures.long_date(timezone.localtime(last.withdrawn_at))
    return _("Consent for recordings was withdrawn by %(withdrawn_by)s on %(day)s.") % {
        "withdrawn_by": last.withdrawn_by or _("the studio"),
        "day": day,
    }


def cannot_watch(enrolment: Enrolment) -> str:
    """Why a teacher can neither watch nor hear, and what is left as it is."""
    now = standing(enrolment)
    last = now.last
    if now.rests:
        why = _("Consent for recordings rests: there is nobody who answers for %(pupil)s.") % {
            "pupil": enrolment.pupil
        }
    elif now.began_anew:
        why = _("Consent for recordings of %(pupil)s was for the lessons that ended.") % {
            "pupil": enrolment.pupil
        }
    elif last is not None and last.withdrawn_at is not None:
        day = figures.long_date(timezone.localtime(last.withdrawn_at))
        why = _("Consent for recordings of %(pupil)s was withdrawn on %(day)s.") % {
            "pupil": enrolment.pupil,
            "day": day,
        }
    elif last is not None:
        why = _("The words that ask for consent ask for more since %(pupil)s’s was given.") % {
            "pupil": enrolment.pupil
        }
    else:
        why = _("Consent for recordings of %(pupil)s has not been given.") % {
            "pupil": enrolment.pupil
        }
    who = " or ".join(person.name for person in deciders(enrolment))
    then = (
        _("%(who)s can give it") % {"who": who} if who else _("A guardian has to be linked first")
    )
    return _(
        "%(why)s The clips can be neither watched nor heard until it is. %(then)s; "
        "nothing was deleted."
    ) % {"why": why, "then": then}


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
    return _give(enrolment, person, before)


@transaction.atomic
def agree_anew(enrolment: Enrolment, person: Person, purpose: str, mark: str) -> Consent:
    """Record that ``person`` agrees to the times of today too, while consent holds.

    Raises
    ------
    ChangedMeanwhile
        As :func:`give`; also where it does not hold any more.
    """
    before = _locked_standing(enrolment, purpose)
    if before.given is None or mark != before.mark:
        raise ChangedMeanwhile
    if not keeps_longer(enrolment, before):
        return before.given
    _open_rows(enrolment).filter(purpose=purpose).update(superseded_at=timezone.now())
    return _give(enrolment, person, before)


def keeps_longer(enrolment: Enrolment, standing: Standing) -> bool:
    """Whether the studio keeps anything longer now than was agreed to in a consent that holds."""
    if standing.given is None:
        return False
    then = retention.said_by(standing.given.terms)
    return retention.is_longer(retention.of_studio(enrolment.studio), then)


def begin_anew(enrolment: Enrolment) -> None:
    """New lessons after others that ended: what was agreed to for those does not hold for these."""
    _open_rows(enrolment).update(superseded_at=timezone.now())


def _give(enrolment: Enrolment, person: Person, before: Standing) -> Consent:
    purpose = before.purpose
    since = before.words.holds_since
    same = _open_rows(enrolment).filter(purpose=purpose, version__gte=since)
    same.update(rests_since=timezone.now())
    _record(audit.Act.CONSENT_GIVEN, enrolment, person, purpose)
    return Consent.objects.create(
        pupil_id=enrolment.pupil_id,
        studio_id=enrolment.studio_id,
        purpose=purpose,
        version=before.words.version,
        given_by=person,
        terms=retention.row_of(enrolment.studio),
    )


@transaction.atomic
def withdraw(enrolment: Enrolment, person: Person, purpose: str) -> int:
    """End every standing consent for the purpose, whatever its version; says how many."""
    _locked_standing(enrolment, purpose)
    ended = Consent.objects.filter(
        pupil=enrolment.pupil_id,
        studio=enrolment.studio_id,
        purpose=purpose,
        withdrawn_at__isnull=True,
        superseded_at__isnull=True,
    ).update(withdrawn_at=timezone.now(), withdrawn_by=person)
    if ended:
        _record(audit.Act.CONSENT_WITHDRAWN, enrolment, person, purpose)
    return ended


def _record(act: str, enrolment: Enrolment, by: Person, purpose: str) -> None:
    words = Consent.Purpose(purpose).label
    audit.record(act, by=by, studio=enrolment.studio, about=enrolment.pupil, detail=words)


def let_rest(enrolment: Enrolment) -> bool:
    """Note what nobody is left to withdraw; whether there was any such consent."""
    rested = _open_rows(enrolment).exclude(pk__in=_held())
    return bool(rested.update(rests_since=timezone.now()))


def _open_rows(enrolment: Enrolment) -> QuerySet[Consent]:
    """Rows of a place that are neither withdrawn, resting nor superseded."""
    return Consent.objects.filter(
        pupil=enrolment.pupil_id,
        studio=enrolment.studio_id,
        withdrawn_at__isnull=True,
        rests_since__isnull=True,
        superseded_at__isnull=True,
    )


def _standing(purpose: str, since: int) -> QuerySet[Consent]:
    """Consent that holds, to words of this version or a later one."""
    return _held().filter(purpose=purpose, version__gte=since)


@Prepared
def _history(purpose: str, since: int) -> QuerySet[Consent]:
    """All that was ever given, each with whether it ``holds``."""
    pupil, studio = Given("pupil", BigIntegerField()), Given("studio", BigIntegerField())
    return (
        Consent.objects.filter(pupil=pupil, studio=studio, purpose=purpose)
        .select_related("given_by", "withdrawn_by", "terms")
        .annotate(holds=Exists(_standing(purpose, since).filter(pk=OuterRef("pk"))))
    )


def _held() -> QuerySet[Consent]:
    """Consent that somebody can withdraw: a guardian, a grown-up, or who gave it herself."""
    answered = guardians.deciding().filter(pupil=OuterRef("pupil"), studio=OuterRef("studio"))
    grown_up = Q(pupil__birth_year__lt=_grown_up_if_born_before())
    own = Q(pupil__birth_year__isnull=True, given_by=F("pupil"))
    return Consent.objects.filter(
        grown_up | own | Exists(answered),
        withdrawn_at__isnull=True,
        rests_since__isnull=True,
        superseded_at__isnull=True,
    )


def _grown_up_if_born_before() -> int:
    return timezone.localdate().year - GROWN_UP_AGE


def _locked_standing(enrolment: Enrolment, purpose: str) -> Standing:
    """The standing, while no other decision about this pupil's place can be made."""
    Enrolment.objects.select_for_update().get(pk=enrolment.pk)
    return standing(enrolment, purpose)
