"""HTTP Range for files (RFC 9110, section 14), and what is asked before it (section 13).

One range is served; several in one request are answered with the whole file, as the RFC allows.
"""

import re
from collections.abc import Callable, Iterator

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse

BEYOND = 10**18  # bytes: no file is so large, and no number need be read that is longer
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
        if _bytes(last) == 0 or size == 0:
            raise Unsatisfiable(header)
        return max(size - _bytes(last), 0), size - 1
    begin, end = _bytes(first), _bytes(last) if last else BEYOND
    if end < begin:
        return None  # not a valid range: ignored
    if begin >= size:
        raise Unsatisfiable(header)
    return begin, min(end, size - 1)


def _bytes(digits: str) -> int:
    return int(digits) if len(digits) <= len(str(BEYOND)) else BEYOND


def serve(
    request: HttpRequest,
    read: Callable[[int, int], Iterator[bytes]],
    size: int,
    content_type: str,
    etag: str,
) -> HttpResponse:
    """The file, or the part of it that was asked for; ``read`` takes first byte and length.

    412 when it is not the version that If-Match names; 304 when If-None-Match names it.
    """
    if "If-Match" in request.headers and not _named(request.headers["If-Match"], etag):
        return HttpResponse(status=412, headers={"ETag": f'"{etag}"'})
    if _named(request.headers.get("If-None-Match", ""), etag, weakly=True):
        return HttpResponse(status=304, headers={"ETag": f'"{etag}"'})
    try:
        span = _range_asked_for(request, size, etag)
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


def _named(header: str, etag: str, *, weakly: bool = False) -> bool:
    """Whether a list of entity tags names this one (RFC 9110, section 8.8.3.2)."""
    if header.strip() == "*":
        return True
    named = {f'"{etag}"'} | ({f'W/"{etag}"'} if weakly else set())
    return not named.isdisjoint(re.findall(r'(?:W/)?"[^"]*"', header))


def _range_asked_for(request: HttpRequest, size: int, etag: str) -> tuple[int, int] | None:
    """The span asked for, unless it is of another version of the file."""
    if request.headers.get("If-Range", f'"{etag}"') != f'"{etag}"':
        return None
    header = request.headers.get("Range", "")
    return parse(header, size) if header else None
