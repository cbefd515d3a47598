"""Celery tasks: thin. Claim the row, call the work, record the outcome."""

import logging
import traceback
from collections.abc import Callable

from celery import shared_task
from celery.signals import task_unknown
from django.db import InterfaceError, OperationalError

from studio import media

from . import benches, parking, stages, stopping, work
from .dispatch import MESSAGE_VERSION, dispatch
from .models import Stage
from .upkeep import sweeping
from .uploads import services as uploads

log = logging.getLogger(__name__)

POINTLESS_TO_REPEAT = {"output_too_large"}
NOT_THE_CLIPS_DOING = {"disk_full"}  # tried again until there is room
CLAIM_PATIENCE_S = 30.0  # for a database that is away when a message comes
DATABASE_AWAY = (OperationalError, InterfaceError)


@shared_task(bind=True)
def listen_to_clip(task, clip_id="", version=MESSAGE_VERSION, **more) -> None:
    if _understood(task.name, clip_id, version, more):
        _do(clip_id, Stage.Kind.LISTENING, work.listen_to)


@shared_task(bind=True)
def prepare_playback(task, clip_id="", version=MESSAGE_VERSION, **more) -> None:
    if _understood(task.name, clip_id, version, more):
        _do(clip_id, Stage.Kind.PLAYBACK, work.prepare_playback)


@task_unknown.connect
def park_unknown_task(name: str, message, **kwargs) -> None:
    """A task that another version of the program knows."""
    parking.park(name, {"body": str(message.body)}, "this version has no such task")


@shared_task
def sweep() -> None:
    """Send again what was lost: a flushed queue, a killed worker, a broker that was down."""
    failed = stages.fail_exhausted()
    if failed:
        log.error("%d stages failed: their worker died at the last attempt", failed)
    for stage in stages.lost():
        log.warning("sending %s of %s again (was %s)", stage.kind, stage.clip_id, stage.state)
        dispatch(stage.clip_id, stage.kind)
    for path in benches.clear_ended():
        log.warning("removed %s: its process ended before it was finished", path)
    if made := uploads.finish_left():
        log.warning("%d uploads became clips: their web process ended before it made them", made)


@shared_task
def remove_left_overs() -> None:
    """Remove files that no row names, and uploads that nobody went on with, after a day."""
    if abandoned := uploads.forget_expired():
        log.info("%d unfinished uploads have expired", abandoned)
    for path in sweeping.sweep_orphans():
        log.warning("removed %s: no row names it", path)


def _understood(task: str, clip_id: str, version: object, more: dict) -> bool:
    """Whether this version knows what the message means; one that it does not know is parked."""
    if version == MESSAGE_VERSION and not more:
        return True
    said = {"clip_id": clip_id, "version": version, **more}
    parking.park(task, said, f"its version is {version!r}; this one reads {MESSAGE_VERSION}")
    return False


def _do(clip_id: str, kind: str, action: Callable[[Stage], None]) -> None:
    """Work on the clip; first, though, on one that was cut off, if there is one.

    Its own message would wait behind all those that have come since.
    """
    waiting = stages.patiently(lambda: stages.cut_off(kind).first(), CLAIM_PATIENCE_S)
    if waiting is not None and str(waiting.clip_id) != clip_id:
        log.warning("%s of %s: first, it was cut off", kind, waiting.clip_id)
        _take(str(waiting.clip_id), kind, action)
    _take(clip_id, kind, action)


def _take(clip_id: str, kind: str, action: Callable[[Stage], None]) -> None:
    with stopping.at_work():
        stage = stages.patiently(lambda: stages.claim(clip_id, kind), CLAIM_PATIENCE_S)
        if stage is None:
            log.info("%s of %s: nothing to do", kind, clip_id)
            return
        try:
            _work_on(stage, action)
        except DATABASE_AWAY as error:
            # Nothing can be recorded: when the lease has run out the sweep sends it again.
            log.error("%s of %s: left, the database is away (%s)", kind, clip_id, error)


def _work_on(stage: Stage, action: Callable[[Stage], None]) -> None:
    """Do the work and record how it ended."""
    what = f"{stage.kind} of {stage.clip_id}"
    try:
        with stopping.interruptible():
            action(stage)
        log.info("%s: done", what)
    except stages.LeaseLost as lost:
        log.warning("%s: dropped (%s)", what, lost)
    except stopping.Stopped:
        if stages.hand_back(stage):
            dispatch(stage.clip_id, stage.kind)
            log.warning("%s: handed back, this worker is ending", what)
    except media.Refused as refused:
        stages.give_up(stage, refused.code, refused.params, refused.detail, retry=False)
    except media.Failed as failed:
        ends = {
            "retry": failed.code not in POINTLESS_TO_REPEAT,
            "counts": failed.code not in NOT_THE_CLIPS_DOING,
        }
        stages.give_up(stage, failed.code, failed.params, failed.detail, **ends)
        log.warning("%s: %s %s", what, failed.code, failed.detail)
    except Exception:
        stages.give_up(stage, "unexpected", detail=traceback.format_exc())
        log.exception("%s: unexpected", what)
