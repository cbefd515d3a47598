"""Removing left-overs: files that no row names, a day after they were last written.

A day is longer than any upload or any piece of work, so that nothing under way is touched. What
a worker was making when it was killed goes sooner: see :mod:`studio.clips.storage.work_folders`.
"""

import time
from contextlib import suppress
from pathlib import Path

from django.conf import settings

from studio.clips.storage import spool, work_folders
from studio.clips.storage.stores import store

from .verification import is_passing, named_files

ORPHAN_AGE_S = 24 * 3600.0


def sweep_orphans(older_than_s: float = ORPHAN_AGE_S) -> list[str]:
    """Remove left-overs and the folders that they leave empty; say which files went."""
    before = time.time() - older_than_s
    # Files first, rows second: a file that gets its row in between is then not an orphan.
    at_rest = (entry for entry in store().entries() if f"/{work_folders.PREFIX}" not in entry.name)
    passing = time.time() - spool.PASSING_S
    old = [
        entry.name
        for entry in at_rest
        if entry.written_at < (passing if is_passing(entry.name) else before)
    ]
    known = {named.path for named in named_files()}
    gone = sorted(name for name in old if name not in known)
    for name in gone:
        store().delete(name)
    return gone + sweep_bench(before) + sweep_incoming(before)


def sweep_incoming(before: float) -> list[str]:
    """Remove what a form brought to a web process that was killed before it had read it all."""
    gone = []
    for path in sorted(Path(settings.FILE_UPLOAD_TEMP_DIR).glob("*.upload*")):
        with suppress(FileNotFoundError):  # its request has ended just now
            if path.stat().st_mtime < before:
                path.unlink()
                gone.append(f"{path.parent.name}/{path.name}")
    return gone


def sweep_bench(before: float) -> list[str]:
    """Remove what was being made when its process died; an object store's bench lies apart."""
    bench, gone = store().bench(), work_folders.clear_ended()
    for path in sorted(bench.rglob("*"), reverse=True):  # what is in a folder before the folder
        if path.relative_to(bench).parts[0].startswith(work_folders.PREFIX):
            continue  # its process lives
        try:
            if path.stat().st_mtime >= before:
                continue
            if path.is_dir():
                path.rmdir()
            else:
                path.unlink()
                gone.append(f"{bench.name}/{path.relative_to(bench)}")
        except OSError:  # not empty, or gone already
            continue
    return gone
