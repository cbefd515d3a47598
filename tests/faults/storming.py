"""A running studio, clips that keep coming, and processes killed at random, seeded moments.

Every clip has a double stop of its own, twelve cents above that of the clip before: what was
heard in a clip must be what was sent in it. Nothing is pretended but one thing, and only when
``hurry`` asks for it: the minute until the lease of a killed worker has run out.
"""

import contextlib
import hashlib
import itertools
import os
import random
import statistics
import subprocess
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import psutil
from django.conf import settings
from django.db import connections
from django.utils import timezone

from studio.clips.models import Clip, Listening, Rendition, Stage
from studio.clips.stages import MAX_ATTEMPTS
from studio.clips.upkeep.sweeping import sweep_orphans
from studio.clips.upkeep.verifying import verify
from studio.media.tools import find_ffmpeg
from tests.cast import make_cast
from tests.deploy.processes import command_of, running, until
from tests.intonation import synth
from tests.live import LiveStudio, live_studio
from tests.visitors import Visitor

STROKES_S = ((0.3, 2.8), (3.2, 5.7))  # of each clip's double stop
LENGTH_S = 6.2
LOWEST_HZ, APART_CENTS, NEAR_CENTS = 220.0, 12.0, 5.0
BUSY_S = 60.0  # how long a kill waits for its victim to have work, while there is any left
DOWN_S = 3.0  # how long a killed queue is away
TAIL_S = 240.0  # after the last clip was sent
# Of 28 kills (for 100 clips): each kind at least once.
SHARES = {"pool process": 10, "worker": 6, "decoder": 8, "periodic": 2, "queue": 2}
QUEUES = {
    "listening": (Stage.Kind.LISTENING,),
    "pictures": (Stage.Kind.SMALL, Stage.Kind.PLAYBACK),
}

Hit = tuple[object, str, int]  # clip, kind of stage, attempt


@dataclass
class Kill:
    """One kill: when it is due (seconds from the first clip), of what, and what it hit."""

    due_s: float
    victim: str
    queue: str
    delay_s: float
    at: datetime | None = None
    hit: Hit | None = None


@dataclass
class Storm:
    """A storm on one running studio: a clip every ``every_s``. ``break_queue`` harms the queue."""

    studio: LiveStudio
    clips: int
    seed: int
    every_s: float
    break_queue: Callable[[], None]
    hurry: bool = False
    kills: list[Kill] = field(default_factory=list)
    refused: Counter = field(default_factory=Counter)

    def rage(self, folder: Path) -> dict:
        """Send and kill; wait until everything is done; say what became of it."""
        cast, begun = make_cast(), time.monotonic()
        pupils = [Visitor(self.studio.url, who) for who in (cast.pupil, cast.other_pupil)]
        sender = threading.Thread(target=self._send_all, args=(pupils, folder, begun))
        sender.start()
        self.kills = plan(self.clips, self.seed, self.clips * self.every_s)
        for kill in self.kills:
            self._wait(begun + kill.due_s)
            self._strike(kill)
        sender.join()
        with contextlib.suppress(AssertionError):  # what is not done then is counted as lost
            until(self._all_done, TAIL_S, "every clip is heard and playable")
        return self._figures(Visitor(self.studio.url, cast.teacher)) | {
            "seconds": round(time.monotonic() - begun, 1)
        }

    # -- sending -----------------------------------------------------------------------

    def _send_all(self, pupils: list[Visitor], folder: Path, begun: float) -> None:
        try:
            for number in range(self.clips):
                content = recording(number, folder).read_bytes()
                self._wait(begun + number * self.every_s)
                self._send(pupils[number % len(pupils)], number, content)
        finally:
            connections.close_all()

    def _send(self, pupil: Visitor, number: int, content: bytes) -> None:
        """Send a clip; one that was not taken is sent again with the same key."""
        for _ in range(5):
            key = f"storm-{self.seed}-{number}"
            status = pupil.send_clip(content, "take.mp4", title=f"take {number}", upload_key=key)
            if status == 302:
                return
            self.refused[status] += 1
            time.sleep(1.0)

    # -- killing -----------------------------------------------------------------------

    def _strike(self, kill: Kill) -> None:
        if kill.victim == "queue":  # at its worst: a message is in hand, and cannot be acknowledged
            self._await(lambda: self._at_work(kill))
            kill.at = timezone.now()
            self.break_queue()
        elif kill.victim == "periodic":
            kill.at = timezone.now()
            self._kill([p for p in self.studio.supervisor.children() if "beat" in p.cmdline()])
        else:
            self._strike_work(kill)

    def _strike_work(self, kill: Kill) -> None:
        """Kill a worker, its pool process or its decoder while it has work, if it gets any."""
        self._await(lambda: self._finds(kill))
        if kill.victim != "decoder":  # which lives too shortly to wait
            time.sleep(kill.delay_s)
        kill.at = timezone.now()
        self._kill(self._victims(kill))
        if kill.hit and self.hurry:
            self._let_a_minute_pass(kill.hit)

    def _finds(self, kill: Kill) -> bool:
        """Note the stage that the victim has in hand; whether there is one, and a victim."""
        kill.hit = self._at_work(kill)
        return bool(kill.hit and self._victims(kill))

    def _await(self, true: Callable[[], object]) -> None:
        """Wait until it is true; not for long, and not once every clip is done."""
        end = time.monotonic() + BUSY_S
        for turn in itertools.count():
            if true() or time.monotonic() > end or (turn % 50 == 49 and self._all_done()):
                return
            time.sleep(0.02)

    def _victims(self, kill: Kill) -> list[psutil.Process]:
        try:
            worker = self.studio.worker(kill.queue)
            if kill.victim == "worker":
                return [worker]
            if kill.victim == "pool process":
                return worker.children()
            return [p for p in worker.children(recursive=True) if p.name().startswith("ff")]
        except (StopIteration, psutil.NoSuchProcess):  # it is being started again just now
            return []

    def _kill(self, processes: list[psutil.Process]) -> None:
        for process in processes:
            with contextlib.suppress(psutil.NoSuchProcess):
                process.kill()
        until(lambda: not running(processes), 10, "what was killed has ended")

    def _at_work(self, kill: Kill) -> Hit | None:
        """The stage that worker has in hand. A third kill rightly fails a stage: spare it."""
        working = Stage.objects.filter(
            kind__in=QUEUES[kill.queue], state=Stage.State.WORKING, attempt__lt=MAX_ATTEMPTS
        ).order_by("-changed_at")
        hits = {other.hit for other in self.kills if other is not kill}
        found = [(stage.clip_id, stage.kind, stage.attempt) for stage in working]
        return next((one for one in found if one not in hits), None)

    def _let_a_minute_pass(self, hit: Hit) -> None:
        time.sleep(1.0)  # a worker whose decoder was killed takes a moment to say so
        clip_id, kind, attempt = hit
        stage = Stage.objects.filter(clip_id=clip_id, kind=kind, attempt=attempt)
        ago = timezone.now() - timedelta(minutes=2)
        stage.filter(state=Stage.State.WORKING).update(lease_until=ago)
        stage.filter(state=Stage.State.WAITING).update(changed_at=ago)

    # -- what became of it -------------------------------------------------------------

    def _all_done(self) -> bool:
        connections.close_all()
        return _finished() == self.clips

    def _figures(self, teacher: Visitor) -> dict:
        recovered = self._recoveries()
        waits = [
            (stage.changed_at - stage.clip.created_at).total_seconds()
            for stage in Stage.objects.select_related("clip")
        ]
        return {
            "clips": self.clips,
            "seed": self.seed,
            "kills": dict(Counter(kill.victim for kill in self.kills)),
            "kills_that_cut_work_off": len(recovered),
            "recovery_s": spread([seconds for _, seconds in recovered]),
            "recovered": [f"{kill.victim}, {kill.queue}: {s:.0f} s" for kill, s in recovered],
            "sent_to_done_s": spread(waits),
            "sent_again": dict(self.refused),
            **outcome(self.clips, teacher),
        }

    def _recoveries(self) -> list[tuple[Kill, float]]:
        """Each kill that cut a stage off, with the seconds until that stage was published.

        A stage that was cut off twice counts from the second time, and once.
        """
        by_stage: dict[tuple, tuple[Kill, float]] = {}
        for kill in self.kills:
            if kill.hit:
                clip_id, kind, attempt = kill.hit
                stage = Stage.objects.get(clip_id=clip_id, kind=kind)
                if stage.attempt > attempt and stage.is_done:
                    by_stage[clip_id, kind] = kill, (stage.changed_at - kill.at).total_seconds()
        return list(by_stage.values())

    @staticmethod
    def _wait(moment: float) -> None:
        time.sleep(max(0.0, moment - time.monotonic()))


def plan(clips: int, seed: int, length_s: float) -> list[Kill]:
    """When what is killed: at random while clips come, each kind of victim at least once."""
    rng = random.Random(seed)
    wanted = max(len(SHARES), round(0.28 * clips))
    victims = list(SHARES)
    victims += rng.choices(victims, list(SHARES.values()), k=wanted - len(victims))
    rng.shuffle(victims)
    times = sorted(rng.uniform(0.05 * length_s, 0.95 * length_s) for _ in victims)
    return [
        Kill(due_s, victim, rng.choice(list(QUEUES)), rng.uniform(0.0, 0.4))
        for due_s, victim in zip(times, victims, strict=True)
    ]


def low_hz(number: int) -> float:
    """The lower note of a clip's double stop, a fifth with the upper one."""
    return LOWEST_HZ * 2.0 ** (number * APART_CENTS / 1200.0)


def recording(number: int, folder: Path) -> Path:
    """A film of one double stop."""
    rng = np.random.default_rng(number)
    pitches = (low_hz(number), 1.5 * low_hz(number))
    notes = [synth.Note(*stroke, hz) for stroke in STROKES_S for hz in pitches]
    y = synth.mix(rng, notes, tail_s=LENGTH_S - STROKES_S[-1][1])
    y = synth.with_noise(rng, 0.3 * y / np.max(np.abs(y)), 40.0)
    target = folder / f"{number}.mp4"
    film = ("-f", "lavfi", "-i", f"testsrc2=size=160x120:rate=10:duration={LENGTH_S}")
    sound = ("-f", "f32le", "-ar", str(synth.SR), "-ac", "1", "-i", "pipe:0")
    coded = ("-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-c:a", "aac")
    subprocess.run(
        [find_ffmpeg(), "-v", "error", "-y", *film, *sound, *coded, target],
        input=y.astype("<f4").tobytes(),
        check=True,
    )
    return target


def outcome(clips: int, teacher: Visitor) -> dict:
    """What the rows, and the studio itself, say of every clip."""
    lost = clips - _finished()
    heard = Counter(Listening.objects.values_list("clip_id", flat=True))
    made = Counter(Rendition.objects.values_list("clip_id", "kind"))
    doubled = sum(n > 1 for n in [*heard.values(), *made.values()])
    wrong = [
        listening.clip.title
        for listening in Listening.objects.select_related("clip")
        if not _hears_its_own(listening)
    ]
    unplayable = [r.clip.title for r in _playable() if not _plays(teacher, r)]
    return {
        "lost": lost,
        "doubled": doubled + max(0, Clip.objects.count() - clips),
        "failed": Stage.objects.filter(state=Stage.State.FAILED).count(),
        "heard_wrong": wrong,
        "unplayable": unplayable,
    }


def _finished() -> int:
    """Clips with both stages done, a listening, and one rendition of each kind."""
    done = Stage.objects.filter(state__in=Stage.DONE.values()).values_list("clip_id", flat=True)
    heard = set(Listening.objects.values_list("clip_id", flat=True))
    made = Counter(Rendition.objects.values_list("clip_id", flat=True))
    return sum(
        stages == len(Stage.Kind) and clip in heard and made[clip] == len(Rendition.Kind)
        for clip, stages in Counter(done).items()
    )


def _playable():
    return Rendition.objects.filter(kind=Rendition.Kind.PLAYABLE).select_related("clip")


def _hears_its_own(listening: Listening) -> bool:
    expected = low_hz(int(listening.clip.title.removeprefix("take ")))
    events = listening.measurement["events"]
    lows = [event["voices"][0]["f0_hz"] for event in events if event["kind"] == "double_stop"]
    return any(abs(1200 * np.log2(low / expected)) < NEAR_CENTS for low in lows)


def _plays(teacher: Visitor, rendition: Rendition) -> bool:
    status, content = teacher.get(f"/clips/{rendition.clip_id}/media/")
    return status == 200 and hashlib.sha256(content).hexdigest() == rendition.sha256


def spread(seconds: list[float]) -> dict:
    """Median, 95th percentile and largest, in seconds."""
    if not seconds:
        return {"n": 0}
    return {
        "n": len(seconds),
        "median": round(statistics.median(seconds), 1),
        "p95": round(float(np.percentile(seconds, 95)), 1),
        "max": round(max(seconds), 1),
    }


def left_behind(folder: Path) -> dict:
    """What is left in the stores and among the processes of a studio that has ended."""
    swept = sweep_orphans()  # what the periodic process asks for every hour
    report = verify()
    places = (settings.MEDIA_ROOT / ".bench", settings.FILE_UPLOAD_TEMP_DIR)
    half_made = [path for place in places for path in Path(place).rglob("*") if path.is_file()]
    return {
        "files": report.files,
        "files_wrong": report.faults,
        "files_without_a_row": [name for name in report.orphans if ".bench/" not in name],
        "half_made_files": [str(path) for path in half_made],
        "removed_by_the_last_sweep": len(swept),
        "processes_left": [command_of(process) for process in _processes_of(folder)],
    }


def _processes_of(folder: Path) -> list[psutil.Process]:
    """Processes other than this one that work on the data folder or name it."""
    found = [process for process in psutil.process_iter() if process.pid != os.getpid()]
    return [process for process in running(found) if _names(process, str(folder))]


def _names(process: psutil.Process, folder: str) -> bool:
    try:
        data = process.environ().get("STUDIO_DATA")
    except psutil.Error:  # it has just ended, or is another user's
        data = None
    return data == folder or folder in command_of(process)


def storm_on(
    folder: Path,
    clips: int,
    seed: int,
    every_s: float,
    break_queue: Callable[[], None],
    hurry: bool,
    **variables: str,
) -> dict:
    """Start a studio in the settings' data folder, let a storm rage on it, stop it, look."""
    scratch = folder / "recordings"
    scratch.mkdir()
    with live_studio(folder, **variables) as studio:
        figures = Storm(studio, clips, seed, every_s, break_queue, hurry).rage(scratch)
    connections.close_all()
    return figures | left_behind(settings.STUDIO_DATA)
