"""The studio on PostgreSQL and Redis, with each of them, and a worker, failing under it.

One studio of real processes serves all of these tests. What stands for waiting minutes is
moving a row's times back; nothing else is pretended.
"""

import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from datetime import timedelta

import psutil
import pytest
from django.db import OperationalError, connection
from django.utils import timezone

from studio.clips import dispatch as dispatching
from studio.clips import services, stages
from studio.clips.dispatch import dispatch
from studio.clips.models import Clip, Listening, Rendition, Stage
from studio.clips.upkeep.verifying import verify
from tests import production
from tests.cast import as_person, make_cast, make_clip
from tests.deploy.processes import ROOT, running, until
from tests.live import LiveStudio, live_studio

pytestmark = pytest.mark.worker

SAMPLE = ROOT / "sample_media" / "clips" / "short-octaves.mp4"
MINUTES = timedelta(minutes=5)
RECOVERY_S = 90


@pytest.fixture(scope="module")
def ground(
    postgres, redis_server, tmp_path_factory, django_db_blocker
) -> Iterator[production.Ground]:
    """This process and a studio on the same PostgreSQL, Redis and folder."""
    folder = tmp_path_factory.mktemp("ground")
    place = production.Ground(folder / "data", postgres.create("ground"), redis_server.url)
    with django_db_blocker.unblock(), production.on_production_ground(place):
        yield place


@pytest.fixture(scope="module")
def live(ground, tmp_path_factory) -> Iterator[LiveStudio]:
    with live_studio(tmp_path_factory.mktemp("live"), **ground.variables) as studio:
        yield studio


@pytest.fixture
def cast(ground):
    """Nobody but these, and no message from before."""
    production.clear()
    return make_cast()


def send(cast) -> Clip:
    clip = services.receive(cast.enrolment, cast.pupil, [SAMPLE.read_bytes()], SAMPLE.name)
    assert clip.intake == Clip.Intake.RECEIVED
    return clip


def states(clip: Clip) -> dict[str, str]:
    return dict(Stage.objects.filter(clip=clip).values_list("kind", "state"))


def listening(clip: Clip) -> Stage:
    return Stage.objects.get(clip=clip, kind=Stage.Kind.LISTENING)


def at_work(clip: Clip) -> bool:
    return listening(clip).state == Stage.State.WORKING


def hold_at_work(live: LiveStudio, clip: Clip) -> psutil.Process:
    """The process that listens to the clip, stopped in the middle until it is resumed."""
    until(lambda: at_work(clip), 60, "listening has begun")
    (process,) = live.worker("listening").children()
    process.suspend()
    assert at_work(clip)
    return process


def sweep_now() -> None:
    """What the periodic process asks for every 15 seconds."""
    dispatching.app.send_task("studio.clips.tasks.sweep", queue="sweep")


def wait_until_done(*clips: Clip) -> None:
    """Both stages of each clip are done, once, and every file is as its row says."""
    until(lambda: all(states(clip) == Stage.DONE for clip in clips), RECOVERY_S, "heard, playable")
    for clip in clips:
        assert Listening.objects.filter(clip=clip).count() == 1
    report = verify()
    assert report.faults == []
    # What a killed worker left on the bench goes after a day; no other file may be without a row.
    assert [name for name in report.orphans if not name.startswith(".bench/")] == []


def let_minutes_pass() -> None:
    """Every lease has run out, and what waits has waited for long."""
    let_minutes_pass_for_what_waits()
    working = Stage.objects.filter(state=Stage.State.WORKING)
    working.update(lease_until=timezone.now() - MINUTES)


def let_minutes_pass_for_what_waits() -> None:
    ago = timezone.now() - MINUTES
    Stage.objects.filter(state=Stage.State.WAITING).update(changed_at=ago)
    Stage.objects.filter(dispatched_at__isnull=False).update(dispatched_at=ago)


def fetch(url: str, cookie: str = "", **headers: str) -> tuple[int, bytes]:
    request = urllib.request.Request(url, headers={"Cookie": f"session={cookie}", **headers})
    try:
        with urllib.request.urlopen(request, timeout=30) as answer:
            return answer.status, answer.read()
    except urllib.error.HTTPError as error:
        return error.code, error.read()


def log_in(person) -> str:
    """The session cookie of a person who is logged in."""
    return as_person(person).cookies["session"].value


def test_a_clip_is_heard_and_playable_and_only_for_its_people(live, cast):
    assert connection.vendor == "postgresql"
    clip = send(cast)
    wait_until_done(clip)
    url = f"{live.url}/clips/{clip.pk}/media/"
    size = Rendition.objects.get(clip=clip, kind=Rendition.Kind.PLAYABLE).size_bytes
    status, part = fetch(url, log_in(cast.teacher), Range="bytes=0-999")
    assert (status, len(part)) == (206, 1000)
    assert fetch(url, log_in(cast.teacher), Range=f"bytes={size}-")[0] == 416
    assert fetch(url, log_in(cast.foreign_teacher), Range="bytes=0-999")[0] == 404


def test_the_same_message_five_times_gives_one_result(live, cast, redis_server):
    clip = send(cast)
    for _ in range(4):
        assert dispatch(clip.pk, Stage.Kind.LISTENING)
    wait_until_done(clip)
    until(lambda: not redis_server.client.llen("listening"), 30, "every message has been read")
    assert listening(clip).attempt == 1


def test_a_clip_whose_worker_is_killed_is_heard_once(live, cast):
    clip = send(cast)
    process = hold_at_work(live, clip)
    worker = live.worker("listening")
    family = [worker, process, *process.children(recursive=True)]
    worker.kill()
    until(lambda: not running(family), 10, "it has ended, and all that it had started")
    let_minutes_pass()
    wait_until_done(clip)
    assert listening(clip).attempt == 2


def test_what_waited_in_a_flushed_queue_is_sent_again(live, cast, redis_server):
    at_hand = send(cast)
    process = hold_at_work(live, at_hand)
    waiting = send(cast)
    assert redis_server.client.llen("listening") == 1
    redis_server.client.flushall()
    process.resume()
    assert listening(waiting).state == Stage.State.WAITING
    let_minutes_pass_for_what_waits()
    sweep_now()
    wait_until_done(at_hand, waiting)
    assert (listening(at_hand).attempt, listening(waiting).attempt) == (1, 1)


def test_a_clip_is_accepted_while_the_queue_is_down_and_heard_afterwards(live, cast, redis_server):
    redis_server.stop()
    begun = time.monotonic()
    clip = send(cast)
    assert time.monotonic() - begun < 10, "whoever sends it must not wait for the queue"
    assert listening(clip).dispatched_at is None
    assert states(clip) == dict.fromkeys(Stage.Kind, Stage.State.WAITING)
    redis_server.start()
    let_minutes_pass_for_what_waits()
    wait_until_done(clip)
    assert listening(clip).attempt == 1


def test_a_database_that_is_restarted_leaves_nothing_half_written(live, cast, postgres):
    clip, cookie = send(cast), log_in(cast.teacher)
    process = hold_at_work(live, clip)
    postgres.stop()
    with pytest.raises(OperationalError):
        send(cast)
    connection.close()
    status, page = fetch(live.url, cookie)
    assert (status, b"try again" in page) == (503, True)
    postgres.start()
    assert fetch(live.url, cookie)[0] == 200
    process.resume()
    until(lambda: not at_work(clip), 30, "its worker has found the database again")
    let_minutes_pass()
    sweep_now()
    wait_until_done(clip)
    assert Clip.objects.count() == 1
    assert listening(clip).attempt <= 2, "1 when it was stopped before its last query, else 2"


def test_work_is_published_though_its_connection_was_cut(cast, postgres):
    clip = make_clip(cast.enrolment)
    Stage.objects.filter(clip=clip).update(state=Stage.State.WAITING)
    stage = stages.claim(clip.pk, Stage.Kind.LISTENING)
    with postgres.connect("ground") as other:
        pid = connection.connection.info.backend_pid
        other.execute("SELECT pg_terminate_backend(%s, 5000)", [pid])
    with stages.publishing(stage):
        pass
    assert listening(clip).state == Stage.State.HEARD
