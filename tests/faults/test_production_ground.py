"""The studio on PostgreSQL and Redis, with each of them, and a worker, failing under it.

One studio of real processes serves all of these tests. What stands for waiting minutes is
moving a row's times back; nothing else is pretended.
"""

import json
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import OperationalError, connection

from studio.clips import services
from studio.clips.models import Clip, Listening, Rendition, Stage
from studio.clips.processing import stages
from studio.clips.processing.stages import TASKS, dispatch
from studio.clips.storage import spool
from studio.clips.storage.stores import FolderStore
from studio.jobs import queue as dispatching
from tests import production
from tests.cast import as_person, make_cast, make_clip
from tests.deploy.processes import running, until
from tests.faults.at_work import (
    at_work,
    attempts,
    hold_at_work,
    hold_decoder,
    left_on_the_bench,
    let_minutes_pass,
    let_minutes_pass_for_what_waits,
    listening,
    send,
    stage_of,
    states,
    sweep_now,
    wait_until_done,
)
from tests.live import LiveStudio, live_studio

pytestmark = pytest.mark.worker

AWAY_S = 4.0  # how long a server stays down


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
    settings.MEDIA_ROOT.mkdir(exist_ok=True)
    production.clear()
    return make_cast()


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


@contextmanager
def somebody_reads(url: str, cookie: str) -> Iterator[Counter]:
    """Ask for a page again and again; counts the answers by their status."""
    answers, stop = Counter(), threading.Event()

    def keep_asking() -> None:
        while not stop.wait(0.05):
            answers[fetch(url, cookie)[0]] += 1

    thread = threading.Thread(target=keep_asking)
    thread.start()
    try:
        yield answers
    finally:
        stop.set()
        thread.join()


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


@pytest.mark.fault(1, "a worker's child killed while it listens", "swept, one result")
def test_a_clip_whose_pool_process_is_killed_is_heard_once(live, cast, seen):
    clip = send(cast)
    process = hold_at_work(live, clip)
    family = [process, *process.children(recursive=True)]
    process.kill()
    until(lambda: not running(family), 10, "it has ended, and all that it had started")
    let_minutes_pass()
    sweep_now()
    begun = time.monotonic()
    wait_until_done(clip)
    assert (listening(clip).attempt, listening(clip).worker_deaths) == (1, 1)
    seen(f"one listening, at attempt 2, {time.monotonic() - begun:.1f} s after the sweep")


@pytest.mark.fault(
    2, "a whole worker killed while ffmpeg works", "swept, one result, no orphan ffmpeg"
)
def test_a_clip_whose_worker_is_killed_is_playable_once(live, cast, seen):
    clip = send(cast)
    worker = live.worker("pictures")
    decoder = hold_decoder(worker)
    family = [worker, *worker.children(recursive=True)]
    assert decoder in family
    begun = time.monotonic()
    worker.kill()
    until(lambda: not running(family), 10, "it has ended, and all that it had started")
    ended_s = time.monotonic() - begun
    let_minutes_pass()
    sweep_now()
    wait_until_done(clip)
    small = stage_of(clip, Stage.Kind.SMALL)
    assert (small.attempt, small.worker_deaths) == (1, 1), "it is the first to be made"
    seen(f"all {len(family)} processes gone in {ended_s:.1f} s; one playable copy, at attempt 2")


@pytest.mark.fault(
    3, "TERM in mid-listening and in mid-transcode", "finish or hand back within 30 s"
)
def test_a_worker_that_must_end_hands_its_work_back(live, cast, seen):
    clip = send(cast)
    workers = [live.worker("listening"), live.worker("pictures")]
    decoder = hold_decoder(workers[1])  # neither will finish by itself
    process = hold_at_work(live, clip)
    family = [*workers, decoder, *(one for w in workers for one in w.children(recursive=True))]
    begun = time.monotonic()
    for worker in workers:
        worker.terminate()
    until(lambda: f"small of {clip.pk}: handed back" in live.log, 30, "the picture is let go")
    process.resume()
    until(lambda: f"listening of {clip.pk}: handed back" in live.log, 10, "the sound as well")
    until(lambda: not running(family), 30, "everything of both workers has ended")
    ended_s = time.monotonic() - begun
    assert ended_s < 30
    until(lambda: "waiting" not in states(clip).values(), 30, "the next workers took it")
    taken_s = time.monotonic() - begun
    wait_until_done(clip)
    assert attempts(clip) == [1, 1, 1], "no attempt is wasted"
    assert left_on_the_bench() == []
    seen(
        f"both handed back, all {len(family)} processes gone after {ended_s:.1f} s; taken by the "
        f"next workers after {taken_s:.1f} s, at attempt 1"
    )


@pytest.mark.fault(5, "the queue is flushed", "the sweep rebuilds it")
def test_what_waited_in_a_flushed_queue_is_sent_again(live, cast, redis_server, seen):
    at_hand = send(cast)
    process = hold_at_work(live, at_hand)
    waiting = send(cast)
    assert redis_server.client.llen("listening") == 1
    redis_server.client.flushall()
    process.resume()
    assert listening(waiting).state == Stage.State.WAITING
    let_minutes_pass_for_what_waits()
    sweep_now()
    begun = time.monotonic()
    wait_until_done(at_hand, waiting)
    assert (listening(at_hand).attempt, listening(waiting).attempt) == (1, 1)
    seen(f"2 of 2 clips done {time.monotonic() - begun:.1f} s after the sweep, at attempt 1")


@pytest.mark.fault(6, "the queue is down while a clip is sent", "accepted, the row waits")
def test_a_clip_is_accepted_while_the_queue_is_down_and_heard_afterwards(
    live, cast, redis_server, seen
):
    redis_server.stop()
    begun = time.monotonic()
    clip = send(cast)
    accepted_s = time.monotonic() - begun
    assert accepted_s < 10, "whoever sends it must not wait for the queue"
    assert listening(clip).dispatched_at is None
    assert states(clip) == dict.fromkeys(Stage.DONE, Stage.State.WAITING)
    redis_server.start()
    let_minutes_pass_for_what_waits()
    wait_until_done(clip)
    assert listening(clip).attempt == 1
    seen(f"accepted in {accepted_s:.1f} s, both rows waiting; heard at attempt 1 once it was back")


@pytest.mark.fault(7, "the queue is restarted", "consuming again within 30 s")
def test_a_restarted_queue_is_read_again_within_half_a_minute(live, cast, redis_server, seen):
    redis_server.stop()
    time.sleep(AWAY_S)
    redis_server.start()
    begun = time.monotonic()
    clip = send(cast)
    until(lambda: Stage.State.WAITING not in states(clip).values(), 30, "both were taken")
    taken_s = time.monotonic() - begun
    wait_until_done(clip)
    assert attempts(clip) == [1, 1, 1]
    seen(f"down for {AWAY_S:.0f} s; both workers took new work {taken_s:.1f} s after it was back")


@pytest.mark.fault(
    8, "the database is restarted while a page is asked", "retry or 503, nothing half-written"
)
def test_while_the_database_is_away_a_page_says_so(live, cast, postgres, seen):
    url, cookie = f"{live.url}/waiting/", log_in(cast.teacher)
    assert fetch(url, cookie)[0] == 200
    with somebody_reads(url, cookie) as answers:
        postgres.stop()
        with pytest.raises(OperationalError):
            send(cast)
        connection.close()
        status, page = fetch(url, cookie)
        assert (status, b"try again" in page) == (503, True)
        postgres.start()
        before = answers[200]
        until(lambda: answers[200] > before, 30, "pages are there again")
    assert set(answers) == {200, 503}
    assert Clip.objects.count() == 0
    seen(f"{answers[503]} pages said 503, {answers[200]} were there, no other answer; 0 rows left")


@pytest.mark.fault(
    8, "the database is restarted while a worker listens", "retry or 503, nothing half-written"
)
def test_work_that_is_done_waits_for_a_database_that_is_away(live, cast, postgres, seen):
    clip = send(cast)
    process = hold_at_work(live, clip)
    postgres.stop()
    connection.close()
    process.resume()
    time.sleep(AWAY_S)  # the short clip is heard meanwhile, and cannot be published
    postgres.start()
    begun = time.monotonic()
    wait_until_done(clip)
    assert listening(clip).attempt == 1, "done once: not left until the lease ran out"
    seen(f"away for {AWAY_S:.0f} s; published {time.monotonic() - begun:.1f} s later, at attempt 1")


def test_work_is_published_though_its_connection_was_cut(cast, postgres):
    clip = make_clip(cast.enrolment)
    Stage.objects.filter(clip=clip).update(state=Stage.State.WAITING)
    stage = stages.claim(clip.pk, Stage.Kind.LISTENING)
    with postgres.connect("ground") as other:
        pid = connection.connection.info.backend_pid
        other.execute("SELECT pg_terminate_backend(%s, 5000)", [pid])
    stages.publish(stage, lambda published: None)
    assert listening(clip).state == Stage.State.HEARD


@pytest.mark.fault(29, "the same message five times", "one result")
def test_the_same_message_five_times_gives_one_result(live, cast, redis_server, seen):
    clip = send(cast)
    for _ in range(4):
        assert dispatch(clip.pk, Stage.Kind.LISTENING)
    wait_until_done(clip)
    until(lambda: not redis_server.client.llen("listening"), 30, "every message has been read")
    until(lambda: live.log.count(f"listening of {clip.pk}: nothing to do") == 4, 10, "4 in vain")
    assert listening(clip).attempt == 1
    assert Listening.objects.filter(clip=clip).count() == 1
    seen("1 listening at attempt 1; the other 4 messages found nothing to do")


@pytest.mark.fault(32, "a clip is deleted while it is listened to", "stays deleted")
def test_a_clip_that_is_deleted_while_it_is_listened_to_stays_deleted(live, cast, seen):
    clip = send(cast)
    until(lambda: stage_of(clip, Stage.Kind.PLAYBACK).is_done, 60, "it is playable")
    if not at_work(clip):
        until(lambda: listening(clip).is_done, 60, "it was quick: have it heard again")
        Stage.objects.filter(pk=listening(clip).pk).update(state=Stage.State.WAITING, attempt=0)
        dispatch(clip.pk, Stage.Kind.LISTENING)
    process = hold_at_work(live, clip)
    heard_before = Listening.objects.filter(clip=clip).count()
    services.erase(clip)
    process.resume()
    until(lambda: f"listening of {clip.pk}: dropped" in live.log, 60, "the work is dropped")
    let_minutes_pass()
    sweep_now()
    assert dispatch(clip.pk, Stage.Kind.LISTENING)
    until(lambda: f"listening of {clip.pk}: nothing to do" in live.log, 30, "nobody takes it")
    assert not Rendition.objects.filter(clip=clip).exists()
    assert Listening.objects.filter(clip=clip).count() == heard_before
    folder = FolderStore().path(spool.clip_folder(clip.pk))
    assert [path for path in folder.glob("*") if path.is_file()] == []
    seen("the work was dropped: no file, no rendition, no listening came; a new message: no work")


@pytest.mark.fault(
    41, "a message of an unknown version, and an unknown task", "parked: kept, not lost, no loop"
)
def test_a_message_that_is_not_understood_is_parked(live, cast, ground, redis_server, seen):
    clip = make_clip(cast.enrolment)
    Stage.objects.filter(clip=clip).update(state=Stage.State.WAITING)
    task, _ = TASKS[Stage.Kind.LISTENING]
    for _ in range(3):
        unknown = {"clip_id": str(clip.pk), "version": 99, "colour": "of a later version"}
        dispatching.app.send_task(task, kwargs=unknown, queue="listening")
    dispatching.app.send_task("studio.clips.tasks.of_tomorrow", queue="listening")
    until(lambda: len(list(ground.folder.glob("parked/*.json"))) == 2, 30, "both are parked")
    until(lambda: not redis_server.client.llen("listening"), 30, "none goes round again")
    parked = [json.loads(path.read_text()) for path in ground.folder.glob("parked/*.json")]
    assert {one["task"] for one in parked} == {task, "studio.clips.tasks.of_tomorrow"}
    (versioned,) = [one for one in parked if one["task"] == task]
    assert "its version is 99" in versioned["reason"]
    assert str(clip.pk) in versioned["said"]
    assert (listening(clip).state, listening(clip).attempt) == (Stage.State.WAITING, 0)
    said = StringIO()
    call_command("parked", stdout=said)
    assert "2 are parked" in said.getvalue()
    seen("4 messages became 2 files, which `parked` lists; the row waits, untouched")
