"""The parts that the service needs (database, queue, store): does each answer, within a bound?

A part that hangs must not hang whoever asks: each try has a thread of its own and is waited for a
short time. While one try hangs no other is begun. What is said of a part names no address, user
or password; what exactly is wrong goes to the log, and ``python -m studio doctor`` explains it.
"""

import logging
import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

import redis
from django.conf import settings
from django.db import connection
from redis.backoff import NoBackoff
from redis.retry import Retry

from studio.clips.storage.stores import FolderStore, store

log = logging.getLogger(__name__)

BOUND_S = 2.0
FRESH_S = 1.0  # who asks more often than this gets the last answer


def try_database() -> None:
    """Ask the database for a row. Raises what the driver raises."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    finally:
        connection.close()  # this thread's own


def try_queue() -> None:
    """Open a connection to the queue. Raises OSError or RedisError."""
    if settings.CELERY_BROKER_URL.startswith("filesystem:"):
        _writable(settings.CELERY_BROKER_TRANSPORT_OPTIONS["data_folder_in"])
        return
    with queue_client(settings.CELERY_BROKER_URL) as client:
        client.ping()


def queue_client(url: str) -> redis.Redis:
    """A client that waits for nothing longer than the bound, and tries once."""
    options = {"socket_connect_timeout": BOUND_S, "socket_timeout": BOUND_S}
    path, _, number = url.removeprefix("redis+socket://").partition("?virtual_host=")
    if url.startswith("redis+socket://"):
        url = f"unix://{path}?db={number or 0}"
    return redis.Redis.from_url(url, retry=Retry(NoBackoff(), 0), **options)


def try_store() -> None:
    """See that files can be kept. Raises OSError, or what the object store's client raises."""
    place = store()
    if isinstance(place, FolderStore):
        _writable(place.root)
        return
    bucket = place.storage.bucket_name
    place.storage.connection.meta.client.head_bucket(Bucket=bucket)


def _writable(folder: str | os.PathLike) -> None:
    os.stat(folder)  # noqa: PTH116 - its error names what is missing
    if not os.access(folder, os.W_OK | os.X_OK):
        raise PermissionError(13, "no permission to write", str(folder))


@dataclass(slots=True)
class Try:
    """One try of a part: ``error`` is None when it answered; ``done`` is set at its end."""

    done: threading.Event
    error: Exception | None = None
    ended: float = 0.0

    @property
    def is_fresh(self) -> bool:
        """Under way, or ended so lately that its answer still holds."""
        return not self.done.is_set() or time.monotonic() < self.ended + FRESH_S


class Part:
    """Something that the service needs, asked in a thread of its own, at most one at a time."""

    def __init__(self, name: str, ask: Callable[[], None]) -> None:
        self.name, self._ask = name, ask
        self._lock = threading.Lock()
        self._try: Try | None = None
        self._said: str | None = None

    def trouble(self, until: float | None = None) -> str:
        """Empty when the part answers; else what is wrong, in words that give nothing away.

        ``until`` is the monotonic time up to which it is waited for.
        """
        now = self.begin()
        until = time.monotonic() + BOUND_S if until is None else until
        in_time = now.done.wait(max(0.0, until - time.monotonic()))
        said = "" if in_time and now.error is None else "does not answer"
        if in_time and now.error is not None:
            said = "cannot be used"
        self._log_news(said, now.error)
        return said

    def begin(self) -> Try:
        """The try that is under way, the last one while it is fresh, or a new one."""
        with self._lock:
            last = self._try
            if last is not None and last.is_fresh:
                return last
            self._try = Try(threading.Event())
            threading.Thread(target=self._run, args=(self._try,), daemon=True).start()
            return self._try

    def _run(self, one: Try) -> None:
        try:
            self._ask()
        except Exception as error:
            one.error = error
        finally:
            one.ended = time.monotonic()
            one.done.set()

    def _log_news(self, said: str, error: Exception | None) -> None:
        """Once a change, for this process."""
        with self._lock:
            before, self._said = self._said, said
        if said and said != before:
            log.error("the %s %s (%s)", self.name, said, type(error).__name__)
        elif before and not said:
            log.info("the %s answers again", self.name)


PARTS = (Part("database", try_database), Part("queue", try_queue), Part("store", try_store))


def troubles() -> dict[str, str]:
    """Each part with what is wrong, empty where nothing is; all are asked at the same time."""
    until = time.monotonic() + BOUND_S
    for part in PARTS:
        part.begin()
    return {part.name: part.trouble(until) for part in PARTS}
