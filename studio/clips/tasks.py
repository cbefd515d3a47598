"""Celery tasks: thin. Claim the row, call the work, record the outcome."""

import logging
import traceback
from collections.abc import Callable

from celery import shared_task

from studio import media

from . import benches, stages, work
from .dispatch import MESSAGE_VERSION, dispatch
from .models import Stage
from .upkeep import sweeping
from .uploads import services as uploads

log = logging.getLogger(__name__)

POINTLESS_TO_REPEAT = {"output_too_large"}


@shared_task
def listen_to_clip(clip_id: str, version: int = MESSAGE_VERSION) -> None:
    _do(clip_id, version, Stage.Kind.LISTENING, work.listen_to)


@shared_task
def prepare_playback(clip_id: str, version: int = MESSAGE_VERSION) -> None:
    _do(clip_id, version, Stage.Kind.PLAYBACK, work.prepare_playback)


@shared_task
def sweep() -> None:
    """Send again what was lost: a flushed queue, a killed worker, a broker that was down."""
    if made := uploads.finish_left():
        log.warning("%d uploads became clips: their web process ended before it made them", made)
    failed = stages.fail_exhausted()
    if failed:
        log.error("%d stages failed: their worker died at the last attempt", failed)
    for stage in stages.lost():
        log.warning("sending %s of %s again (was %s)", stage.kind, stage.clip_id, stage.state)
        dispatch(stage.clip_id, stage.kind)
    for path in benches.clear_ended():
        log.warning("removed %s: its process ended before it was finished", path)


@shared_task
def remove_left_overs() -> None:
    """Remove files that no row names, and uploads that nobody went on with, after a day."""
    if abandoned := uploads.forget_expired():
        log.info("%d unfinished uploads have expired", abandoned)
    for path in sweeping.sweep_orphans():
        log.warning("removed %s: no row names it", path)


def _do(clip_id: str, version: int, kind: str, action: Callable[[Stage], None]) -> None:
    if version != MESSAGE_VERSION:
        log.error("a message of version %r for %s is left alone", version, clip_id)
        return
    stage = stages.claim(clip_id, kind)
    if stage is None:
        log.info("%s of %s: nothing to do", kind, clip_id)
        return
    try:
        action(stage)
        log.info("%s of %s: done", kind, clip_id)
    except stages.LeaseLost as lost:
        log.warning("%s of %s: dropped (%s)", kind, clip_id, lost)
    except media.Refused as refused:
        stages.give_up(stage, refused.code, refused.params, refused.detail, retry=False)
    except media.Failed as failed:
        again = failed.code not in POINTLESS_TO_REPEAT
        stages.give_up(stage, failed.code, failed.params, failed.detail, retry=again)
        log.warning("%s of %s: %s %s", kind, clip_id, failed.code, failed.detail)
    except Exception:
        stages.give_up(stage, "unexpected", detail=traceback.format_exc())
        log.exception("%s of %s: unexpected", kind, clip_id)
