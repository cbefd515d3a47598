"""What a worker does for an erasure. Each step may be done twice: a killed one is begun anew."""

import logging
from contextlib import suppress
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts import letters
from studio.accounts.models import Enrolment, Notice, Person, Studio
from studio.clips import recordings
from studio.clips.models import Clip, Upload, file_models
from studio.clips.services import hide, remove_folder
from studio.clips.storage import erasure_log
from studio.clips.uploads import partial
from studio.jobs import leases

from . import free_pages, rows, times, traces
from .models import ErasureJob
from .requests import ids

log = logging.getLogger(__name__)

LAST_PART = 0.8  # of the progress, once all clips are gone


def erase(job: ErasureJob) -> None:
    """Take everything off the disk, then tell who asked.

    Raises
    ------
    LeaseLost
        When another worker has the row now.
    GivesWay
        When all is gone but what the database left behind, and somebody reads or writes there for
        long, such as a backup: it is tried again until that has ended.
    """
    with leases.beating(job):
        needles = _needles(job)
        _add_latecomers(job)
        for number, clip in enumerate(ids(job.clips), start=1):
            erase_clip(clip)
            leases.beat(job, LAST_PART * number / len(job.clips))
        for clip in ids(job.recordings):
            recordings.let_go(clip)
        for upload in ids(job.uploads):
            _erase_upload(upload)
        traces.forget_clip_ids(ids(job.clips))
        with transaction.atomic():
            rows.erase_drills(job.drills)
            _erase_rows(job)
        free_pages.forget_earlier()
        try:
            free_pages.overwrite(tables(), needles)
        except free_pages.Busy as busy:
            raise leases.GivesWay(str(busy)) from None
        with transaction.atomic():
            leases.mark_done(job)
            _end(job)
    # What was just taken out of the job's own row is overwritten too.
    with suppress(free_pages.Busy):
        free_pages.overwrite([ErasureJob._meta.db_table], [])


def erase_clip(clip: UUID) -> None:
    """Delete a clip's rows, then its files; what is gone already is no error."""
    with transaction.atomic():
        rows.erase_clip(clip)
    remove_folder(clip)


def tables() -> list[str]:
    """The tables that have rows of people, by their names in the database."""
    return [entry.model._meta.db_table for entry in rows.in_order()]


def _add_latecomers(job: ErasureJob) -> None:
    """A clip or an upload whose request was under way when the erasure was asked for."""
    if job.whose is None or job.kind == ErasureJob.Kind.CLIP:
        return
    places = Enrolment.objects.filter(pupil__erasure_id=job.whose)
    if job.kind == ErasureJob.Kind.LESSONS:
        places = places.filter(studio=job.studio_number)
    late = Clip.objects.filter(enrolment__in=places).exclude(pk__in=ids(job.clips))
    late_uploads = Upload.objects.filter(enrolment__in=places).exclude(pk__in=ids(job.uploads))
    job.clips += [one.hex for one in late.values_list("pk", flat=True)]
    job.uploads += [one.hex for one in late_uploads.values_list("pk", flat=True)]
    ErasureJob.objects.filter(pk=job.pk).update(clips=job.clips, uploads=job.uploads)
    hide(late)
    erasure_log.note_clips(ids(job.clips))


def _needles(job: ErasureJob) -> list[str] | None:
    """Words by which a clip would be found, were any of it left; None where there are too many.

    None too once a worker was at it: what is gone already can no longer be asked for.
    """
    if job.kind != ErasureJob.Kind.CLIP or job.attempt > 1 or job.worker_deaths:
        return None
    found = []
    for clip in Clip.objects.filter(pk__in=ids(job.clips)):
        found += [clip.pk.hex, str(clip.pk), clip.title, clip.note]
        for model in file_models():
            found += model.objects.filter(clip=clip).values_list("sha256", flat=True)
    return [word for word in dict.fromkeys(found) if word] or None


def _erase_upload(upload: UUID) -> None:
    partial.remove(upload)
    Upload.objects.filter(pk=upload).delete()
    partial.remove(upload)  # a piece that was on its way may have made it anew


def _erase_rows(job: ErasureJob) -> None:
    person = _person(job)
    if person is None or job.kind == ErasureJob.Kind.CLIP:
        return
    words = traces.words_of(person)
    if job.kind == ErasureJob.Kind.LESSONS:
        for studio in Studio.objects.filter(pk=job.studio_number):
            rows.erase_lessons(person, studio)
    alone = job.kind == ErasureJob.Kind.ACCOUNT or job.with_account
    if alone:
        traces.forget_author(person)
        traces.forget_kept_words(person)
        rows.erase_account(person)
    traces.forget_texts(words, None if alone else job.studio_number)


def _person(job: ErasureJob) -> Person | None:
    return Person.objects.filter(erasure_id=job.whose).first() if job.whose else None


def _end(job: ErasureJob) -> None:
    """The row keeps that something was erased and when; who asked is told."""
    ErasureJob.objects.filter(pk=job.pk).update(
        ended_at=timezone.now(),
        whose=None,
        studio_number=None,
        clips=[],
        uploads=[],
        recordings=[],
        drills=[],
        letter_to="",
    )
    asked = figures.date_time(timezone.localtime(job.asked_at))
    backups = times.in_backups(job.kind)
    if job.letter_to and settings.MAIL:
        letters.post_erased(job.letter_to, asked, backups)
    who = Person.objects.filter(erasures_asked=job.pk, is_active=True).first()
    if who is not None:
        text = _("What you asked to be erased on %(asked)s is off the disk. %(backups)s") % {
            "asked": asked,
            "backups": backups,
        }
        Notice.objects.create(to=who, text=text)
