"""What the metrics page tells of the rows, the disks and the workers, each read when asked for.

A part that does not answer leaves its figures out and is named in ``studio_part_up``.
"""

import logging
import shutil
from collections.abc import Callable, Iterator

from django.conf import settings
from django.db import connection
from prometheus_client import CollectorRegistry
from prometheus_client.core import GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.registry import Collector

from studio import __version__
from studio.accounts import letters
from studio.clips.models import Upload
from studio.clips.processing import availability, rehearing
from studio.clips.upkeep import runs
from studio.jobs import dead_letters
from studio.workers import pace, signs
from studio.workers.models import Worker

from . import parts, requests, work

log = logging.getLogger(__name__)


def registry() -> CollectorRegistry:
    """Everything, for one look."""
    found = CollectorRegistry()
    found.register(Together())
    return found


class Together(Collector):
    """The figures of the rows, then what the web processes counted."""

    def describe(self) -> list[Metric]:
        return []  # asked for at registering; nothing is read then

    def collect(self) -> Iterator[Metric]:
        yield InfoMetricFamily("studio", "The program.", value={"version": __version__})
        troubles = parts.troubles()
        up = GaugeMetricFamily("studio_part_up", "1 when the part answers.", labels=["part"])
        for name, trouble in troubles.items():
            up.add_metric([name], 0.0 if trouble else 1.0)
        yield up
        yield from _disks()
        if not troubles.get("database"):
            for read in FROM_ROWS:
                yield from _robustly(read)
        yield from requests.counted().collect()


def _robustly(read: Callable[[], list[Metric]]) -> list[Metric]:
    try:
        return read()
    except Exception as error:
        log.error("%s could not be read (%s)", read.__name__.strip("_"), type(error).__name__)
        connection.close()
        return []


def _gauge(name: str, says: str, value: float | None, unit: str = "") -> GaugeMetricFamily:
    family = GaugeMetricFamily(name, says, unit=unit)
    if value is not None:
        family.add_metric([], value)
    return family


def _disks() -> Iterator[Metric]:
    """The data folder's disk, and the store's where it lies on another of this machine."""
    free = GaugeMetricFamily(
        "studio_disk_free", "Bytes free where files are kept.", labels=["place"], unit="bytes"
    )
    used = GaugeMetricFamily(
        "studio_disk_used", "Bytes used there, by whatever.", labels=["place"], unit="bytes"
    )
    places = {"data": settings.STUDIO_DATA}
    if not settings.OBJECT_STORE:
        places["store"] = settings.MEDIA_ROOT
    for place, folder in places.items():
        try:
            usage = shutil.disk_usage(folder)
        except OSError:
            continue
        free.add_metric([place], usage.free)
        used.add_metric([place], usage.used)
    yield free
    yield used


def _work() -> list[Metric]:
    rows = GaugeMetricFamily("studio_work", "Work by kind and state.", labels=["kind", "state"])
    oldest = GaugeMetricFamily(
        "studio_work_oldest_waiting",
        "Seconds that the oldest work of a kind has waited for a worker; 0 where none waits.",
        labels=["kind"],
        unit="seconds",
    )
    for line in work.lines():
        for state in line.all_states:
            rows.add_metric([line.kind, state], line.count(state))
        oldest.add_metric([line.kind], line.waits.total_seconds())
    return [rows, oldest]


def _workers() -> list[Metric]:
    seen = GaugeMetricFamily(
        "studio_worker_seen_timestamp",
        "When a worker gave its last sign of life.",
        labels=["worker"],
        unit="seconds",
    )
    for worker in Worker.objects.all():
        seen.add_metric([worker.name], worker.seen_at.timestamp())
    at_work = signs.taking(availability.QUEUE, signs.alive()).count()
    return [
        seen,
        _gauge("studio_listeners", "Listeners that gave a sign of life lately.", at_work),
    ]


def _letters() -> list[Metric]:
    family = GaugeMetricFamily("studio_letters", "Letters not sent, by state.", labels=["state"])
    for state, count in letters.unsent().items():
        family.add_metric([state], count)
    return [family]


def _uploads() -> list[Metric]:
    half = Upload.objects.filter(clip=None).count()
    parked = sum(1 for _ in dead_letters.parked_messages())
    return [
        _gauge("studio_uploads_unfinished", "Recordings that arrived in part.", half),
        _gauge("studio_messages_parked", "Messages that this version did not understand.", parked),
    ]


def _listening() -> list[Metric]:
    says = "Seconds of recordings heard in one second of listening, over the last listenings."
    earlier = "Clips that an engine of an earlier generation heard, and that can be heard anew."
    return [
        _gauge("studio_listening_speed_ratio", says, pace.recent(availability.QUEUE), unit="ratio"),
        _gauge("studio_clips_of_earlier_engine", earlier, rehearing.outdated().count()),
    ]


def _upkeep() -> list[Metric]:
    ended = GaugeMetricFamily(
        "studio_upkeep_timestamp",
        "When the last backup, and the last drill of a restore, ended.",
        labels=["kind"],
        unit="seconds",
    )
    whole = GaugeMetricFamily(
        "studio_upkeep_whole", "1 when it ended without a fault.", labels=["kind"]
    )
    for kind, run in (("backup", runs.last_backup()), ("drill", runs.last_drill())):
        if run is not None:
            ended.add_metric([kind], run.ended_at.timestamp())
            whole.add_metric([kind], float(run.is_whole))
    return [ended, whole]


FROM_ROWS = (_work, _workers, _letters, _uploads, _listening, _upkeep)
