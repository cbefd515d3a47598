"""Look at a file's own structure, without decoding anything.

Only enough is read to tell what a demuxer would not say plainly: an empty file, a list that
points at other files, an MP4 whose index was never written, a file that breaks off.
MP4 boxes: ISO/IEC 14496-12, section 4.2. EBML elements: RFC 8794, section 4.
"""

import re
import struct
from pathlib import Path
from typing import BinaryIO

from studio.media.errors import Refused
from studio.media.index import CONTAINERS, IndexCheck

LIST_STARTS = (
    b"#EXTM3U",
    b"ffconcat",
    b"[playlist]",
    b"<smil",
    b"<MPD",
    b"<?xml",
    b"v=0\r",
    b"v=0\n",
)
EBML_START = b"\x1a\x45\xdf\xa3"
OTHER_STARTS = (b"fLaC", b"OggS")
OGG_HEAD = 27  # bytes of a page before its segment table
MOST_TAGS = 4
SEGMENT_ID = 0x18538067
BOX_KIND = re.compile(rb"[ -~\xa9][ -~]{3}")  # four printable signs; QuickTime also has ©
MP4_FIRST_BOXES = (b"ftyp", b"moov", b"mdat", b"free", b"skip", b"wide", b"styp", b"moof")


def inspect_structure(path: Path) -> bool:
    """Return True when the file breaks off before its own structure ends.

    Raises
    ------
    Refused
        ``empty``, ``playlist``, ``unfinished`` (an MP4 or MOV without its index), ``overfull``
        and ``protected`` (see :mod:`studio.media.index`).
    """
    size = path.stat().st_size
    if size == 0:
        raise Refused("empty")
    with path.open("rb") as file:
        start = _after_tags(file)
        file.seek(start)
        head = file.read(64)
        if head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(LIST_STARTS):
            raise Refused("playlist")
        if head.startswith(EBML_START):
            return _matroska_breaks_off(path, size)
        if head[:4] == b"RIFF" and head[8:12] == b"WAVE":
            stated = struct.unpack("<I", head[4:8])[0]
            return stated not in (0, 0xFFFFFFFF) and stated + 8 > size + 1
        if head.startswith(OTHER_STARTS):
            return False
        return _mp4_breaks_off(file, start, size, is_mp4=head[4:8] in MP4_FIRST_BOXES)


def is_chained(path: Path) -> bool:
    """Whether an Ogg file holds one recording after another (RFC 3533, section 4).

    A page that begins a stream (flag 0x02) comes after one that does not.
    """
    within = False
    with path.open("rb") as file:
        file.seek(_after_tags(file))
        while len(head := file.read(OGG_HEAD)) == OGG_HEAD and head.startswith(b"OggS"):
            begins = bool(head[5] & 0x02)
            if begins and within:
                return True
            within = not begins
            file.seek(sum(file.read(head[26])), 1)
    return False


def _after_tags(file: BinaryIO) -> int:
    """Where the content begins: readers skip ID3v2 tags before any format (id3.org, 2.4.0)."""
    at = 0
    for _ in range(MOST_TAGS):
        file.seek(at)
        head = file.read(10)
        if len(head) < 10 or not head.startswith(b"ID3"):
            break
        size = sum(
            (byte & 0x7F) << shift for byte, shift in zip(head[6:], (21, 14, 7, 0), strict=True)
        )
        at += 10 + size + (10 if head[5] & 0x10 else 0)  # and a footer
    return at


def _mp4_breaks_off(file: BinaryIO, start: int, size: int, *, is_mp4: bool) -> bool:
    """Walk the top-level boxes; ``moov`` is the index without which nothing can be played.

    A reader may take for MP4 what begins with a box unknown to us, so that is walked too.
    Bytes after the last box that cannot be one are someone else's: they are no missing end.
    """
    check, offset, has_index, kind = IndexCheck(), start, False, b""
    while offset + 8 <= size:
        check.count_box()
        file.seek(offset)
        header = file.read(16)
        length, kind = struct.unpack(">I4s", header[:8])
        if length == 1 and len(header) == 16:
            length = struct.unpack(">Q", header[8:])[0]
        elif length == 0:  # to the end of the file
            length = size - offset
        if kind in CONTAINERS and offset + length <= size:
            check.read(file, offset, length)
            has_index = has_index or kind == b"moov"
        if length < 8:
            break
        offset += length
    if is_mp4 and not has_index:
        raise Refused("unfinished")
    return has_index and offset > size and BOX_KIND.fullmatch(kind) is not None


def _vint(data: bytes, at: int, *, keep_marker: bool) -> tuple[int | None, int]:
    """Read an EBML variable-size integer: (value, next offset); unknown size gives None."""
    first = data[at]
    if first == 0:
        return None, at + 1
    length = 9 - first.bit_length()
    value = int.from_bytes(data[at : at + length], "big")
    if keep_marker:
        return value, at + length
    mask = (1 << (7 * length)) - 1
    value &= mask
    return (None if value == mask else value), at + length


def _matroska_breaks_off(path: Path, size: int) -> bool:
    """A Segment that states its size must fit in the file; a live one states none."""
    with path.open("rb") as file:
        head = file.read(4096)
    header_size, at = _vint(head, 4, keep_marker=False)
    at += header_size or 0
    if at + 12 > len(head):
        return at > size
    element, at = _vint(head, at, keep_marker=True)
    if element != SEGMENT_ID:
        return False
    stated, at = _vint(head, at, keep_marker=False)
    return stated is not None and at + stated > size
