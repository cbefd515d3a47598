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


def died(clip: Clip, attempt: int) -> Stage | None:
    """The stage at its attempt, once the lease's minute has been made to pass."""
    stage = listening(clip)
    if (stage.state, stage.attempt) != (Stage.State.WORKING, attempt):
        return None
    Stage.objects.filter(pk=stage.pk).update(lease_until=timezone.now())
    return stage


@pytest.mark.fault(
    38, "a poison file that kills every worker", "3 attempts, then failed, and the teacher sees it"
)
def test_a_file_that_kills_every_worker_fails_after_three_attempts(decoder, tmp_path, seen):
    cast = make_cast()
    command = [sys.executable, "-m", "celery", "-A", "studio.celery", "worker", "-Q"]
    command += ["listening,sweep", "--concurrency=1", "--without-mingle", "--without-gossip"]
    clip = services.receive(cast.enrolment, cast.pupil, [poisoned()], SAMPLE.name)
    log, variables = tmp_path / "log", {"FFMPEG": str(decoder), "MEDIA_SANDBOX": "off"}
    database = "sqlite:///" + str(settings.DATABASES["default"]["NAME"])
    with started(command, log, DATABASE_URL=database, **variables):
        for attempt in (1, 2, 3):
            until(lambda n=attempt: deaths(log) == n, 90, f"death {attempt}")
            until(lambda n=attempt: died(clip, n), 10, f"at attempt {attempt}")
            let_minutes_pass_for_what_waits()
            sweep_now()
        until(lambda: listening(clip).state == Stage.State.FAILED, 30, "failed for good")
        assert listening(clip).attempt == 3
        assert deaths(log) == 3
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/").text
    assert "stopped unexpectedly three times" in page
    assert not Listening.objects.filter(clip=clip).exists()
    seen("3 workers died of it, no fourth was tried; failed, and the desk says so in a sentence")
