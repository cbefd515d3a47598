"""Look at a file's own structure, without decoding anything.

Only enough is read to tell what a demuxer would not say plainly: an empty file, a list that
points at other files, an MP4 whose index was never written, a file that breaks off.
MP4 boxes: ISO/IEC 14496-12, section 4.2. EBML elements: RFC 8794, section 4.
"""

import struct
from pathlib import Path

from studio.media.errors import Refused

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
SEGMENT_ID = 0x18538067
INDEX_BYTES = 32_000_000
NESTED_BOXES = (b"trak", b"mdia", b"minf", b"stbl")
ENCRYPTED_ENTRIES = (b"encv", b"enca", b"drmi", b"drms")
MP4_FIRST_BOXES = (b"ftyp", b"moov", b"mdat", b"free", b"skip", b"wide", b"styp", b"moof")


def inspect_structure(path: Path) -> bool:
    """Return True when the file breaks off before its own structure ends.

    Raises
    ------
    Refused
        ``empty``, ``playlist``, ``unfinished`` (an MP4 or MOV without its index), ``protected``
        (its samples are encrypted: ISO/IEC 14496-12, section 8.12).
    """
    size = path.stat().st_size
    if size == 0:
        raise Refused("empty")
    with path.open("rb") as file:
        head = file.read(64)
    if head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(LIST_STARTS):
        raise Refused("playlist")
    if head[4:8] in MP4_FIRST_BOXES:
        return _mp4_breaks_off(path, size)
    if head.startswith(EBML_START):
        return _matroska_breaks_off(path, size)
    if head[:4] == b"RIFF" and head[8:12] == b"WAVE":
        stated = struct.unpack("<I", head[4:8])[0]
        return stated not in (0, 0xFFFFFFFF) and stated + 8 > size + 1
    return False


def _mp4_breaks_off(path: Path, size: int) -> bool:
    """Walk the top-level boxes; ``moov`` is the index without which nothing can be played."""
    offset, has_index = 0, False
    with path.open("rb") as file:
        while offset + 8 <= size:
            file.seek(offset)
            header = file.read(16)
            length, kind = struct.unpack(">I4s", header[:8])
            if length == 1 and len(header) == 16:
                length = struct.unpack(">Q", header[8:])[0]
            elif length == 0:  # to the end of the file
                length = size - offset
            if kind == b"moov" and offset + length <= size:
                has_index = True
                file.seek(offset)
                _refuse_protected(file.read(min(length, INDEX_BYTES)))
            if length < 8:
                break
            offset += length
    if not has_index:
        raise Refused("unfinished")
    return offset > size


def _refuse_protected(index: bytes) -> None:
    """Look at the sample entries (the first child of each ``stsd``) for encrypted kinds."""
    spans = [(8, len(index))]
    while spans:
        at, end = spans.pop()
        while at + 8 <= end:
            length, kind = struct.unpack(">I4s", index[at : at + 8])
            if length < 8:
                break
            if kind in NESTED_BOXES:
                spans.append((at + 8, min(at + length, end)))
            elif kind == b"stsd" and index[at + 20 : at + 24] in ENCRYPTED_ENTRIES:
                raise Refused("protected")
            at += length


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
