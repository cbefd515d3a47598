"""What the index of an MP4 or MOV asks of a reader, before any reader is let near it.

A few hundred bytes of tables can declare hundreds of millions of samples, an edit list can
repeat them thousands of times, and a compressed index can swell a thousandfold: a demuxer builds
all of it in memory. An honest clip needs none of this; the bounds below leave it ample room.
Boxes: ISO/IEC 14496-12, sections 8.5 to 8.8; ``cmov``: QuickTime File Format specification.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from studio.media.errors import Refused

INDEX_BYTES = 32_000_000  # 15 minutes at 240 pictures a second with PCM sound need 10 MB
MOST_BOXES = 200_000  # 15 minutes in fragments of a quarter second have 40,000
MOST_TRACKS = 64
MOST_SAMPLES = 4_000_000  # of all tracks, edits multiplied out; an honest clip has 0.5 million
CONTAINERS = frozenset(
    (
        b"moov",
        b"trak",
        b"mdia",
        b"minf",
        b"stbl",
        b"edts",
        b"udta",
        b"moof",
        b"traf",
        b"cmov",
        b"hoov",
    )
)
ENCRYPTED_ENTRIES = (b"encv", b"enca", b"drmi", b"drms")

Box = tuple[bytes, int, int]  # kind, first and past-the-last byte of the content


class IndexCheck:
    """Adds up what all the index boxes of one file ask for, and refuses too much.

    Raises
    ------
    Refused
        ``overfull``, ``protected`` (its samples are encrypted: ISO/IEC 14496-12, section 8.12).
    """

    def __init__(self) -> None:
        self.boxes, self.samples = 0, 0

    def count_box(self) -> None:
        """Take note of one more box."""
        self.boxes += 1
        if self.boxes > MOST_BOXES:
            raise _overfull("boxes", self.boxes, MOST_BOXES)

    def read(self, file: BinaryIO, offset: int, length: int) -> None:
        """Look through the box of ``length`` bytes at ``offset``: a ``moov``, a ``moof``."""
        if length > INDEX_BYTES:
            raise _overfull("bytes of index", length, INDEX_BYTES)
        file.seek(offset)
        content = file.read(length)
        found = []
        for one in _walk(content):
            self.count_box()
            found.append(one)
        for kind, start, _ in found:
            if kind == b"cmvd" and _number(content, start) > INDEX_BYTES:
                raise _overfull("bytes of index", _number(content, start), INDEX_BYTES)
        self._add(content, found)

    def _add(self, content: bytes, found: list[Box]) -> None:
        tracks = [_Demand(start, end) for kind, start, end in found if kind in (b"trak", b"traf")]
        if len(tracks) > MOST_TRACKS:
            raise _overfull("tracks", len(tracks), MOST_TRACKS)
        stray = _Demand(0, len(content))  # tables outside any track
        for kind, start, _ in found:
            within = [track for track in tracks if track.start <= start < track.end]
            for track in within or [stray]:
                track.see(content, kind, start)
        self.samples += sum(track.entries for track in [*tracks, stray])
        if self.samples > MOST_SAMPLES:
            raise _overfull("samples", self.samples, MOST_SAMPLES)


def _overfull(what: str, count: int, most: int) -> Refused:
    """The refusal of a recording that asks for too much; figures are for the log."""
    return Refused("overfull", detail=f"{count} {what} declared; at most {most} are accepted")


@dataclass(slots=True)
class _Demand:
    """What one track's tables ask for."""

    start: int
    end: int
    samples: int = 0
    chunks: int = 0
    edits: int = 0
    is_sound: bool = False
    one_unit_each: bool = False

    def see(self, content: bytes, kind: bytes, start: int) -> None:
        """Take one box into account."""
        first = _number(content, start + 4)
        if kind == b"stsz":
            self.samples = max(self.samples, _number(content, start + 8))
        elif kind in (b"stz2", b"stco", b"co64"):
            self.chunks = max(self.chunks, first)
        elif kind == b"trun":
            self.samples += first
        elif kind == b"elst":
            self.edits += first
        elif kind == b"hdlr":
            self.is_sound = content[start + 8 : start + 12] == b"soun"
        elif kind == b"stts":
            self.one_unit_each = first == 1 and _number(content, start + 12) == 1
        elif kind == b"stsd" and content[start + 12 : start + 16] in ENCRYPTED_ENTRIES:
            raise Refused("protected")

    @property
    def entries(self) -> int:
        """Entries a reader keeps. Plain PCM is kept by the chunk, all else by the sample."""
        is_pcm = self.is_sound and self.one_unit_each
        return (self.chunks if is_pcm else max(self.samples, self.chunks)) * max(1, self.edits)


def _walk(content: bytes) -> Iterator[Box]:
    """Every box within, containers before what they hold."""
    spans = [(0, len(content))]
    while spans:
        at, end = spans.pop()
        while at + 8 <= end:
            length, kind = struct.unpack(">I4s", content[at : at + 8])
            inner = at + 8
            if length == 1 and at + 16 <= end:
                length, inner = struct.unpack(">Q", content[at + 8 : at + 16])[0], at + 16
            elif length == 0:
                length = end - at
            if length < inner - at:
                break
            yield kind, inner, min(at + length, end)
            if kind in CONTAINERS:
                spans.append((inner, min(at + length, end)))
            at += length


def _number(content: bytes, at: int) -> int:
    return int.from_bytes(content[at : at + 4], "big")
