"""After a backup was put back: what was erased since is erased again, as the list of it says."""

from django.db import transaction

from studio.accounts.models import Enrolment, Person, Studio
from studio.clips.models import Clip
from studio.clips.storage import erasure_log
from studio.drills.models import Assignment

from . import free_pages, rows, traces, work
from .requests import end_answering


def erase_again() -> None:
    """Erase the clips, drills, lessons and accounts that it names. Nothing runs meanwhile."""
    clips = list(Clip.objects.filter(pk__in=erasure_log.noted()).values_list("pk", flat=True))
    noted = erasure_log.noted_people()
    places = Enrolment.objects.filter(erasure_id__in=noted)
    lessons = set(places.values_list("pupil", "studio"))
    accounts = list(Person.objects.filter(erasure_id__in=noted))
    clips += Clip.objects.filter(enrolment__in=places).values_list("pk", flat=True)
    for clip in dict.fromkeys(clips):
        work.erase_clip(clip)
    traces.forget_clip_ids(erasure_log.noted())
    drills = Assignment.objects.filter(erasure_id__in=erasure_log.noted_drills())
    with transaction.atomic():
        rows.erase_drills(numbers := list(drills.values_list("pk", flat=True)))
    for pupil, studio in lessons:
        _erase_lessons(Person.objects.get(pk=pupil), Studio.objects.get(pk=studio))
    for person in accounts:
        _erase_account(person)
    if clips or numbers or lessons or accounts or erasure_log.noted_recordings():
        free_pages.overwrite(work.tables(), None, all_sizes=True)


def _erase_lessons(pupil: Person, studio: Studio) -> None:
    rows.erase_lessons(pupil, studio)
    traces.forget_texts(traces.words_of(pupil), studio.pk)


def _erase_account(person: Person) -> None:
    words = traces.words_of(person)
    end_answering(person)
    traces.forget_author(person)
    traces.forget_kept_words(person)
    rows.erase_account(person)
    traces.forget_texts(words)
