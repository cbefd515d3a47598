"""Where a request's head ends, and how much body it announces (RFC 9112, sections 2, 6).

Only as much as it takes to know when a thread is needed; what a request means, and whether it is
well formed, is for gunicorn's parser alone.
"""

import re
from dataclasses import dataclass

LONGEST_HEAD = 1 << 16  # bytes
WHOLE_BODY = 1 << 16  # a body of at most so many bytes is waited for as a whole
FIRST_PART = 1 << 14  # of a longer one, so much is there before a thread takes it

_END = b"\r\n\r\n"
_LENGTH = re.compile(rb"\r\ncontent-length:[ \t]*(\d{1,18})[ \t]*\r\n", re.IGNORECASE)
_UNKNOWN_LENGTH = re.compile(rb"\r\ntransfer-encoding:", re.IGNORECASE)
_EXPECTS = re.compile(rb"\r\nexpect:[ \t]*100-continue", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Head:
    """Sizes in bytes. ``body_size`` is 0 for none, and None where it was not announced."""

    size: int
    body_size: int | None
    expects_continue: bool

    @property
    def is_long(self) -> bool:
        """Whether the body is longer than one that is waited for as a whole."""
        return self.body_size is None or self.body_size > WHOLE_BODY

    @property
    def enough(self) -> int:
        """How many bytes of head and body must be there before a thread takes the request."""
        if self.body_size is None:
            return self.size
        return self.size + (FIRST_PART if self.is_long else self.body_size)


def head_of(received: bytes | bytearray) -> Head | None:
    """The head, once it is whole.

    >>> head_of(b"GET / HTTP/1.1\\r\\nHost: a") is None
    True
    >>> head_of(b"POST / HTTP/1.1\\r\\nContent-Length: 12\\r\\n\\r\\nabc")
    Head(size=40, body_size=12, expects_continue=False)
    """
    end = received.find(_END)
    if end < 0:
        return None
    head = bytes(received[: end + len(_END)])
    announced = _LENGTH.search(head)
    size = int(announced.group(1)) if announced else 0
    unknown = _UNKNOWN_LENGTH.search(head) is not None
    return Head(len(head), None if unknown else size, _EXPECTS.search(head) is not None)
