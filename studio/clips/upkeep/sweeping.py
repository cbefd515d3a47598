"""Removing left-overs: files that no row names, a day after they were last written.

A day is longer than any upload or any piece of work, so that nothing under way is touched.
"""

import time
from pathlib import Path

from django.conf import settings

from .verifying import named_files, orphans

ORPHAN_AGE_S = 24 * 3600.0


def sweep_orphans(older_than_s: float = ORPHAN_AGE_S) -> list[Path]:
    """Remove left-overs and the folders that they leave empty; say which files went."""
    before = time.time() - older_than_s
    # Files first, rows second: a file that gets its row in between is then not an orphan.
    root = Path(settings.MEDIA_ROOT)
    old = {path for path in root.rglob("*") if path.is_file() and path.stat().st_mtime < before}
    known = {named.path for named in named_files()}
    gone = [path for path in orphans(known) if path in old]
    for path in gone:
        path.unlink(missing_ok=True)
        _remove_empty(path.parent, root)
    return gone


def _remove_empty(folder: Path, root: Path) -> None:
    while folder != root:
        try:
            folder.rmdir()
        except OSError:  # not empty, or gone already
            return
        folder = folder.parent
