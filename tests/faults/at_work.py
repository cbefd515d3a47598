"""Clips at work in a real studio: send them, hold them in the middle, let time pass, look."""

import struct
from datetime import timedelta
from uuid import uuid4

import psutil
from django.conf import settings
from django.utils import timezone

from studio.clips import services
from studio.clips.models import Clip, Listening, Stage
from studio.clips.upkeep.verification import verify
from studio.jobs import queue as dispatching
from tests.deploy.processes import ROOT, command_of, until
from tests.live import LiveStudio

SAMPLE = ROOT / "sample_media" / "clips" / "short-octaves.mp4"
MINUTES = timedelta(minutes=5)
RECOVERY_S = 90


def a_recording() -> bytes:
    """The sample, each time another: who sends the same one again is asked about it."""
    free = struct.pack(">I4s16s", 24, b"free", uuid4().bytes)  # a box that means nothing, 14496-12
    return SAMPLE.read_bytes() + free


def send(cast, recording: bytes | None = None, **more) -> Clip:
    parts = [recording or a_recording()]
    clip = services.receive(cast.enrolment, cast.pupil, parts, SAMPLE.name, **more)
    assert clip.intake == Clip.Intake.RECEIVED
    return clip


def states(clip: Clip) -> dict[str, str]:
    return dict(Stage.objects.filter(clip=clip).values_list("kind", "state"))


def attempts(clip: Clip) -> list[int]:
    """Of listening, playback and the smaller picture."""
    return list(Stage.objects.filter(clip=clip).order_by("kind").values_list("attempt", flat=True))


def stage_of(clip: Clip, kind: str) -> Stage:
    return Stage.objects.get(clip=clip, kind=kind)


def listening(clip: Clip) -> Stage:
    return stage_of(clip, Stage.Kind.LISTENING)


def at_work(clip: Clip, kind: str = Stage.Kind.LISTENING) -> bool:
    return stage_of(clip, kind).state == Stage.State.WORKING


def hold_at_work(live: LiveStudio, clip: Clip) -> psutil.Process:
    """The process that listens to the clip, stopped in the middle until it is resumed."""
    until(lambda: at_work(clip), 60, "listening has begun")
    (process,) = live.worker("listening").children()
    process.suspend()
    assert at_work(clip)
    return process


def hold_decoder(worker: psutil.Process) -> psutil.Process:
    """The ffmpeg that works for this worker, stopped in the middle."""
    decoder = until(lambda: _decoder(worker), 60, "ffmpeg has begun")
    decoder.suspend()
    return decoder


def _decoder(worker: psutil.Process) -> psutil.Process | None:
    family = worker.children(recursive=True)
    return next((one for one in family if "ffmpeg" in command_of(one).split(" ")[0]), None)


def sweep_now() -> None:
    """What the periodic process asks for every 15 seconds."""
    dispatching.app.send_task("studio.clips.tasks.sweep", queue="sweep")


def wait_until_done(*clips: Clip, within_s: float = RECOVERY_S) -> None:
    """Both stages of each clip are done, once, and every file is as its row says."""
    until(lambda: all(states(clip) == Stage.DONE for clip in clips), within_s, "heard, playable")
    for clip in clips:
        assert Listening.objects.filter(clip=clip).count() == 1
    report = verify()
    assert report.faults == []
    # What a killed worker left on the bench goes with the next sweep.
    assert [name for name in report.orphans if not name.startswith(".bench/")] == []


def left_on_the_bench() -> list[str]:
    return [str(path) for path in settings.MEDIA_ROOT.glob(".bench/**/*") if path.is_file()]


def let_minutes_pass() -> None:
    """Every lease has run out, and what waits has waited for long."""
    let_minutes_pass_for_what_waits()
    working = Stage.objects.filter(state=Stage.State.WORKING)
    working.update(lease_until=timezone.now() - MINUTES)


def let_minutes_pass_for_what_waits() -> None:
    ago = timezone.now() - MINUTES
    Stage.objects.filter(state=Stage.State.WAITING).update(changed_at=ago)
    Stage.objects.filter(dispatched_at__isnull=False).update(dispatched_at=ago)
