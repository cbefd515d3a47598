"""An erasure whose worker is killed in the middle: another one goes on, and nothing is left.

Real processes on PostgreSQL and Redis. Their log is read too: it names nobody.
"""

import time
import urllib.request
from collections.abc import Iterator

import psycopg
import pytest
from django.conf import settings
from django.utils import timezone

from studio import postgres
from studio.accounts.models import Person
from studio.clips.models import Clip, Original
from studio.clips.storage import spool
from studio.clips.storage.stores import store
from studio.rights.erasure import requests
from studio.rights.models import ErasureJob
from tests import production
from tests.cast import as_person, make_cast, make_clip, make_return
from tests.deploy.processes import running, until
from tests.faults.at_work import MINUTES, sweep_now
from tests.live import LiveStudio, live_studio

pytestmark = pytest.mark.worker
MANY = 6


@pytest.fixture
def live(postgres, redis_server, tmp_path, django_db_blocker) -> Iterator[LiveStudio]:
    ground = production.Ground(tmp_path / "data", postgres.create("erased"), redis_server.url)
    with (
        django_db_blocker.unblock(),
        production.on_production_ground(ground),
        live_studio(tmp_path, **ground.variables) as studio,
    ):
        yield studio


def with_recording(clip: Clip) -> None:
    kept = spool.keep(
        spool.spool([b"a recording of " + clip.pk.bytes], 1000),
        f"{spool.clip_folder(clip.pk)}/original",
    )
    said = {"path": kept.path, "sha256": kept.sha256, "size_bytes": kept.size_bytes}
    Original.objects.create(clip=clip, filename="clip.mp4", **said)


def read(url: str, person) -> None:
    cookie = as_person(person).cookies["session"].value
    request = urllib.request.Request(url, headers={"Cookie": f"session={cookie}"})
    with urllib.request.urlopen(request, timeout=30) as answer:
        answer.read()


@pytest.mark.fault(
    1, "a worker is killed in the middle of an erasure", "another one goes on, nothing is left"
)
def test_another_worker_goes_on_and_the_log_names_nobody(live, seen):
    cast = make_cast()
    clips = [make_clip(cast.enrolment, f"Take {number}") for number in range(MANY)]
    for clip in clips:
        with_recording(clip)
        make_return(clip)
    for who, path in ((cast.guardian, "/rights/"), (cast.teacher, "/pupils/")):
        read(live.url + path, who)
    names = (cast.pupil.name, cast.pupil.email, cast.guardian.email, cast.teacher.name)
    with psycopg.connect(postgres.address(), password=postgres.password()) as holder:
        last = Clip.objects.order_by("-created_at").last()  # the job takes the newest first
        holder.execute("SELECT 1 FROM review_review WHERE clip_id = %s FOR UPDATE", [last.pk])
        job = requests.erase_lessons(cast.pupil, cast.studio, cast.guardian)
        until(lambda: Clip.objects.count() == 1, 60, "all clips but the one that is held are gone")
        pools = [
            one for queue in ("listening", "pictures") for one in live.worker(queue).children()
        ]
        for process in pools:
            process.kill()
        until(lambda: not running(pools), 10, "they have ended")
    ErasureJob.objects.filter(pk=job.pk).update(lease_until=timezone.now() - MINUTES)
    sweep_now()
    begun = time.monotonic()
    until(lambda: ErasureJob.objects.get(pk=job.pk).ended_at, 60, "it is erased")
    assert not Clip.objects.exists()
    assert not Person.objects.filter(pk=cast.pupil.pk).exists()
    assert list(store().entries("clips")) == []
    assert ErasureJob.objects.get(pk=job.pk).worker_deaths == 1
    assert [name for name in names if name in live.log] == []
    assert not list((settings.STUDIO_DATA / "parked").glob("*"))
    seen(
        f"gone on with {time.monotonic() - begun:.1f} s after the sweep; no clip, row or file left"
    )
