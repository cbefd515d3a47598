"""HTTP Range for files (RFC 9110, section 14): what a player needs to seek.

One range is served; several in one request are answered with the whole file, as the RFC allows.
"""

import re
from collections.abc import Callable, Iterator

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse

ONE_RANGE = re.compile(r"^bytes=(\d*)-(\d*)$", re.ASCII)


class Unsatisfiable(ValueError):
    """The range lies outside the file."""


def parse(header: str, size: int) -> tuple[int, int] | None:
    """First and last byte asked for (both included), or ``None`` for the whole file.

    >>> parse("bytes=0-99", 1000), parse("bytes=-100", 1000), parse("bytes=900-", 1000)
    ((0, 99), (900, 999), (900, 999))
    >>> parse("bytes=0-9,20-29", 1000) is None
    True
    """
    match = ONE_RANGE.match(header.replace(" ", ""))
    if not match or match.group(0) == "bytes=-":
        return None
    first, last = match.groups()
    if not first:  # the last so many bytes
        if int(last) == 0 or size == 0:
            raise Unsatisfiable(header)
        return max(size - int(last), 0), size - 1
    if last and int(last) < int(first):
        return None  # not a valid range: ignored
    if int(first) >= size:
        raise Unsatisfiable(header)
    return int(first), min(int(last or size - 1), size - 1)


def serve(
    request: HttpRequest,
    read: Callable[[int, int], Iterator[bytes]],
    size: int,
    content_type: str,
    etag: str,
) -> HttpResponse:
    """The file, or the part of it that was asked for; ``read`` takes first byte and length."""
    try:
        span = _asked(request, size, etag)
    except Unsatisfiable:
        response = HttpResponse(status=416, content_type=content_type)
        response["Content-Range"] = f"bytes */{size}"
        return response
    first, last = span or (0, size - 1)
    length = last - first + 1
    if request.method == "HEAD":
        response = HttpResponse(content_type=content_type)
    else:
        response = StreamingHttpResponse(read(first, length), content_type=content_type)
    if span:
        response.status_code = 206
        response["Content-Range"] = f"bytes {first}-{last}/{size}"
    response["Accept-Ranges"] = "bytes"
    response["Content-Length"] = str(length)
    response["ETag"] = f'"{etag}"'
    return response


def _asked(request: HttpRequest, size: int, etag: str) -> tuple[int, int] | None:
    """The span asked for, unless it is of another version of the file."""
    if request.headers.get("If-Range", f'"{etag}"') != f'"{etag}"':
        return None
    header = request.headers.get("Range", "")
    return parse(header, size) if header else None
