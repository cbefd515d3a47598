"""Putting a clip's id on the queue. A failure here is no loss: the sweep sends it again."""

from uuid import UUID

from studio.clips.models import Stage
from studio.jobs.queue import send

TASKS = {
    Stage.Kind.EXAMINING: ("studio.clips.tasks.examine_clip", "listening"),
    Stage.Kind.LISTENING: ("studio.clips.tasks.listen_to_clip", "listening"),
    Stage.Kind.PLAYBACK: ("studio.clips.tasks.prepare_playback", "pictures"),
    Stage.Kind.SMALL: ("studio.clips.tasks.prepare_small", "pictures"),
}


def dispatch(clip_id: UUID, kind: str) -> bool:
    """Send one stage's work to its queue; says whether the broker took it."""
    task, queue = TASKS[Stage.Kind(kind)]
    rows = Stage.objects.filter(clip_id=clip_id, kind=kind)
    return send(task, queue, {"clip_id": str(clip_id)}, rows)
