"""A running studio, clips that keep coming, and processes killed at random, seeded moments.

Every clip has a double stop of its own, twelve cents above that of the clip before: what was
heard in a clip must be what was sent in it. Nothing is pretended but one thing, and only when
``hurry`` asks for it: the time until the lease of a killed worker has run out. Nothing is spared:
whoever has a stage in hand for the last time is killed like any other.
"""

import contextlib
import hashlib
import http.client
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
from studio.clips.upkeep.orphans import sweep_orphans
from studio.clips.upkeep.verification import verify
from studio.jobs import dead_letters, leases
from studio.media.tools import find_ffmpeg
from tests.cast import make_cast
from tests.deploy.processes import command_of, running, until
from tests.faults.standing_up import StandingUp
from tests.intonation import synth
from tests.visitors import Visitor

STROKES_S = ((0.3, 2.8), (3.2, 5.7))  # of each clip's double stop
LENGTH_S = 6.2
LOWEST_HZ, APART_CENTS, NEAR_CENTS = 220.0, 12.0, 5.0
# How long a kill waits for its victim to have work: in a long storm the next one is due soon.
BUSY_S, BUSY_IN_A_SHORT_ONE_S = 4.0, 60.0
TAIL_S = 540.0  # after the last clip was sent
TRIES = 120  # of sending one clip, a second or more apart
# Of 100 kills: each kind at least once, whatever the number.
SHARES = {
    "pool process": 26,
    "worker": 10,
    "decoder": 26,
    "prober": 18,
    "web": 8,
    "periodic": 4,
    "queue": 3,
    "database": 3,
    "supervisor": 2,
}
QUEUES = {
    "listening": (Stage.Kind.LISTENING, Stage.Kind.EXAMINING),
    "pictures": (Stage.Kind.SMALL, Stage.Kind.PLAYBACK),
}
MADE = set(Rendition.Kind) - {Rendition.Kind.SOUND}  # of each clip
AT_WORK = ("pool process", "worker", "decoder")

Hit = tuple[object, str, str]  # clip, kind of stage, token of the lease


@dataclass
class Kill:
    """One kill: when it is due (seconds from the first clip), of what, and what it cut off."""

    due_s: float
    victim: str
    queue: str
    delay_s: float
    at: datetime | None = None
    hit: Hit | None = None
    struck: int = 0


@dataclass
class Storm:
    """A storm on one running studio: a clip every ``every_s``, ``wanted`` kills in all.

    ``break_servers`` holds how the queue and the database are harmed, and made good again.
    """

    studio: StandingUp
    clips: int
    seed: int
    every_s: float
    wanted: int
    break_servers: dict[str, Callable[[], None]]
    hurry: bool = False
    kills: list[Kill] = field(default_factory=list)
    not_taken: Counter = field(default_factory=Counter)
    tried_again: int = 0

    def rage(self, folder: Path) -> dict:
        """Send and kill; wait until everything is done; say what became of it."""
        cast, begun = make_cast(), time.monotonic()
        pupils = [Visitor(self.studio.url, who) for who in (cast.pupil, cast.other_pupil)]
        sender = threading.Thread(target=self._send_all, args=(pupils, folder, begun))
        sender.start()
        self.kills = self._plan()
        for kill in self.kills:
            self._wait(begun + kill.due_s)
            self._strike(kill)
        killed_for_s = time.monotonic() - begun
        sender.join()
        with contextlib.suppress(AssertionError):  # what is not done then is counted as lost
            until(self._all_done, TAIL_S, "every clip is heard and playable")
        return self._figures(Visitor(self.studio.url, cast.teacher)) | {
            "killed_for_s": round(killed_for_s, 1),
            "seconds": round(time.monotonic() - begun, 1),
        }

    def _plan(self) -> list[Kill]:
        shares = dict(SHARES)
        if "database" not in self.break_servers:
            del shares["database"]
        return plan(self.wanted, self.seed, self.clips * self.every_s, shares)

    # -- sending -----------------------------------------------------------------------

    def _send_all(self, pupils: list[Visitor], folder: Path, begun: float) -> None:
        try:
            for number in range(self.clips):
                content = recording(number, folder).read_bytes()
                self._wait(begun + number * self.every_s)
                self._send(pupils[number // 2 % len(pupils)], number, content)
        finally:
            connections.close_all()

    def _send(self, pupil: Visitor, number: int, content: bytes) -> None:
        """Send a clip, by the form or in pieces; one not taken is sent again with its key."""
        key, title = f"storm-{self.seed}-{number}", f"take {number}"
        for _ in range(TRIES):
            try:
                if number % 2:
                    answer, taken = pupil.send_pieces(content, key, title), (200, 201, 202)
                else:
                    answer = pupil.send_clip(content, "take.mp4", title=title, upload_key=key)
                    taken = (302,)
            except (OSError, http.client.HTTPException) as error:
                answer, taken = type(error).__name__, ()
            if answer in taken:
                return
            self.not_taken[str(answer)] += 1
            time.sleep(1.0)

    # -- killing -----------------------------------------------------------------------

    def _strike(self, kill: Kill) -> None:
        if kill.victim in self.break_servers:
            kill.at, kill.struck = timezone.now(), 1
            self.break_servers[kill.victim]()
        elif kill.victim == "supervisor":
            kill.at, kill.struck = timezone.now(), 1
            self.studio.die_and_rise()
        elif kill.victim in AT_WORK:
            self._strike_work(kill)
        else:
            self._await(lambda: self._victims(kill))
            kill.at = timezone.now()
            self._kill(kill)

    def _strike_work(self, kill: Kill) -> None:
        """Kill a worker, its pool process or its decoder while it has work, if it gets any."""
        self._await(lambda: self._finds(kill))
        if kill.victim != "decoder":  # which lives too shortly to wait
            time.sleep(kill.delay_s)
        kill.at = timezone.now()
        self._kill(kill)
        if kill.hit and not self._was_cut_off(kill):
            kill.hit = None
        if kill.hit and self.hurry:
            self._let_time_pass(kill.hit)

    def _finds(self, kill: Kill) -> bool:
        """Note the stage that the victim has in hand; whether there is one, and a victim."""
        kill.hit = self._at_work(kill)
        return bool(kill.hit and self._victims(kill))

    def _await(self, true: Callable[[], object]) -> None:
        """Wait until it is true; not for long, and not once every clip is done."""
        end = time.monotonic() + (BUSY_IN_A_SHORT_ONE_S if self.hurry else BUSY_S)
        for turn in itertools.count():
            if true() or time.monotonic() > end or (turn % 50 == 49 and self._is_over()):
                return
            time.sleep(0.02)

    def _victims(self, kill: Kill) -> list[psutil.Process]:
        try:
            if kill.victim == "periodic":
                return [p for p in self.studio.children() if "beat" in p.cmdline()]
            if kill.victim == "prober":
                return [p for p in self.studio.family() if p.name() == "ffprobe"][:1]
            if kill.victim == "web":
                return [p for p in self.studio.children() if "gunicorn" in " ".join(p.cmdline())]
            worker = self.studio.worker(kill.queue)
            if kill.victim == "worker":
                return [worker]
            if kill.victim == "pool process":
                return worker.children()
            return [p for p in worker.children(recursive=True) if p.name() == "ffmpeg"]
        except (StopIteration, psutil.NoSuchProcess):  # it is being started again just now
            return []

    def _kill(self, kill: Kill) -> None:
        victims = self._victims(kill)
        for process in victims:
            with contextlib.suppress(psutil.NoSuchProcess):
                process.kill()
                kill.struck += 1
        until(lambda: not running(victims), 10, "what was killed has ended")

    def _at_work(self, kill: Kill) -> Hit | None:
        """The stage that worker has in hand."""
        working = Stage.objects.filter(
            kind__in=QUEUES[kill.queue], state=Stage.State.WORKING, lease_until__gt=timezone.now()
        ).order_by("-changed_at")
        found = leases.patiently(working.first)
        return (found.clip_id, found.kind, found.lease_token) if found else None

    @staticmethod
    def _was_cut_off(kill: Kill) -> bool:
        """Whether what the victim had in hand was not published in the last moment."""
        if kill.victim == "decoder":
            time.sleep(1.0)  # a worker whose decoder was killed takes a moment to say so
        if not kill.struck:
            return False
        clip_id, kind, token = kill.hit
        row = Stage.objects.filter(clip_id=clip_id, kind=kind)
        stage = leases.patiently(row.first)
        if stage is None or stage.is_done:
            return False
        return kill.victim != "decoder" or stage.lease_token != token

    @staticmethod
    def _let_time_pass(hit: Hit) -> None:
        clip_id, kind, _ = hit
        stage = Stage.objects.filter(clip_id=clip_id, kind=kind)
        ago = timezone.now() - timedelta(minutes=2)
        stage.filter(state=Stage.State.WORKING).update(lease_until=ago)
        stage.filter(state=Stage.State.WAITING).update(changed_at=ago)

    # -- what became of it -------------------------------------------------------------

    def _is_over(self) -> bool:
        return leases.patiently(_finished) == self.clips

    def _all_done(self) -> bool:
        """Whether all is done; what is parked by now is tried again, as an operator would."""
        connections.close_all()
        self.tried_again += dead_letters.try_again()
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
            "kills_that_struck": dict(Counter(k.victim for k in self.kills if k.struck)),
            "kills_that_cut_work_off": sum(kill.hit is not None for kill in self.kills),
            "recovery_s": spread([seconds for _, seconds in recovered]),
            "recovered": [f"{kill.victim}, {kill.queue}: {s:.0f} s" for kill, s in recovered],
            "sent_to_done_s": spread(waits),
            "not_taken_at_once": dict(self.not_taken),
            "deaths_of_workers_at_one_stage": max(
                Stage.objects.values_list("worker_deaths", flat=True), default=0
            ),
            "last_attempts": Stage.objects.filter(attempt=leases.MAX_ATTEMPTS).count(),
            "parked_and_tried_again": self.tried_again,
            **outcome(self.clips, teacher),
        }

    def _recoveries(self) -> list[tuple[Kill, float]]:
        """Each stage that was cut off, and the seconds from its last kill to its publishing."""
        by_stage: dict[tuple, tuple[Kill, float]] = {}
        for kill in self.kills:
            if kill.hit:
                clip_id, kind, _ = kill.hit
                stage = Stage.objects.filter(clip_id=clip_id, kind=kind).first()
                if stage is not None and stage.is_done:
                    by_stage[clip_id, kind] = kill, (stage.changed_at - kill.at).total_seconds()
        return list(by_stage.values())

    @staticmethod
    def _wait(moment: float) -> None:
        time.sleep(max(0.0, moment - time.monotonic()))


def plan(wanted: int, seed: int, length_s: float, shares: dict[str, int] = SHARES) -> list[Kill]:
    """When what is killed: at random while clips come, each kind of victim at least once."""
    rng = random.Random(seed)
    victims = list(shares)
    more = max(0, wanted - len(victims))
    victims += rng.choices(victims, list(shares.values()), k=more)
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
        "refused": Clip.objects.filter(intake=Clip.Intake.REFUSED).count(),
        "failed": Stage.objects.filter(state=Stage.State.FAILED).count(),
        "parked": Stage.objects.filter(state=Stage.State.PARKED).count(),
        "heard_wrong": wrong,
        "unplayable": unplayable,
    }


def _finished() -> int:
    """Clips with both stages done, a listening, and one rendition of each kind."""
    done = Stage.objects.filter(state__in=Stage.DONE.values()).values_list("clip_id", flat=True)
    heard = set(Listening.objects.values_list("clip_id", flat=True))
    made = Counter(Rendition.objects.values_list("clip_id", flat=True))
    return sum(
        stages == len(Stage.DONE) and clip in heard and made[clip] == len(MADE)
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
    # What the periodic process clears every hour once it is a day old: a killed web process leaves
    # the file of a form, and one whose rows it had not yet written.
    swept = sweep_orphans(older_than_s=-1.0)
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
    wanted: int,
    break_servers: dict[str, Callable[[], None]],
    hurry: bool,
    **variables: str,
) -> dict:
    """Start a studio in the settings' data folder, let a storm rage on it, stop it, look."""
    scratch = folder / "recordings"
    scratch.mkdir()
    with StandingUp(folder, variables) as studio:
        storm = Storm(studio, clips, seed, every_s, wanted, break_servers, hurry)
        figures = storm.rage(scratch)
    connections.close_all()
    return figures | left_behind(settings.STUDIO_DATA)
