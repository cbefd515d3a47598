"""A worker whose clock is wrong by a day, beside a database whose clock is right."""

import sys
from collections.abc import Iterator

import pytest
from django.conf import settings
from django.db.models import F
from django.db.models.functions import Now
from django.utils import timezone

from studio.clips import services
from studio.clips.models import Clip, Stage
from studio.clips.processing import stages
from studio.jobs import leases
from studio.jobs import queue as dispatching
from tests import production
from tests.cast import Cast, make_cast
from tests.deploy.processes import running, started, until
from tests.faults.at_work import hold_decoder, send, stage_of

pytestmark = pytest.mark.worker

QUEUE = "wrong-clock"
DAY_S = 86_400
# Every way in which Python code asks for the time of day; monotonic clocks stay as they are.
CLOCK = """
import datetime, sys, time
off_s, right, right_s = float(sys.argv.pop(1)), datetime.datetime, time.time
off = datetime.timedelta(seconds=off_s)
time.time = lambda: right_s() + off_s
time.time_ns = lambda: int(time.time() * 1e9)
class AnyDatetime(type):
    def __instancecheck__(cls, value): return isinstance(value, right)
class Wrong(right, metaclass=AnyDatetime):
    now = classmethod(lambda cls, tz=None: right.now(tz) + off)
    utcnow = classmethod(lambda cls: right.utcnow() + off)
datetime.datetime = Wrong
from celery.__main__ import main
sys.exit(main())
"""


@pytest.fixture(scope="module")
def ground(
    postgres, redis_server, tmp_path_factory, django_db_blocker
) -> Iterator[production.Ground]:
    folder = tmp_path_factory.mktemp("wrong-clock")
    place = production.Ground(folder / "data", postgres.create("clock"), redis_server.url)
    with django_db_blocker.unblock(), production.on_production_ground(place):
        yield place


@pytest.fixture
def cast(ground, monkeypatch) -> Cast:
    """Nobody but these; what they send waits, for no message is sent by itself."""
    settings.MEDIA_ROOT.mkdir(exist_ok=True)
    production.clear()
    monkeypatch.setattr(services, "dispatch", lambda clip_id, kind: True)
    return make_cast()


def ask(task: str, **kwargs) -> None:
    dispatching.app.send_task(f"studio.clips.tasks.{task}", kwargs=kwargs, queue=QUEUE)


def prepare(clip: Clip) -> None:
    ask("prepare_playback", clip_id=str(clip.pk), version=dispatching.MESSAGE_VERSION)


def lease_left_s(clip: Clip) -> float:
    """How long a lease holds on, by the database's clock."""
    row = Stage.objects.filter(clip=clip, lease_until__isnull=False)
    return row.annotate(left=F("lease_until") - Now()).get().left.total_seconds()


@pytest.mark.fault(28, "a worker's clock is off by a day", "leases by the database's time")
@pytest.mark.parametrize("off_s", [DAY_S, -DAY_S], ids=["a-day-ahead", "a-day-behind"])
def test_a_wrong_clock_neither_steals_a_lease_nor_holds_one_for_long(
    cast, ground, tmp_path, off_s, seen
):
    held, waiting = send(cast), send(cast)
    mine = stages.claim(held.pk, Stage.Kind.PLAYBACK)
    command = [sys.executable, "-c", CLOCK, str(off_s), "-A", "studio.celery", "worker"]
    command += ["--concurrency=1", "--without-mingle", "--without-gossip", "-Q", QUEUE]
    log, variables = tmp_path / "log", {"DJANGO_SETTINGS_MODULE": "studio.settings"}
    with started(command, log, **variables, **ground.variables) as worker:
        prepare(held)
        ask("sweep")
        prepare(waiting)
        said = until(lambda: f"of {held.pk}: nothing to do" in log.read_text() and log, 60, "seen")
        decoder = hold_decoder(worker)
        its_day = said.read_text().split(f"playback of {held.pk}: nothing")[0].splitlines()[-1][:10]
        assert its_day == str(timezone.localdate() + timezone.timedelta(seconds=off_s))
        leases.beat(mine)  # raises if it is another's now
        left_s = lease_left_s(waiting) if stage_of(held, "playback").delete() else 0.0
        assert 0 < left_s <= leases.LEASE.total_seconds()
        family = [worker, *worker.children(recursive=True), decoder]
        worker.kill()
        until(lambda: not running(family), 10, "it has ended")
    assert "again" not in log.read_text(), "its sweep took a lease that holds for one that ran out"
    seen(f"a held lease was left alone; its own had {left_s:.0f} s to run, by the database")
