"""The first look at a recording: what it is, or why it cannot be used.

It is taken as soon as a recording is here. Where the program that looks has died, or could not be
started, nothing is known of the recording: it is received all the same, and a worker looks again
(the stage *examining*). Only what was looked at and judged is refused.
"""

import logging
from collections.abc import Callable
from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from studio import media
from studio.clips import signals
from studio.clips.models import Clip, Original, Stage
from studio.clips.storage import spool
from studio.clips.storage.stores import store
from studio.jobs import leases

from . import stages
from .stages import dispatch

log = logging.getLogger(__name__)


def limits() -> media.Limits:
    """The bounds of the settings, as media wants them."""
    return media.Limits(
        max_bytes=settings.MAX_UPLOAD_BYTES, max_duration_s=float(settings.MAX_CLIP_S)
    )


def look_at(clip: Clip, path: Path) -> media.Failed | None:
    """Fill in what the content says, or that (and why) it is refused.

    Gives why nothing could be said, where that is so: then the clip is received, and unseen.
    """
    clip.intake = Clip.Intake.RECEIVED
    try:
        info = media.probe(path, limits())
    except media.Refused as refused:
        clip.intake = Clip.Intake.REFUSED
        clip.intake_code, clip.intake_params = refused.code, dict(refused.params)
    except media.Failed as failed:
        log.error("a recording could not be looked at: %s %s", failed.code, failed.detail)
        return failed
    else:
        _note(clip, info)
    return None


def begin(clip: Clip) -> None:
    """Begin the stages of a received clip that was looked at. Inside a transaction."""
    if clip.has_video:  # first, because it is made soonest, and can be watched meanwhile
        Stage.objects.create(clip=clip, kind=Stage.Kind.SMALL)
    Stage.objects.create(clip=clip, kind=Stage.Kind.PLAYBACK)
    listening = Stage(clip=clip, kind=Stage.Kind.LISTENING)
    if not clip.has_audio:
        listening.state, listening.failure_code = Stage.State.FAILED, "no_sound"
    listening.save()


def begin_again(clip: Clip, why: media.Failed | None) -> None:
    """Have a worker look at a clip that is unseen. Inside a transaction.

    ``why`` is how the first look ended, which counts; None where none was tried.
    """
    stage = Stage(clip=clip, kind=Stage.Kind.EXAMINING)
    if why is not None:
        stage.attempt = 1
        stage.failure_code, stage.failure_params = why.code, dict(why.params)
        stage.failure_detail = why.detail[-4000:]
    stage.save()


def send_what_waits(clip: Clip, send: Callable[[UUID, str], object]) -> None:
    """Put a clip's waiting stages on the queue, once the rows are safe."""
    for stage in clip.stages.filter(state=Stage.State.WAITING).order_by("pk"):
        transaction.on_commit(lambda kind=stage.kind: send(clip.pk, kind))


def examine(stage: Stage) -> None:
    """Look at a received clip that is unseen; its other stages begin, or it is refused."""
    original = leases.patiently(lambda: _original(stage))
    with leases.beating(stage), store().local(original.path) as source:
        try:
            info = media.probe(source, limits())
        except media.Refused as refused:
            reason = refused
            stages.publish(stage, lambda clip: _refuse(clip, reason))
        else:
            stages.publish(stage, lambda clip: _take_up(clip, info))


def _note(clip: Clip, info: media.MediaInfo) -> None:
    clip.info = info.to_dict()
    clip.notes = [(note.code, dict(note.params)) for note in info.notes]
    clip.duration_s, clip.frame_rate = info.duration_s, info.frame_rate
    clip.has_video, clip.has_audio = info.has_video, info.has_audio


def _take_up(clip: Clip, info: media.MediaInfo) -> None:
    _note(clip, info)
    clip.save(update_fields=["info", "notes", "duration_s", "frame_rate", "has_video", "has_audio"])
    clip.stages.filter(kind=Stage.Kind.EXAMINING).delete()
    begin(clip)
    send_what_waits(clip, dispatch)


def _refuse(clip: Clip, reason: media.Refused) -> None:
    """As if it had been refused at once: what was said stays to be read, the file goes."""
    clip.intake = Clip.Intake.REFUSED
    clip.intake_code, clip.intake_params = reason.code, dict(reason.params)
    clip.created_at = timezone.now()  # it is shown for some days from now on
    clip.save(update_fields=["intake", "intake_code", "intake_params", "created_at"])
    clip.stages.all().delete()
    for original in Original.objects.filter(clip=clip):
        original.delete()
        transaction.on_commit(lambda path=original.path: spool.remove(path))
    signals.refused.send(sender=Clip, clip=clip)


def _original(stage: Stage) -> Original:
    try:
        return Original.objects.get(clip_id=stage.clip_id)
    except Original.DoesNotExist:
        raise leases.LeaseLost(f"clip {stage.clip_id} was erased") from None
