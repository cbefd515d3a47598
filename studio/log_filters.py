"""Which records are logged: no probe, no way through the code for a refusal, an outage once."""

import logging
import threading
import time

from django.db.utils import InterfaceError, OperationalError

OURS_FROM = 500  # HTTP statuses from here on are faults of ours
SAME_OUTAGE_S = 60.0  # a failure so long after the one before is told as a new one

log = logging.getLogger(__name__)


QUIET = ("/health", "/ready", "/metrics")  # asked every few seconds; they log what is news


def is_no_probe(record: logging.LogRecord) -> bool:
    """Whether a line is about more than a probe that was answered with a status."""
    return getattr(getattr(record, "request", None), "path", None) not in QUIET


def refusal_in_one_line(record: logging.LogRecord) -> bool:
    """A request that was refused (no consent, not there) is no fault: where is said, and no more.

    Without this Django adds the way through the code, which reads like one.
    """
    if getattr(record, "status_code", OURS_FROM) < OURS_FROM:
        record.exc_info = None
    return True


class Outage:
    """The database is away: the first failure is a line, those after it are counted."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._began: float | None = None
        self._last = 0.0
        self._kept_back = 0

    def tells(self, record: logging.LogRecord) -> bool:
        """Whether the record is to be written; one about an outage is shortened."""
        error = record.exc_info[1] if isinstance(record.exc_info, tuple) else None
        if not _is_away(error):
            return True
        with self._lock:
            now = time.monotonic()
            is_first = self._began is None or now - self._last > SAME_OUTAGE_S
            self._began = now if is_first else self._began
            self._kept_back = 0 if is_first else self._kept_back + 1
            self._last = now
        why = " ".join(str(error).split())[:200]
        record.msg, record.args = f"the database does not answer: {why}", ()
        record.exc_info = record.exc_text = None
        return is_first

    def over(self, **_said: object) -> None:
        """Something reached the database again."""
        with self._lock:
            began, self._began = self._began, None
        if began is not None:
            after_s = time.monotonic() - began
            log.warning(
                "the database answers again, after %.0f s; %d more failures are not listed",
                after_s,
                self._kept_back,
            )


def _is_away(error: BaseException | None) -> bool:
    """Not what is wrong with a question, which SQLite reports by the same class."""
    return isinstance(error, OperationalError | InterfaceError) and "no such" not in str(error)


outage = Outage()
