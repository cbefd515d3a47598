"""With no listener at work, teachers are told, and the log has one line a change."""

import logging
import threading
from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.utils import timezone

from studio.clips.models import Stage
from studio.clips.processing import availability
from studio.workers import signs, step
from studio.workers.models import Worker
from tests.cast import as_person, make_clip

QUEUES = ["listening", "sweep"]


def waits(cast, minutes: int = 0, state: str = "waiting"):
    clip = make_clip(cast.enrolment, "Octaves", has_audio=True)
    Stage.objects.filter(clip=clip, kind="listening").update(
        state=state, changed_at=timezone.now() - timedelta(minutes=minutes)
    )
    return clip


def seen(minutes_ago: float, queues=QUEUES, name: str = "listening@here"):
    signs.begin(name, queues)
    moment = timezone.now() - timedelta(minutes=minutes_ago)
    Worker.objects.filter(name=name).update(seen_at=moment)
    return moment


def test_a_listener_that_was_seen_lately_is_at_work(cast):
    waits(cast, 90)
    seen(0.5)
    assert availability.absence() is None


def test_one_that_is_started_again_is_not_missed(cast):
    waits(cast, 90)
    seen(1.5)
    assert availability.absence() is None


@pytest.mark.parametrize("state", ["waiting", "working"])
def test_one_that_is_away_is_said_with_the_time(cast, state, settings):
    settings.TIME_ZONE = "UTC"
    waits(cast, state=state)
    moment = seen(5)
    at = timezone.localtime(moment)
    now = availability.absence()
    assert now.since == moment
    assert f"since {at:%H:%M}" in now.sentence
    assert now.sentence.endswith("your clips are kept and will be heard when it is back.")


def test_where_none_ever_was_a_clip_waits_a_little_first(cast):
    waits(cast, 1)
    assert availability.absence() is None
    waits(cast, 3)
    assert availability.absence().sentence.startswith("No listener is at work; your clips are kept")


def test_nothing_is_said_where_nothing_waits_for_a_listener(cast):
    seen(90)
    make_clip(cast.enrolment)
    assert availability.absence() is None
    waits(cast, 90)
    cast.pupil.consents.all().delete()  # it waits for a person
    assert availability.absence() is None


def test_another_queue_s_worker_is_no_listener(cast):
    waits(cast, 90)
    seen(0, ["pictures", "sweep"], "pictures@here")
    assert availability.absence() is not None


def test_the_teacher_and_the_pupil_read_it_and_the_log_says_it_once(cast, caplog):
    clip = waits(cast, 10, state="working")
    seen(10)
    with caplog.at_level(logging.INFO, "studio.clips.processing.availability"):
        for _ in range(2):
            assert (
                "No listener has been at work since"
                in as_person(cast.teacher).get("/waiting/").content.decode()
            )
            desk = as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()
            assert "No listener has been at work since" in desk
            home = as_person(cast.pupil).get(f"/clips/{clip.pk}/").content.decode()
            assert "the clip is kept and will be heard when it is back" in home
        told = as_person(cast.teacher).get(f"/clips/{clip.pk}/desk/progress.json").json()
        assert told["absence"].startswith("No listener has been at work")
        assert [record.levelname for record in caplog.records] == ["WARNING"]
        seen(0)
        assert "No listener" not in as_person(cast.teacher).get("/waiting/").content.decode()
        assert [record.levelname for record in caplog.records] == ["WARNING", "INFO"]
    assert "Octaves" not in caplog.text
    assert "Sandholm" not in caplog.text


def test_a_worker_leaves_signs_while_it_has_its_queue(transactional_db, monkeypatch):
    monkeypatch.setattr(signs, "EVERY_S", 0.05)
    stop = threading.Event()
    thread = threading.Thread(target=step.leave_signs, args=("listening@x", QUEUES, stop))
    thread.start()
    try:
        for _ in range(200):
            if Worker.objects.filter(name="listening@x").exists():
                break
            stop.wait(0.02)
        first = Worker.objects.get(name="listening@x")
        assert first.queue_names == QUEUES
        for _ in range(200):
            if Worker.objects.get(name="listening@x").seen_at > first.seen_at:
                break
            stop.wait(0.02)
        assert Worker.objects.get(name="listening@x").seen_at > first.seen_at
    finally:
        stop.set()
        thread.join(10)
    assert not thread.is_alive()


def test_the_step_begins_with_the_queue_and_ends_with_it(monkeypatch):
    left = []
    monkeypatch.setattr(step, "leave_signs", lambda *told: left.append(told))
    queues = SimpleNamespace(consume_from={"listening": 1, "sweep": 1})
    consumer = SimpleNamespace(
        hostname="listening@x", app=SimpleNamespace(amqp=SimpleNamespace(queues=queues)), steps=[]
    )
    one = step.LeavesSigns(consumer)
    one.start(consumer)
    ((name, taken, stop),) = left
    assert (name, taken, stop.is_set()) == ("listening@x", QUEUES, False)
    one.stop(consumer)
    assert stop.is_set()
    one.start(consumer)
    assert not left[1][2].is_set()


def test_a_database_that_is_away_is_no_end(monkeypatch):
    """No mark for a database: every sign fails, and the thread goes on."""
    monkeypatch.setattr(signs, "begin", _away)
    assert step._leave("listening@x", QUEUES, False) is False


def _away(*args):
    from django.db import OperationalError

    raise OperationalError("away")


def test_workers_not_seen_for_a_week_are_forgotten(db):
    seen(8 * 24 * 60, name="old@gone")
    seen(0)
    assert signs.forget_old() == 1
    assert [worker.name for worker in Worker.objects.all()] == ["listening@here"]
