"""The demo's people: all invented. Two studios, so that it shows that nothing crosses over."""

from dataclasses import dataclass, field
from datetime import timedelta

from django.utils import timezone

from studio.accounts.models import (
    Consent,
    Enrolment,
    GuardianLink,
    Instrument,
    Level,
    Membership,
    Person,
    Studio,
)

PASSWORD = "four-open-strings"
TERM = timedelta(weeks=16)  # how long ago everybody began


@dataclass(frozen=True, slots=True)
class Pupil:
    """An invented pupil of this age. ``string_length_mm`` goes with the instrument's size.

    A child who does not log in is sent for by her guardian.
    """

    name: str
    login: str
    age: int
    level: str
    kind: str
    string_length_mm: float
    guardian: bool = False
    logs_in: bool = True


@dataclass(frozen=True, slots=True)
class Cast:
    """Who was made: the teacher, the pupils' places by short name, and who sends for whom."""

    studio: Studio
    teacher: Person
    places: dict[str, Enrolment] = field(default_factory=dict)
    senders: dict[str, Person] = field(default_factory=dict)


PUPILS = (
    Pupil("Ida Fenn", "ida", 9, Level.FIRST_STEPS, "violin", 305.0, guardian=True),
    Pupil("Otto Fenn", "otto", 7, Level.FIRST_STEPS, "violin", 285.0, True, logs_in=False),
    Pupil("Jonas Pell", "jonas", 27, Level.GROWING, "violin", 328.0),
    Pupil("Amara Voss", "amara", 34, Level.GROWING, "viola", 370.0),
    Pupil("Bea Lorimer", "bea", 22, Level.ADVANCED, "violin", 328.0),
)
OTHER_PUPILS = (Pupil("Nell Arkin", "nell", 45, Level.GROWING, "violin", 328.0),)
LOGINS = (
    ("teacher", "Marit Hollin, teacher"),
    ("jonas", "Jonas Pell, pupil"),
    ("ida", "Ida Fenn, pupil, nine years old"),
    ("guardian", "Petra Fenn, guardian of Ida and of Otto, who does not log in"),
    ("other-teacher", "Conrad Yule, teacher of another studio"),
)


def address(login: str) -> str:
    """A log-in name as an address below a domain that cannot exist (RFC 2606)."""
    return f"{login}@studio.example"


def make_studio() -> Cast:
    """The studio the demo is about: one teacher, five pupils, a guardian of two of them."""
    cast = _make(Studio.objects.create(name="Larkwater Strings"), "Marit Hollin", "teacher", PUPILS)
    guardian = _member(cast.studio, "Petra Fenn", "guardian", Membership.Role.GUARDIAN)
    for pupil in PUPILS:
        if pupil.guardian:
            _guard(cast.places[pupil.login], guardian)
        if not pupil.logs_in:
            cast.senders[pupil.login] = guardian
    return cast


def make_other_studio() -> Cast:
    """A second studio, which must never see anything of the first."""
    studio = Studio.objects.create(name="Millrace Strings")
    return _make(studio, "Conrad Yule", "other-teacher", OTHER_PUPILS)


def _make(studio: Studio, teacher_name: str, login: str, pupils: tuple[Pupil, ...]) -> Cast:
    teacher = _member(studio, teacher_name, login, Membership.Role.TEACHER)
    cast = Cast(studio, teacher)
    for pupil in pupils:
        cast.places[pupil.login] = _enrol(cast, pupil)
    return cast


def _enrol(cast: Cast, pupil: Pupil) -> Enrolment:
    login = pupil.login if pupil.logs_in else ""
    person = _member(cast.studio, pupil.name, login, Membership.Role.PUPIL)
    person.birth_year = timezone.localdate().year - pupil.age
    person.save(update_fields=["birth_year"])
    began = timezone.localdate() - TERM
    Instrument.objects.create(
        pupil=person,
        studio=cast.studio,
        kind=pupil.kind,
        string_length_mm=pupil.string_length_mm,
        started_on=began,
    )
    if not pupil.guardian:
        _consent(person, cast.studio, person)
    return Enrolment.objects.create(
        pupil=person,
        studio=cast.studio,
        teacher=cast.teacher,
        level=pupil.level,
        started_on=began,
    )


def _guard(place: Enrolment, guardian: Person) -> None:
    GuardianLink.objects.create(
        guardian=guardian, pupil=place.pupil, studio=place.studio, started_on=place.started_on
    )
    _consent(place.pupil, place.studio, guardian)


def _consent(pupil: Person, studio: Studio, given_by: Person) -> None:
    Consent.objects.create(
        pupil=pupil,
        studio=studio,
        purpose=Consent.Purpose.RECORDINGS,
        given_by=given_by,
        given_at=timezone.now() - TERM,
    )


def _member(studio: Studio, name: str, login: str, role: str) -> Person:
    known = (address(login), PASSWORD) if login else (None, None)
    person = Person.objects.create_user(*known, name=name)
    Membership.objects.create(
        person=person,
        studio=studio,
        role=role,
        started_on=timezone.localdate() - TERM,
        is_owner=role == Membership.Role.TEACHER,  # as everywhere, the studio's first
    )
    return person
