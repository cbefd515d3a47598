"""Letting the recording of a clip go: what was measured, marked and said of it stays to be read.

Everything that could be seen or heard goes: the original, the copies made of it, its picture and
outline, and what a teacher recorded or drew in reply (a drawing lies on a picture of the clip).
"""

from uuid import UUID

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from . import signals
from .models import Clip, Listening, Stage, file_models
from .services import remove_folder


def let_go(clip_id: UUID) -> bool:
    """Delete the rows that name its files, then the files; twice does no harm.

    Whether there was such a clip. Its id stands in the list of what went already
    (:func:`.storage.erasure_log.note_recordings`). Work under way finds the generation raised.
    """
    with transaction.atomic():
        clips = Clip.objects.filter(pk=clip_id, erased_at=None)
        if not clips.filter(recording_gone_at=None).update(
            recording_gone_at=timezone.now(),
            recording_goes_on=None,
            generation=F("generation") + 1,
        ):
            return False
        signals.recording_goes.send(sender=Clip, clip=clip_id)
        for model in file_models():
            model.objects.filter(clip=clip_id).delete()
        # Its hash would still tell whether somebody has that recording.
        Listening.objects.filter(clip=clip_id).update(input_sha256="")
        heard = {"kind": Stage.Kind.LISTENING, "state": Stage.State.HEARD}
        Stage.objects.filter(clip=clip_id).exclude(**heard).delete()
    remove_folder(clip_id)
    return True
