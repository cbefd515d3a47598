"""Who may read what the studio keeps: its own user, and of recordings nginx where that sends them.

With ``MEDIA_BY_NGINX`` the media folder belongs to nginx's group, which may read there and pass
through the data folder; everything else is the studio's user's alone.
"""

import os
import stat
from pathlib import Path

NOT_OTHERS = stat.S_IRWXO
NOT_GROUP_OR_OTHERS = stat.S_IRWXG | stat.S_IRWXO
NOT_WRITTEN_BY_GROUP = stat.S_IWGRP | NOT_OTHERS


def mask(media_by_nginx: bool) -> int:
    """What a process leaves out of the permissions of the files that it makes (umask)."""
    return NOT_WRITTEN_BY_GROUP if media_by_nginx else NOT_GROUP_OR_OTHERS


def put_right(data: Path, database: Path | None, media_by_nginx: bool) -> int:
    """Mend the permissions of what is there already; of how many files and folders.

    Recordings of nginx's group that were kept before it sent them become readable to it.
    ``database`` is an SQLite file, which may lie outside the data folder.
    """
    media = data / "media"
    changed = _close(data, NOT_OTHERS | stat.S_IRGRP | stat.S_IWGRP)
    for part in data.iterdir():
        away = NOT_WRITTEN_BY_GROUP if media_by_nginx and part == media else NOT_GROUP_OR_OTHERS
        changed += sum(_close(path, away) for path in _below(part))
    if media_by_nginx:
        changed += sum(_open_to_group(path, media.stat().st_gid) for path in _below(media))
    else:
        changed += _close(data, NOT_GROUP_OR_OTHERS)
    if database is not None:
        beside = [database.with_name(database.name + end) for end in ("", "-wal", "-shm")]
        changed += sum(_close(path, NOT_GROUP_OR_OTHERS) for path in beside)
    return changed


def _below(part: Path):
    yield part
    if part.is_dir() and not part.is_symlink():
        yield from part.rglob("*")


def _close(path: Path, away: int) -> bool:
    """Take permissions away; whether there were any. What is another user's is not ours to change.

    A folder of a group that this user is not in would lose its set-group-ID bit, and with it
    new recordings their group: the bits that stay are those that its parent does not open.
    """
    try:
        found = path.lstat()
        if stat.S_ISLNK(found.st_mode) or not found.st_mode & away:
            return False
        if _would_lose_its_group(found):
            return False
        path.chmod(stat.S_IMODE(found.st_mode) & ~away)
    except (FileNotFoundError, PermissionError):
        return False
    return True


def _open_to_group(path: Path, group: int) -> bool:
    try:
        found = path.lstat()
        wanted = 0o2050 if stat.S_ISDIR(found.st_mode) else 0o040
        if stat.S_ISLNK(found.st_mode) or found.st_gid != group:
            return False
        if found.st_mode & wanted == wanted:
            return False
        path.chmod(stat.S_IMODE(found.st_mode) | wanted)
    except (FileNotFoundError, PermissionError):
        return False
    return True


def _would_lose_its_group(found: os.stat_result) -> bool:
    keeps = os.geteuid() == 0 or found.st_gid in {os.getegid(), *os.getgroups()}
    return bool(found.st_mode & stat.S_ISGID) and stat.S_ISDIR(found.st_mode) and not keeps
