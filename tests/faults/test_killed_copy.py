"""A large copy by a real worker: little memory, and one whole file though the worker is killed."""

import os
import re
import signal
import zipfile
from pathlib import Path

import psutil
import pytest
from django.utils import timezone

from studio.clips.models import Original
from studio.clips.storage.stores import FolderStore
from studio.clips.storage.work_folders import PREFIX
from studio.figures import MB
from studio.rights import access
from studio.rights.copies import services, work
from studio.rights.models import Copy
from tests.cast import Cast, make_cast, make_clip
from tests.deploy.processes import running, until
from tests.live import live_studio

pytestmark = [pytest.mark.worker, pytest.mark.django_db(transaction=True)]

LARGE, VERY_LARGE = 300 * MB, 2000 * MB
MOST_GROWTH_MB = 40  # of the worker's highest memory by the large one
WAIT_S = 120


def clip_of(cast: Cast, size_bytes: int) -> None:
    """A clip whose original is so large, and takes no room: the file is a hole, lseek(2)."""
    name = f"clips/large-{size_bytes}"
    path = FolderStore().path(name)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.truncate(size_bytes)
    said = {"path": name, "sha256": "0" * 64, "size_bytes": size_bytes, "filename": "large.mov"}
    Original.objects.create(clip=make_clip(cast.enrolment, "Large"), **said)


def begin(scope: access.Scope, cast: Cast) -> Copy:
    return services.begin(scope, cast.guardian)


def ready(copy: Copy) -> Copy:
    def is_ready() -> bool:
        copy.refresh_from_db()
        assert copy.state in ("waiting", "working", "ready"), copy.failure_detail
        return copy.state == "ready"

    until(is_ready, WAIT_S, "the copy is ready")
    return copy


def highest_mb(worker: psutil.Process) -> float:
    """The high-water mark of the worker's processes, proc(5)."""
    marks = [
        re.search(r"VmHWM:\s+(\d+) kB", Path(f"/proc/{one.pid}/status").read_text())
        for one in (worker, *worker.children(recursive=True))
    ]
    return max(int(mark[1]) for mark in marks if mark) / 1000


def bench() -> list[Path]:
    return list(FolderStore().bench().glob(f"{PREFIX}*/*.zip"))


@pytest.mark.fault(
    2, "the worker killed while it makes a copy of 2 GB", "swept, one whole copy, nothing half made"
)
def test_one_whole_copy_with_little_memory_and_through_a_kill(tmp_path, seen):
    cast = make_cast()
    lessons = access.lessons_for(cast.guardian, cast.enrolment.pk)
    with live_studio(tmp_path) as studio:
        ready(begin(access.account_of(cast.guardian), cast))  # everything is loaded by now
        before = highest_mb(studio.worker("pictures"))
        clip_of(cast, LARGE)
        copy = ready(begin(lessons, cast))
        grown = highest_mb(studio.worker("pictures")) - before
        assert copy.size_bytes > LARGE
        assert grown < MOST_GROWTH_MB
        copy.delete()

        clip_of(cast, VERY_LARGE)
        copy = begin(lessons, cast)
        until(lambda: any(path.stat().st_size > LARGE for path in bench()), 60, "it is under way")
        worker = studio.worker("pictures")
        family = [worker, *worker.children(recursive=True)]
        os.kill(worker.pid, signal.SIGKILL)
        until(lambda: not running(family), 10, "it ended, and all that it had started")
        copy.refresh_from_db()
        assert copy.state == "working", "nobody else may have taken it"
        Copy.objects.filter(pk=copy.pk).update(lease_until=timezone.now())
        ready(copy)
        assert (copy.attempt, copy.worker_deaths) == (1, 1)
        until(lambda: bench() == [], 60, "what was half made is gone")
        seen(f"{grown:.0f} MB more memory for 300 MB; 2 GB copied at the same attempt")
    at_rest = {one.name for one in FolderStore().entries(work.FOLDER)}
    assert at_rest == set(Copy.objects.values_list("path", flat=True)), "nothing half made"
    with zipfile.ZipFile(FolderStore().path(copy.path)) as file:
        assert file.testzip() is None
        assert max(one.file_size for one in file.infolist()) == VERY_LARGE
    copy.delete()
