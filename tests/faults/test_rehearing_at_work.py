"""A real listener hears a clip anew, and stops at once for one that has just been sent."""

import pytest

from studio.clips.models import Clip, Listening, Stage
from studio.clips.processing import rehearing
from studio.intonation import ENGINE
from tests.cast import make_cast
from tests.deploy.processes import until
from tests.faults.at_work import a_recording, listening, send
from tests.live import live_studio
from tests.media.recordings import AAC, ffmpeg
from tests.samples import SAMPLE

pytestmark = [pytest.mark.worker, pytest.mark.django_db(transaction=True)]

TIMES = 12  # of 13 s each: long enough to be at work on it when another comes


def engines(clip: Clip) -> list[str]:
    return list(Listening.objects.filter(clip=clip).values_list("engine", flat=True))


def rehearing_of(clip: Clip) -> Stage | None:
    return Stage.objects.filter(clip=clip, kind=Stage.Kind.REHEARING).first()


def is_at_work(clip: Clip) -> bool:
    stage = rehearing_of(clip)
    return stage is not None and stage.state == Stage.State.WORKING


def test_a_clip_is_heard_anew_in_idle_time_and_a_new_one_before_it(tmp_path):
    cast, path = make_cast(), tmp_path / "octaves.m4a"
    ffmpeg("-stream_loop", str(TIMES - 1), "-i", str(SAMPLE), "-vn", *AAC, str(path))
    with live_studio(tmp_path):
        old = send(cast, path.read_bytes())
        until(lambda: listening(old).is_done, 90, "heard")
        Listening.objects.filter(clip=old).update(engine="0.9.0")
        rehearing.ask_for([old])
        until(lambda: rehearing.send_next() or is_at_work(old), 60, "sent")
        until(lambda: is_at_work(old), 60, "being heard anew")
        new = send(cast, a_recording())
        until(lambda: listening(new).is_done, 60, "the new one is heard")
        assert engines(old) == ["0.9.0"], "the other one gave way"
        assert rehearing_of(old).failure_code == ""
        until(
            lambda: rehearing_of(old) is None, 120, "heard anew after it, within half a minute sent"
        )
    assert engines(old) == ["0.9.0", ENGINE]
    assert listening(old).attempt == 1
