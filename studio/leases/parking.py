"""Messages that this version does not understand: kept for whoever looks after the studio.

While a studio is upgraded, workers of two versions may read one queue. A message of the other
is neither worked on nor thrown away: it becomes a file in ``STUDIO_DATA/parked``, once, however
often it comes. The row it is about still waits: the sweep sends a message of its own
version.
"""

import hashlib
import json
import logging
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings
from django.utils import timezone

from .queue import MESSAGE_VERSION

log = logging.getLogger(__name__)

MAX_CHARS = 20_000  # of one message: an id and a version need a hundred


def folder() -> Path:
    return settings.STUDIO_DATA / "parked"


def understood(task: str, said: dict, version: object, more: dict) -> bool:
    """Whether this version knows what a message means; one that it does not know is parked."""
    if version == MESSAGE_VERSION and not more:
        return True
    reason = f"its version is {version!r}; this one reads {MESSAGE_VERSION}"
    park(task, {**said, "version": version, **more}, reason)
    return False


def park(task: str, said: dict, reason: str) -> Path:
    """Keep a message: the task it asks for, what it says, and why it was not done."""
    message = {"task": task, "said": repr(said)[:MAX_CHARS]}
    text = json.dumps(message, sort_keys=True)
    path = folder() / f"{hashlib.sha256(text.encode()).hexdigest()[:16]}.json"
    log.error("a message for %s is parked in %s: %s", task, path, reason)
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_suffix(".part")
        parked_at = timezone.now().isoformat(timespec="seconds")
        beside.write_text(json.dumps({**message, "reason": reason, "parked_at": parked_at}))
        beside.replace(path)
    return path


def parked() -> Iterator[tuple[Path, dict]]:
    """Every parked message with its file, oldest first."""
    found = [(path, json.loads(path.read_text())) for path in folder().glob("*.json")]
    yield from sorted(found, key=lambda one: one[1]["parked_at"])
