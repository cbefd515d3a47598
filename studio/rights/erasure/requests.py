"""Asking for an erasure: for people it is done at once, in one transaction.

From then on nobody reaches the clips, the place has ended, or the account opens nothing; the list
of the erased has it, so that no backup brings it back. The rest is a worker's (:mod:`.work`).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from studio.accounts import audit, consent, guardians, lesson_endings, notices, sessions
from studio.accounts.models import (
    Enrolment,
    GuardianLink,
    Membership,
    Person,
    Studio,
    current,
)
from studio.clips.models import Clip, Upload
from studio.clips.services import hide
from studio.clips.storage import erasure_log
from studio.drills.models import Assignment, PracticeEntry
from studio.translating import gettext_lazy

from . import dispatch, traces
from .models import ErasureJob

TEACHERS_TOLD = gettext_lazy(
    "All that was kept here about one of your pupils was erased on {when}, {why}. It cannot be "
    "brought back. What you wrote about others, and your drills, stay."
)
GUARDIANS_TOLD = gettext_lazy(
    "All that was kept at {studio} about a child you answered for there was erased on {when}, "
    "{why}. Nobody can see it, and it cannot be brought back."
)


@dataclass(frozen=True, slots=True)
class Why:
    """Why all of it goes, in the words of each side."""

    teachers: str
    guardians: str


ASKED_FOR = Why(
    gettext_lazy("as the pupil or a guardian asked"),
    gettext_lazy("as somebody asked who decides about it"),
)
TIME_OVER = Why(
    gettext_lazy("as its time was over since the lessons ended"),
    gettext_lazy("as its time was over since the lessons ended"),
)


class CannotErase(Exception):
    """Why not yet, in a sentence that says what to do first."""


@transaction.atomic
def erase_clip(clip: Clip, by: Person | None) -> ErasureJob:
    """Erase one clip and all that was made, measured and said of it."""
    place = clip.enrolment
    audit.record(
        audit.Act.ERASED,
        by=by,
        studio=place.studio,
        about=place.pupil,
        detail=_("a clip and all about it"),
    )
    job = ErasureJob(kind=ErasureJob.Kind.CLIP)
    return _begin(job, by, Clip.objects.filter(pk=clip.pk), Upload.objects.filter(clip=clip))


@transaction.atomic
def erase_lessons(
    pupil: Person, studio: Studio, by: Person | None, why: Why = ASKED_FOR
) -> ErasureJob:
    """Erase all that a studio has of a pupil; of a child with no other lessons the account too."""
    places = Enrolment.objects.filter(pupil=pupil, studio=studio)
    alone = account_goes_with(pupil, studio)
    audit.record(audit.Act.LESSONS_ERASED, by=by, studio=studio)
    erased = [place.erasure_id for place in places]
    _tell_guardians(pupil, studio, by, why)
    _end_places(places)
    traces.forget_texts(traces.words_of(pupil), None if alone else studio.pk)
    _tell_teachers(studio, why)
    job = ErasureJob(kind=ErasureJob.Kind.LESSONS, with_account=alone)
    job.whose, job.studio_number = pupil.erasure_id, studio.pk
    if alone:
        _close(pupil)
        erased.append(pupil.erasure_id)
    erasure_log.note_people(erased)
    clips, uploads = Clip.objects, Upload.objects
    return _begin(job, by, clips.filter(enrolment__in=places), uploads.filter(enrolment__in=places))


@transaction.atomic
def erase_over(
    clips: QuerySet[Clip],
    recordings: QuerySet[Clip],
    drills: QuerySet[Assignment],
    practice: QuerySet[PracticeEntry],
) -> ErasureJob:
    """Erase what had been kept for its time; of ``recordings`` what was measured and said stays.

    Entries of practice go at once: they have no files. The worker overwrites what they leave.
    """
    job = ErasureJob(kind=ErasureJob.Kind.OVER)
    job.recordings = [one.hex for one in recordings.values_list("pk", flat=True)]
    set_drills = dict(drills.values_list("pk", "erasure_id"))
    job.drills = list(set_drills)
    practice.delete()
    going = Clip.objects.filter(pk__in=list(clips.values_list("pk", flat=True)))
    recordings.filter(pk__in=ids(job.recordings)).update(recording_goes_on=None)
    erasure_log.note_recordings(ids(job.recordings))
    erasure_log.note_drills(set_drills.values())
    return _begin(job, None, going, Upload.objects.filter(clip__in=going))


@transaction.atomic
def erase_account(person: Person, by: Person | None) -> ErasureJob:
    """Erase all that is kept about a person, wherever.

    Raises
    ------
    CannotErase
        While others depend on the account: a teacher's, an operator's.
    """
    if why := why_not(person):
        raise CannotErase(why)
    places = Enrolment.objects.filter(pupil=person)
    studios = Studio.objects.filter(pk__in=places.values("studio"))
    members = Studio.objects.filter(memberships__person=person).distinct()
    for studio in members:
        audit.record(audit.Act.ACCOUNT_ERASED, by=by, studio=studio)
    for studio in studios:
        _tell_guardians(person, studio, by)
        _tell_teachers(studio)
    erased = [place.erasure_id for place in places] + [person.erasure_id]
    address = person.email or "" if by in (None, person) else ""
    traces.forget_texts(traces.words_of(person))
    _end_places(places)
    end_answering(person)
    _close(person)
    erasure_log.note_people(erased)
    job = ErasureJob(kind=ErasureJob.Kind.ACCOUNT, whose=person.erasure_id, letter_to=address)
    clips = Clip.objects.filter(enrolment__in=places)
    mine = Q(enrolment__in=places) | Q(person=person)
    return _begin(job, by, clips, Upload.objects.filter(mine))


def account_goes_with(pupil: Person, studio: Studio) -> bool:
    """Whether nothing is left of a child's account once these lessons are erased."""
    if consent.is_grown_up(pupil) or pupil.is_operator:
        return False
    elsewhere = Enrolment.objects.filter(pupil=pupil).exclude(studio=studio)
    roles = Membership.objects.filter(person=pupil).exclude(role=Membership.Role.PUPIL)
    newest = Enrolment.objects.filter(pupil=pupil, studio=studio).order_by("-started_on").first()
    decides_alone = newest is not None and consent.deciders(newest) == [pupil]
    return not (elsewhere.exists() or roles.exists() or decides_alone)


def why_not(person: Person, *, of_herself: bool = True) -> str:
    """Why an account cannot be erased now, said to its owner or of her; empty where it can."""
    teaches = Membership.objects.filter(
        current(), person=person, role=Membership.Role.TEACHER
    ).select_related("studio")
    if first := teaches.first():
        who, whose = (_("You teach"), "your") if of_herself else (f"{person} teaches", "the")
        return _(
            "%(who)s at %(studio)s, and pupils depend on it. Let %(whose)s place there "
            "be ended first; then %(whose)s account can be erased."
        ) % {"who": who, "studio": first.studio, "whose": whose}
    if person.is_operator:
        return _(
            "This account looks after the service. Let another one do so first "
            "(python -m studio operator); then it can be erased."
        )
    return ""


def others_decide(person: Person) -> list[Person]:
    """Who decides for a child in place of herself; empty where nobody does, or need."""
    places = Enrolment.objects.filter(pupil=person).select_related("pupil", "studio")
    who = [one for place in places for one in consent.deciders(place) if one != person]
    return list(dict.fromkeys(who))


def may_erase_account(person: Person) -> bool:
    """A grown-up, or whoever decides for herself wherever she has lessons."""
    places = Enrolment.objects.filter(pupil=person).select_related("pupil", "studio")
    return all(person in consent.deciders(place) for place in places)


def _begin(
    job: ErasureJob, by: Person | None, clips: QuerySet[Clip], uploads: QuerySet[Upload]
) -> ErasureJob:
    """The row, the clips out of reach, and their ids in the list of the erased, in this order.

    ``by`` is nobody for a command; who asks for another is told by a notice of her own.
    """
    job.clips = [one.hex for one in clips.values_list("pk", flat=True)]
    job.uploads = [one.hex for one in uploads.values_list("pk", flat=True)]
    if by is not None and by.is_active:
        job.asked_by = by
        job.letter_to = job.letter_to or by.email or ""
    if not settings.MAIL:
        job.letter_to = ""
    job.save(force_insert=True)
    hide(clips)
    erasure_log.note_clips(ids(job.clips))
    transaction.on_commit(lambda: dispatch.dispatch(job.pk))
    return job


def ids(kept: Iterable[str]) -> list[UUID]:
    return [UUID(hex=one) for one in kept]


def _end_places(places: QuerySet[Enrolment]) -> None:
    places.filter(current()).update(ended_on=timezone.localdate())
    lesson_endings.seal(places)


def end_answering(person: Person) -> None:
    """Whoever this person decided for is told, where nobody is left who can; without a name."""
    links = GuardianLink.objects.filter(current(), guardian=person)
    for link in links.select_related("pupil", "studio"):
        GuardianLink.objects.filter(pk=link.pk).update(ended_on=timezone.localdate())
        places = Enrolment.objects.filter(current(), pupil=link.pupil, studio=link.studio)
        rested = [consent.let_rest(place) for place in places.select_for_update()]
        if any(rested):
            text = _(
                "A guardian’s account was erased, and nobody is left who decides about "
                "consent to recordings at %(studio)s. It rests: no clip can be watched or "
                "sent there until a guardian is linked and agrees. Nothing else was "
                "deleted."
            ) % {"studio": link.studio}
            notices.tell_each([link.pupil], text)


def _close(person: Person) -> None:
    """From now on nobody logs in with it, and whoever was logged in is not."""
    Person.objects.filter(pk=person.pk).update(is_active=False)
    person.is_active = False
    sessions.end_all(person)


def _tell_teachers(studio: Studio, why: Why = ASKED_FOR) -> None:
    held = Membership.objects.filter(current(), studio=studio, role=Membership.Role.TEACHER)
    people = [one.person for one in held.select_related("person")]
    when = notices.when(timezone.now())
    notices.tell_each(people, TEACHERS_TOLD.format(when=when, why=why.teachers))


def _tell_guardians(pupil: Person, studio: Studio, by: Person | None, why: Why = ASKED_FOR) -> None:
    """The others who answer for her there: with the link they lose the page that would say so."""
    links = guardians.seeing().filter(pupil=pupil, studio=studio).exclude(guardian=by)
    people = [link.guardian for link in links.select_related("guardian")]
    when = notices.when(timezone.now())
    notices.tell_each(people, GUARDIANS_TOLD.format(studio=studio, when=when, why=why.guardians))
