"""A recording that takes its worker along, each time that it is opened."""

import re
import struct
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.utils import timezone

from studio.clips import services
from studio.clips.models import Clip, Listening, Stage
from studio.jobs import leases
from tests.cast import as_person, make_cast
from tests.deploy.processes import started, until
from tests.faults.at_work import SAMPLE, let_minutes_pass_for_what_waits, listening, sweep_now

pytestmark = [pytest.mark.worker, pytest.mark.django_db(transaction=True)]

POISON = b"kill whoever opens this"
# Stands in for ffmpeg. A real one is no way to kill a worker; this is what it would be like.
DECODER = f"""#!/bin/sh
for argument; do
  if [ -f "$argument" ] && grep -aq "{POISON.decode()}" "$argument"; then kill -KILL $PPID; fi
done
exit 1
"""


@pytest.fixture
def decoder(tmp_path):
    path = tmp_path / "decoder"
    path.write_text(DECODER)
    path.chmod(0o755)
    return path


def poisoned() -> bytes:
    """A real recording with the word in a box that every reader skips (ISO 14496-12, free)."""
    return SAMPLE.read_bytes() + struct.pack(">I4s", 8 + len(POISON), b"free") + POISON


def deaths(log: Path) -> int:
    """How many pool processes the worker has seen killed; it names each by its process id."""
    return len(set(re.findall(r"pid:(\d+) exited with 'signal 9", log.read_text())))


def died(clip: Clip, deaths_before: int) -> Stage | None:
    """The stage at its first attempt, once the lease's time has been made to pass."""
    stage = listening(clip)
    if (stage.state, stage.worker_deaths) != (Stage.State.WORKING, deaths_before):
        return None
    Stage.objects.filter(pk=stage.pk).update(lease_until=timezone.now())
    return stage


def failed_alone(clip: Clip, attempt: int) -> bool:
    stage = listening(clip)
    return (stage.state, stage.attempt, stage.failure_code) == ("waiting", attempt, "killed")


@pytest.mark.fault(
    38,
    "a poison file that kills every worker",
    "after two workers it is opened alone, three times; then parked, and both are told",
)
def test_a_file_that_kills_every_worker_is_opened_alone_and_then_parked(decoder, tmp_path, seen):
    cast = make_cast()
    command = [sys.executable, "-m", "celery", "-A", "studio.celery", "worker", "-Q"]
    command += ["listening,sweep", "--concurrency=1", "--without-mingle", "--without-gossip"]
    clip = services.receive(cast.enrolment, cast.pupil, [poisoned()], SAMPLE.name)
    log, variables = tmp_path / "log", {"FFMPEG": str(decoder), "MEDIA_SANDBOX": "off"}
    database = "sqlite:///" + str(settings.DATABASES["default"]["NAME"])
    with started(command, log, DATABASE_URL=database, **variables):
        for number in range(leases.ALONE_AFTER):
            until(lambda n=number: deaths(log) == n + 1, 90, f"death {number + 1} of a worker")
            until(lambda n=number: died(clip, n), 10, f"after {number} deaths")
            let_minutes_pass_for_what_waits()
            sweep_now()
        for attempt in (1, 2):
            until(lambda n=attempt: failed_alone(clip, n), 90, f"failed alone, attempt {attempt}")
            let_minutes_pass_for_what_waits()
            sweep_now()
        until(lambda: listening(clip).state == Stage.State.PARKED, 90, "parked")
        stage = listening(clip)
        assert (stage.attempt, stage.worker_deaths, stage.failure_code) == (3, 2, "killed")
        assert deaths(log) == leases.ALONE_AFTER, "no worker died once it was opened alone"
    for who in (cast.teacher, cast.pupil):
        page = as_person(who).get(f"/clips/{clip.pk}/").text
        assert "whoever looks after the server has been asked to look at it" in page
    assert Clip.objects.get().intake == Clip.Intake.RECEIVED
    assert not Listening.objects.filter(clip=clip).exists()
    seen("2 workers died of it, then 3 processes of its own and no worker; parked, both are told")
