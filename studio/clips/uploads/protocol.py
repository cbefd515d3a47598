"""tus 1.0.0 in headers: what a request says, and what an answer has to. Knows no rows or files.

The names are those of the specification (https://tus.io/protocols/resumable-upload, version
1.0.0 of 2016-03-25). Sizes are in bytes.
"""

import base64
import binascii
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

from django.http import HttpRequest
from django.utils.translation import gettext as _

from studio import figures

VERSION = "1.0.0"
EXTENSIONS = "creation,creation-with-upload,expiration,checksum,termination"
ALGORITHMS = ("sha1", "sha256")
CONTENT_TYPE = "application/offset+octet-stream"
LONGEST_METADATA = 8000  # characters; a note of 600 characters takes at most 3,200 in base64
CHECKSUM_MISMATCH = 460
LARGEST = 10**18  # bytes; no disk has so many


class Refused(Exception):
    """A request that is not carried out: the HTTP status, a sentence, and further headers."""

    def __init__(self, status: int, sentence: str, headers: Mapping[str, str] | None = None):
        super().__init__(sentence)
        self.status, self.sentence, self.headers = status, sentence, dict(headers or {})


@dataclass(frozen=True, slots=True)
class Checksum:
    """What a chunk's bytes must hash to."""

    algorithm: str
    digest: bytes

    def hasher(self):
        return hashlib.new(self.algorithm, usedforsecurity=False)


def method_of(request: HttpRequest) -> str:
    """The method, or the one that a POST stands for where a proxy knows no PATCH.

    Only a POST may stand for another: a GET that did would pass by the check of the page's token.
    """
    if request.method == "POST":
        return request.headers.get("X-HTTP-Method-Override", "POST").upper()
    return request.method


def check_version(request: HttpRequest) -> None:
    said = request.headers.get("Tus-Resumable", "")
    if said != VERSION:
        raise Refused(
            412,
            _("Tus-Resumable is %(said)s; send %(version)s.")
            % {"said": f"{said!r}", "version": VERSION},
            headers={"Tus-Version": VERSION},
        )


def size(request: HttpRequest, name: str) -> int:
    """A header that must be a whole number of bytes, 0 or more."""
    said = request.headers.get(name, "")
    size_bytes = figures.whole(said, high=LARGEST)
    if size_bytes is None:
        raise Refused(
            400,
            _("%(name)s is %(said)s; it must be a whole number of bytes, such as 0.")
            % {"name": name, "said": f"{said!r}"},
        )
    return size_bytes


def body_length(request: HttpRequest) -> int:
    """How many bytes the body will have. A body of unannounced length is not taken."""
    if "Transfer-Encoding" in request.headers and not request.headers.get("Content-Length"):
        raise Refused(411, _("The body's length is not known; send Content-Length with it."))
    return size(request, "Content-Length") if request.headers.get("Content-Length") else 0


def carries_bytes(request: HttpRequest) -> bool:
    return request.content_type == CONTENT_TYPE


def checksum(request: HttpRequest) -> Checksum | None:
    """``Upload-Checksum: sha1 BASE64``, or None when the client sends none."""
    said = request.headers.get("Upload-Checksum")
    if said is None:
        return None
    algorithm, _rest, encoded = said.partition(" ")
    if algorithm not in ALGORITHMS:
        raise Refused(
            400,
            _("The checksum is %(algorithm)s; send one of %(algorithms)s, or none.")
            % {"algorithm": f"{algorithm!r}", "algorithms": ", ".join(ALGORITHMS)},
        )
    try:
        return Checksum(algorithm, base64.b64decode(encoded, validate=True))
    except binascii.Error:
        raise Refused(
            400,
            _("Upload-Checksum is %(said)s; its second part must be base64.")
            % {"said": f"{said[:80]!r}"},
        ) from None


def metadata(request: HttpRequest) -> str | None:
    """The header as it came, once it is known to be readable; None when there is none."""
    said = request.headers.get("Upload-Metadata")
    if said is None:
        return None
    if len(said) > LONGEST_METADATA:
        raise Refused(
            400,
            _("Upload-Metadata has %(said)s characters; at most %(longest_metadata)s may come.")
            % {"said": len(said), "longest_metadata": LONGEST_METADATA},
        )
    try:
        decoded(said)
    except ValueError:
        raise Refused(
            400, _("Upload-Metadata cannot be read; send 'key BASE64' pairs with commas between.")
        ) from None
    return said


def decoded(header: str) -> dict[str, str]:
    """``filename Y2xpcC5tcDQ=,title …`` as names and texts.

    Raises
    ------
    ValueError
        When a value is not base64 of UTF-8, or a name comes twice.

    >>> decoded("filename Y2xpcC5tcDQ=,private")
    {'filename': 'clip.mp4', 'private': ''}
    """
    said: dict[str, str] = {}
    for pair in filter(None, (part.strip() for part in header.split(","))):
        name, _rest, value = pair.partition(" ")
        if name in said:
            raise ValueError(f"{name} comes twice")
        said[name] = base64.b64decode(value, validate=True).decode().replace("\x00", "")
    return said


def encoded(said: Mapping[str, str]) -> str:
    """Names and texts as the header has them.

    >>> encoded({"filename": "clip.mp4"})
    'filename Y2xpcC5tcDQ='
    """
    pairs = ((name, base64.b64encode(text.encode()).decode()) for name, text in said.items())
    return ",".join(f"{name} {value}".strip() for name, value in pairs)
