"""Receiving and erasing clips: what changes several rows and files."""

import logging
import shutil
from collections.abc import Iterable
from uuid import UUID, uuid4

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from studio import media
from studio.accounts.models import Enrolment, Person

from . import erasures, files, signals
from .dispatch import dispatch
from .models import Clip, Original, Stage

log = logging.getLogger(__name__)


def limits() -> media.Limits:
    """The bounds of the settings, as media wants them."""
    return media.Limits(
        max_bytes=settings.MAX_UPLOAD_BYTES, max_duration_s=float(settings.MAX_CLIP_S)
    )


def receive(
    enrolment: Enrolment,
    person: Person,
    chunks: Iterable[bytes],
    filename: str,
    *,
    title: str = "",
    note: str = "",
    upload_key: str = "",
) -> Clip:
    """Take in one recording: stream it to disk, look at its content, then write the rows.

    The file is whole, hashed and synced before any row names it. A recording that cannot be
    used becomes a refused clip, which says why, and its file is not kept. The same
    ``upload_key`` twice gives the clip of the first time.

    Raises
    ------
    files.TooLarge, OSError
        When more bytes come than may, or the disk refuses. Nothing is kept.
    media.Failed
        When the recording could not be examined, for a reason of ours. Nothing is kept.
    """
    clip = Clip(id=uuid4(), enrolment=enrolment, uploaded_by=person, upload_key=upload_key[:64])
    clip.title, clip.note = title.strip()[:160], note.strip()
    folder = files.clip_folder(clip.id)
    try:
        stored = files.store_stream(chunks, folder, "original", settings.MAX_UPLOAD_BYTES)
        _examine(clip, files.absolute(stored.path))
        return _record(clip, stored, filename)
    except _SentBefore as before:
        _drop_folder(clip.id)
        return before.clip
    except BaseException:
        _drop_folder(clip.id)
        raise


def erase(clip: Clip) -> None:
    """Erase a clip's files and rows' contents. Work under way finds the generation raised."""
    erasures.note(clip.pk)  # first, so that a restore can never miss it
    with transaction.atomic():
        Clip.objects.filter(pk=clip.pk).update(
            erased_at=timezone.now(), generation=F("generation") + 1, title="", note="", info={}
        )
        clip.renditions.all().delete()
        Original.objects.filter(clip=clip).delete()
        transaction.on_commit(lambda: _drop_folder(clip.pk))


class _SentBefore(Exception):
    def __init__(self, clip: Clip):
        self.clip = clip


def _examine(clip: Clip, path) -> None:
    """Fill in what the content says, or that (and why) it is refused."""
    try:
        info = media.probe(path, limits())
    except media.Refused as refused:
        clip.intake = Clip.Intake.REFUSED
        clip.intake_code, clip.intake_params = refused.code, dict(refused.params)
        return
    clip.intake = Clip.Intake.RECEIVED
    clip.info = info.to_dict()
    clip.notes = [(note.code, dict(note.params)) for note in info.notes]
    clip.duration_s, clip.frame_rate = info.duration_s, info.frame_rate
    clip.has_video, clip.has_audio = info.has_video, info.has_audio


def _record(clip: Clip, stored: files.Stored, filename: str) -> Clip:
    try:
        with transaction.atomic():
            clip.save(force_insert=True)
            if clip.intake == Clip.Intake.RECEIVED:
                _record_received(clip, stored, filename)
    except IntegrityError:
        first = Clip.objects.filter(enrolment=clip.enrolment, upload_key=clip.upload_key).first()
        if first is None or not clip.upload_key:
            raise
        raise _SentBefore(first) from None
    if clip.intake == Clip.Intake.REFUSED:
        _drop_folder(clip.id)
    return clip


def _record_received(clip: Clip, stored: files.Stored, filename: str) -> None:
    Original.objects.create(
        clip=clip,
        path=stored.path,
        sha256=stored.sha256,
        size_bytes=stored.size_bytes,
        filename=filename[-255:],
    )
    Stage.objects.create(clip=clip, kind=Stage.Kind.PLAYBACK)
    listening = Stage(clip=clip, kind=Stage.Kind.LISTENING)
    if not clip.has_audio:
        listening.state, listening.failure_code = Stage.State.FAILED, "no_sound"
    listening.save()
    signals.received.send(sender=Clip, clip=clip)
    for stage in clip.stages.filter(state=Stage.State.WAITING):
        transaction.on_commit(lambda kind=stage.kind: dispatch(clip.pk, kind))


def _drop_folder(clip_id: UUID) -> None:
    shutil.rmtree(files.absolute(files.clip_folder(clip_id)), ignore_errors=True)
