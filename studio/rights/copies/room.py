"""Whether there is room on the disk for a copy."""

import errno
import os
import shutil

from studio.clips.storage.stores import store
from studio.figures import MB
from studio.rights.access import Scope

from . import lessons

OF_RECORDS = 20 * MB  # for text, which is small beside recordings
SPARE = 500 * MB  # left for those who send clips meanwhile


def size_bytes(scope: Scope) -> int:
    """About how large a copy will be."""
    return OF_RECORDS + (lessons.size_bytes(scope) if scope.studio else 0)


def missing_bytes(scope: Scope) -> int:
    """By how much the disk is too small for it; 0 where there is room."""
    free = shutil.disk_usage(store().bench()).free
    return max(0, size_bytes(scope) + SPARE - free)


def need_room(scope: Scope) -> None:
    """OSError (ENOSPC) unless a copy fits, with something to spare."""
    if missing_bytes(scope):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
