"""A fixed cast: one studio's people, and another studio's, for everyone's tests.

Every test that asks who may do what uses the same people, so that a permission and its refusal
differ in nothing but the person.
"""

from dataclasses import dataclass, fields
from datetime import time

import pytest
from django.test import Client
from django.utils import timezone

from studio.accounts.models import (
    Consent,
    Enrolment,
    GuardianLink,
    Instrument,
    Membership,
    Person,
    Studio,
)
from studio.clips.models import Clip, Stage
from studio.drills import services as drills
from studio.drills.models import Assignment, Drill, PlannedLesson
from studio.drills.timetable import services as timetable
from studio.review import comments
from studio.review.comments import CommentText
from studio.review.models import Return, Review
from studio.review.returning import services
from studio.review.waiting import submissions

PASSWORD = "double stops held long"


@dataclass(frozen=True)
class Cast:
    """Who is there. All but the last three belong to ``studio``."""

    studio: Studio
    teacher: Person
    colleague: Person
    pupil: Person
    other_pupil: Person
    guardian: Person
    unlinked_guardian: Person
    former_pupil: Person
    disabled: Person
    operator: Person
    enrolment: Enrolment
    other_enrolment: Enrolment
    other_studio: Studio
    foreign_teacher: Person
    foreign_pupil: Person
    foreign_enrolment: Enrolment

    def people(self) -> dict[str, Person]:
        """Everyone by the name of their part."""
        everyone = {field.name: getattr(self, field.name) for field in fields(self)}
        return {name: who for name, who in everyone.items() if isinstance(who, Person)}


@pytest.fixture
def cast(db) -> Cast:
    return make_cast()


def make_cast() -> Cast:
    # Without a delay, so that what a test returns can be seen at once.
    studio = Studio.objects.create(name="Larkhill strings", return_delay_min=0)
    other = Studio.objects.create(name="Another studio", return_delay_min=0)
    teacher = person("Ottilie Brandt", studio, "teacher")
    pupil = person("Mira Sandholm", studio, "pupil")
    second = person("Jonas Weidegger", studio, "pupil")
    former = person("Former Pupil", studio, "pupil")
    disabled = person("Disabled Teacher", studio, "teacher")
    guardian = person("Edda Sandholm", studio, "guardian")
    foreign_teacher = person("Foreign Teacher", other, "teacher")
    foreign_pupil = person("Foreign Pupil", other, "pupil")
    yesterday = timezone.localdate() - timezone.timedelta(days=1)
    month_ago = timezone.localdate() - timezone.timedelta(days=30)
    for owner in (teacher, foreign_teacher):
        owner.memberships.update(is_owner=True)
    Person.objects.filter(pk=disabled.pk).update(is_active=False)
    guard(guardian, pupil, studio)
    enrol(former, studio, teacher, started_on=month_ago, ended_on=yesterday)
    unlinked = person("Unlinked Guardian", studio, "guardian")
    guard(unlinked, pupil, studio, started_on=month_ago, ended_on=yesterday)
    return Cast(
        studio=studio,
        teacher=teacher,
        colleague=person("Colleague", studio, "teacher"),
        pupil=pupil,
        other_pupil=second,
        guardian=guardian,
        unlinked_guardian=unlinked,
        former_pupil=former,
        disabled=disabled,
        operator=Person.objects.create_user(
            "operator@machine.example", PASSWORD, name="The Operator", is_operator=True
        ),
        enrolment=enrol(pupil, studio, teacher, agreed_by=guardian),
        other_enrolment=enrol(second, studio, teacher),
        other_studio=other,
        foreign_teacher=foreign_teacher,
        foreign_pupil=foreign_pupil,
        foreign_enrolment=enrol(foreign_pupil, other, foreign_teacher),
    )


def person(name: str, studio: Studio, role: str, logs_in: bool = True) -> Person:
    """Somebody with an address and a password; a child who does not log in has neither."""
    email = f"{name.lower().replace(' ', '.')}@{role}.example" if logs_in else None
    made = Person.objects.create_user(email, PASSWORD if logs_in else None, name=name)
    Membership.objects.create(person=made, studio=studio, role=role)
    return made


def enrol(
    pupil: Person, studio: Studio, teacher: Person, agreed_by: Person | None = None, **dates
) -> Enrolment:
    """A pupil's place, with an instrument, and with consent to recordings."""
    Instrument.objects.create(pupil=pupil, studio=studio)
    agree(pupil, studio, agreed_by)
    return Enrolment.objects.create(pupil=pupil, studio=studio, teacher=teacher, **dates)


def guard(guardian: Person, pupil: Person, studio: Studio, **dates) -> GuardianLink:
    """Let somebody answer for a pupil in one studio."""
    return GuardianLink.objects.create(guardian=guardian, pupil=pupil, studio=studio, **dates)


def agree(pupil: Person, studio: Studio, given_by: Person | None = None) -> Consent:
    """Consent to recordings, by the pupil unless somebody else is named."""
    return Consent.objects.create(
        pupil=pupil,
        studio=studio,
        purpose=Consent.Purpose.RECORDINGS,
        given_by=given_by or pupil,
    )


def as_person(who: Person | None) -> Client:
    """A browser in which ``who`` is logged in; nobody for ``None``."""
    client = Client()
    if who is not None:
        client.force_login(who, backend="django.contrib.auth.backends.ModelBackend")
    return client


def make_clip(enrolment: Enrolment, title: str = "A clip", **fields) -> Clip:
    """A received clip that was listened to and is playable, with its review; no files."""
    fields = {"intake": Clip.Intake.RECEIVED, "duration_s": 64.0, "has_video": True} | fields
    clip = Clip.objects.create(
        enrolment=enrolment, uploaded_by=enrolment.pupil, title=title, **fields
    )
    if clip.intake == Clip.Intake.RECEIVED:
        for kind, state in Stage.DONE.items():
            Stage.objects.create(clip=clip, kind=kind, state=state)
        submissions.begin_review(clip)
    return clip


def make_drill(teacher: Person, studio: Studio, title: str = "Octaves, slowly", **says) -> Drill:
    says = {"words": "Hold each one.", "interval": "P8"} | says
    return drills.add_drill(studio, teacher, title=title, **says)


def set_for(enrolment: Enrolment, drill: Drill, *, published: bool = True, **more) -> Assignment:
    teacher = enrolment.teacher
    return drills.set_drill(drill.newest(), enrolment, teacher, published=published, **more)


def plan_lessons(enrolment: Enrolment, weeks: int = 1, **when) -> list[PlannedLesson]:
    """Lessons a week apart at 16:00 in Berlin, from tomorrow on unless ``day`` says."""
    tomorrow = timezone.localdate() + timezone.timedelta(days=1)
    said = {"day": tomorrow, "at": time(16), "zone": "Europe/Berlin", "minutes": 45} | when
    until = said["day"] + timezone.timedelta(weeks=weeks - 1) if weeks > 1 else None
    return timetable.plan(enrolment, enrolment.teacher, timetable.When(**said), until)


def make_return(clip: Clip, comment: str = "Listen to the upper note.") -> Return:
    """Return a clip with one comment at four seconds and a summary."""
    teacher, review = clip.enrolment.teacher, Review.objects.get(clip=clip)
    said = CommentText(kind="intonation", text=comment, start_s=4.0)
    comments.add_comment(review, teacher, said)
    return services.return_clip(review, teacher, "Much steadier than last week.")
