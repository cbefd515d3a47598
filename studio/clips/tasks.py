"""Celery tasks: thin. Claim the row, call the work, record the outcome."""

import logging
from collections.abc import Callable

from celery import shared_task
from celery.signals import task_unknown
from django.utils.translation import gettext as _

from studio.clips.processing.stages import dispatch
from studio.jobs import dead_letters, leases, runner
from studio.jobs.queue import MESSAGE_VERSION
from studio.workers import pace
from studio.workers import signs as life

from . import services, signals
from .models import Stage
from .processing import availability, examination, rehearing, renditions, stages
from .storage import work_folders
from .upkeep import orphans
from .uploads import services as uploads

log = logging.getLogger(__name__)


@shared_task(bind=True)
def listen_to_clip(task, clip_id="", version=MESSAGE_VERSION, **more) -> None:
    if dead_letters.understood(task.name, {"clip_id": clip_id}, version, more):
        _do(clip_id, Stage.Kind.LISTENING, renditions.listen_to)


@shared_task(bind=True)
def prepare_playback(task, clip_id="", version=MESSAGE_VERSION, **more) -> None:
    if dead_letters.understood(task.name, {"clip_id": clip_id}, version, more):
        _do(clip_id, Stage.Kind.PLAYBACK, renditions.prepare_playback)


@shared_task(bind=True)
def prepare_small(task, clip_id="", version=MESSAGE_VERSION, **more) -> None:
    if dead_letters.understood(task.name, {"clip_id": clip_id}, version, more):
        _do(clip_id, Stage.Kind.SMALL, renditions.prepare_small)


@shared_task(bind=True)
def examine_clip(task, clip_id="", version=MESSAGE_VERSION, **more) -> None:
    if dead_letters.understood(task.name, {"clip_id": clip_id}, version, more):
        _do(clip_id, Stage.Kind.EXAMINING, examination.examine)


@shared_task(bind=True)
def hear_clip_anew(task, clip_id="", version=MESSAGE_VERSION, **more) -> None:
    """Not while a new clip waits. Then at once the next one, if it went well."""
    if not dead_letters.understood(task.name, {"clip_id": clip_id}, version, more):
        return
    if leases.patiently(lambda: rehearing.is_due(clip_id), runner.CLAIM_PATIENCE_S):
        _take(clip_id, Stage.Kind.REHEARING, renditions.hear_anew)
        if not Stage.objects.filter(clip=clip_id, kind=Stage.Kind.REHEARING).exists():
            rehearing.send_next()


@task_unknown.connect
def park_unknown_task(name: str, message, **kwargs) -> None:
    """A task that another version of the program knows."""
    dead_letters.park_message(name, {"body": str(message.body)}, _("this version has no such task"))


@shared_task
def sweep() -> None:
    """Send again what was lost: a flushed queue, a killed worker, a broker that was down."""
    if parked := leases.park_exhausted(Stage):
        log.error("%d stages are parked: workers died at them again and again", parked)
    for stage in stages.lost():
        log.warning("sending %s of %s again (was %s)", stage.kind, stage.clip_id, stage.state)
        dispatch(stage.clip_id, stage.kind)
    for path in work_folders.clear_ended():
        log.warning("removed %s: its process ended before it was finished", path)
    if made := uploads.finish_left():
        log.warning("%d uploads became clips: their web process ended before it made them", made)
    if owed := services.begin_an_owed_small():
        log.info("small of %s: begun, it was sent before there was one", owed.pk)
    signals.swept.send(sender=Stage)
    availability.watch()


@shared_task
def hear_anew() -> None:
    """In idle time: send one clip of an earlier engine to be heard anew."""
    rehearing.send_next()


@shared_task
def remove_left_overs() -> None:
    """Remove files that no row names, uploads that nobody went on with, and old refusals."""
    if abandoned := uploads.forget_expired():
        log.info("%d unfinished uploads have expired", abandoned)
    if sounds := services.let_sounds_go():
        log.info("the sound of %d clips was let go: it was heard", sounds)
    if refused := services.put_refused_away():
        log.info("%d refused clips were put away", refused)
    life.forget_old()
    pace.forget_old()
    for path in orphans.sweep_orphans():
        log.warning("removed %s: no row names it", path)


def _do(clip_id: str, kind: str, action: Callable[[Stage], None]) -> None:
    """Work on the clip; first, though, on one that was cut off, if there is one.

    Its own message would wait behind all those that have come since.
    """
    waiting = leases.patiently(lambda: stages.cut_off(kind).first(), runner.CLAIM_PATIENCE_S)
    if waiting is not None and str(waiting.clip_id) != clip_id:
        log.warning("%s of %s: first, it was cut off", kind, waiting.clip_id)
        _take(str(waiting.clip_id), kind, action)
    _take(clip_id, kind, action)


def _take(clip_id: str, kind: str, action: Callable[[Stage], None]) -> None:
    runner.take(
        f"{kind} of {clip_id}",
        lambda: stages.claim(clip_id, kind),
        action,
        lambda: dispatch(clip_id, kind),
    )
