"""The embedded database and queue: a worker killed in the middle of listening."""

import os
import signal
import time

import pytest
from django.utils import timezone

from studio.clips import services
from studio.clips.models import Clip, Listening, Stage
from tests.cast import make_cast
from tests.deploy.processes import running, until
from tests.faults.at_work import SAMPLE, at_work, listening
from tests.live import live_studio
from tests.media.recordings import AAC, ffmpeg

pytestmark = [pytest.mark.worker, pytest.mark.django_db(transaction=True)]

TIMES = 6  # of 13 s each


@pytest.fixture
def clip(tmp_path) -> Clip:
    """A minute and more of octaves, sent and put on the queue; the sound alone."""
    cast, path = make_cast(), tmp_path / "octaves.m4a"
    ffmpeg("-stream_loop", str(TIMES - 1), "-i", str(SAMPLE), "-vn", *AAC, str(path))
    return services.receive(cast.enrolment, cast.pupil, [path.read_bytes()], path.name)


def expire_lease(stage: Stage) -> None:
    """Stands for the time until a dead worker's lease runs out."""
    Stage.objects.filter(pk=stage.pk).update(lease_until=timezone.now())


@pytest.mark.fault(
    2, "a whole worker killed, on SQLite and the embedded queue", "swept, one result, no orphan"
)
def test_a_clip_whose_worker_is_killed_is_heard_once(clip, tmp_path, seen):
    with live_studio(tmp_path) as studio:
        until(lambda: at_work(clip), 60, "listening has begun")
        worker = studio.worker("listening")
        family = [worker, *worker.children(recursive=True)]
        os.kill(worker.pid, signal.SIGKILL)
        until(lambda: not running(family), 10, "it ended, and all that it had started")
        time.sleep(1.0)
        assert at_work(clip), "nobody else may have taken it"
        expire_lease(listening(clip))
        begun = time.monotonic()
        until(lambda: listening(clip).is_done, 90, "heard after all")
        assert (listening(clip).attempt, listening(clip).worker_deaths) == (1, 1)
        seen(
            f"all {len(family)} processes gone; heard at the same attempt, "
            f"{time.monotonic() - begun:.1f} s after the lease had run out"
        )
    assert Listening.objects.filter(clip=clip).count() == 1
