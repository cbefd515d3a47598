"""HTTP Range for files (RFC 9110, section 14): what a player needs to seek.

One range is served; several in one request are answered with the whole file, as the RFC allows.
"""

import re
from collections.abc import Iterator
from pathlib import Path

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse

BLOCK_BYTES = 1 << 16
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


def serve(request: HttpRequest, path: Path, content_type: str, etag: str) -> HttpResponse:
    """The file, or the part of it that was asked for."""
    size = path.stat().st_size
    header = request.headers.get("Range", "")
    if request.headers.get("If-Range", f'"{etag}"') != f'"{etag}"':
        header = ""
    try:
        span = parse(header, size) if header and request.method in ("GET", "HEAD") else None
    except Unsatisfiable:
        response = HttpResponse(status=416, content_type=content_type)
        response["Content-Range"] = f"bytes */{size}"
        return response
    first, last = span or (0, size - 1)
    response = _body(request, path, first, last - first + 1, content_type)
    if span:
        response.status_code = 206
        response["Content-Range"] = f"bytes {first}-{last}/{size}"
    response["Accept-Ranges"] = "bytes"
    response["Content-Length"] = str(last - first + 1)
    response["ETag"] = f'"{etag}"'
    return response


def _body(
    request: HttpRequest, path: Path, first: int, length: int, content_type: str
) -> HttpResponse:
    if request.method == "HEAD":
        return HttpResponse(content_type=content_type)
    return StreamingHttpResponse(_blocks(path, first, length), content_type=content_type)


def _blocks(path: Path, first: int, length: int) -> Iterator[bytes]:
    with path.open("rb") as file:
        file.seek(first)
        while length > 0 and (block := file.read(min(BLOCK_BYTES, length))):
            length -= len(block)
            yield block
