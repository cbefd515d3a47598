"""Lines of the log: what they hold, and what none may.

A line is text, or one JSON object where ``LOG_FORMAT=json``. It names numbers of rows and of
requests. No name, title, e-mail address or browser's address belongs in a message; what a library
writes of itself is cleaned here, and so are addresses of pages whose last part opens a door.
"""

import json
import logging
import re
import sys
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime

# Addresses whose last part opens a door: an invitation, a lost password, a new address; and those
# that end somebody's letters, or show her calendar.
DOORS = (
    *("invitation", "new-password/link", "new-password", "account/address"),
    *("letters/off", "letters/on", "calendar-feed"),
)
_SECRET = re.compile(rf"(/(?:{'|'.join(DOORS)})/)(?!link/|code/)[^\s\"'?#<>]+")
_EMAIL = re.compile(r"[\w.+%-]+@[\w-]+(?:\.[\w-]+)+")
_VISITOR = re.compile(r"\bip=\S+")
_CLIP = re.compile(r"\b[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}\b")

#: What the present line of work is about: ids, as strings.
_request: ContextVar[str] = ContextVar("request", default="")
_job: ContextVar[str] = ContextVar("job", default="")
_clip: ContextVar[str] = ContextVar("clip", default="")


@contextmanager
def about(*, request: str = "", job: str = "", clip: str = ""):
    """Every line that is written in the body names these."""
    given = ((_request, request), (_job, job), (_clip, clip))
    tokens = [(variable, variable.set(value)) for variable, value in given if value]
    try:
        yield
    finally:
        for variable, token in tokens:
            variable.reset(token)


def without_secrets(text: str) -> str:
    """The text with what opens a door left out of the addresses in it.

    >>> without_secrets("Not Found: /invitation/c2VjcmV0/")
    'Not Found: /invitation/***'
    """
    return _SECRET.sub(r"\1***", text)


def cleaned(text: str) -> str:
    """Without e-mail addresses, browsers' addresses, and secrets in addresses of pages."""
    text = _EMAIL.sub("(address)", without_secrets(text))
    return _VISITOR.sub("ip=…", text)


class Line(logging.Formatter):
    """Text: time, level, logger and message; what went wrong below."""

    def format(self, record: logging.LogRecord) -> str:
        return cleaned(super().format(record))


class JsonLine(logging.Formatter):
    """One JSON object a line (RFC 8259): ``time`` (RFC 3339, UTC), ``level``, ``logger``,
    ``message``; ``request``, ``job``, ``clip`` and ``exception`` where there is one."""

    def format(self, record: logging.LogRecord) -> str:
        message = cleaned(record.getMessage())
        when = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        said = {
            "time": when,
            "level": record.levelname,
            "logger": record.name,
            "message": message,
            # Django writes some lines when the middleware has ended.
            "request": _request.get() or getattr(_asked(record), "name_in_log", ""),
            "job": _job.get(),
            "clip": _clip.get() or _clip_in(message),
        }
        if record.exc_info:
            said["exception"] = cleaned(self.formatException(record.exc_info))
        return json.dumps({name: value for name, value in said.items() if value})


TEXT = "{asctime} {levelname} {name}: {message}"


def formatter(kind: str) -> logging.Formatter:
    """Of ``text`` or ``json``."""
    return JsonLine() if kind == "json" else Line(TEXT, style="{")


def say(sentence: str, as_json: bool) -> None:
    """What the supervisor says, as a line like the others."""
    if as_json:
        record = logging.LogRecord("studio.supervisor", logging.INFO, "", 0, sentence, None, None)
        print(JsonLine().format(record), file=sys.stderr, flush=True)
    else:
        print(f"studio: {sentence}", file=sys.stderr, flush=True)


def _asked(record: logging.LogRecord) -> object:
    """The request that a line is about, or None."""
    return getattr(record, "request", None)


def _clip_in(message: str) -> str:
    found = _CLIP.search(message)
    return found[0] if found else ""
