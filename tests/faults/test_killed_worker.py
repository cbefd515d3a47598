"""A worker killed in the middle of listening: the clip is heard once, by the sweep."""

import os
import signal
import time

import pytest
from django.utils import timezone

from sample_media.make import build
from studio.accounts.models import Enrolment, Membership, Person, Studio
from studio.clips import services
from studio.clips.models import Clip, Listening, Stage
from tests.cast import agree
from tests.deploy.processes import running, until
from tests.live import live_studio

pytestmark = [pytest.mark.worker, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def clip(tmp_path) -> Clip:
    """A minute and more of octaves, sent and put on the queue."""
    studio = Studio.objects.create(name="Test studio")
    teacher = Person.objects.create_user("teacher@test.example", "a-password", name="Tess")
    pupil = Person.objects.create_user("pupil@test.example", "a-password", name="Pim")
    Membership.objects.create(person=pupil, studio=studio, role="pupil")
    agree(pupil, studio)
    place = Enrolment.objects.create(pupil=pupil, studio=studio, teacher=teacher)
    sample = build("octaves-in-b-flat", tmp_path)
    return services.receive(place, pupil, [sample.read_bytes()], sample.name)


def listening_of(clip) -> Stage:
    return Stage.objects.get(clip=clip, kind=Stage.Kind.LISTENING)


def expire_lease(stage: Stage) -> None:
    """Stands for the minute until a dead worker's lease runs out."""
    Stage.objects.filter(pk=stage.pk).update(lease_until=timezone.now())


@pytest.mark.parametrize("victim", ["worker", "pool_process"])
def test_a_clip_whose_worker_is_killed_is_heard_once(clip, tmp_path, victim):
    with live_studio(tmp_path) as studio:
        stage = until(lambda: _at_work(clip), 60, "listening has begun")
        worker = studio.worker("listening")
        family = worker.children(recursive=True)
        decoders = [process for process in family if "ff" in process.name()]
        doomed = worker if victim == "worker" else family[0]
        os.kill(doomed.pid, signal.SIGKILL)
        until(lambda: not running([doomed, *decoders]), 10, "it and its decoders ended")
        time.sleep(1.0)
        assert listening_of(clip).state == Stage.State.WORKING, "nobody else may have taken it"
        expire_lease(stage)
        until(lambda: listening_of(clip).state == Stage.State.HEARD, 90, "heard after all")
        assert listening_of(clip).attempt == 2
    assert Listening.objects.filter(clip=clip).count() == 1


def _at_work(clip) -> Stage | None:
    stage = listening_of(clip)
    return stage if stage.state == Stage.State.WORKING else None
