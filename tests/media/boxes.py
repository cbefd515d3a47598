"""Files made byte by byte, for what no encoder would write.

MP4 and MOV boxes: ISO/IEC 14496-12, and the QuickTime File Format specification for ``alis``,
``cmov`` and ``rmra``. PNG: RFC 2083. EBML and Matroska elements: RFC 8794 and RFC 9559.
"""

import struct
import zlib
from itertools import repeat

UNITY = struct.pack(">9i", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30)
SCALE = 1000  # movie time units per second


def box(kind: bytes, *content: bytes) -> bytes:
    """One box: length, kind, content."""
    body = b"".join(content)
    return struct.pack(">I4s", 8 + len(body), kind) + body


def full_box(kind: bytes, *content: bytes, flags: int = 0) -> bytes:
    """A box with version 0 and ``flags``."""
    return box(kind, struct.pack(">I", flags), *content)


def table(kind: bytes, *rows: tuple[int, ...]) -> bytes:
    """A box with a count and rows of 32-bit numbers."""
    numbers = [number for row in rows for number in row]
    return full_box(kind, struct.pack(f">I{len(numbers)}I", len(rows), *numbers))


FTYP = box(b"ftyp", b"qt  ", struct.pack(">I", 0x200), b"qt  ")


def movie(duration_s: float, *tracks: bytes) -> bytes:
    """A ``moov`` with its header and ``tracks``."""
    length = round(duration_s * SCALE)
    header = struct.pack(">4I", 0, 0, SCALE, length)
    header += struct.pack(">IH10x", 1 << 16, 1 << 8) + UNITY + bytes(24) + struct.pack(">I", 9)
    return box(b"moov", full_box(b"mvhd", header), *tracks)


def track(
    number: int,
    handler: bytes,
    duration_s: float,
    rate: int,
    reference: bytes,
    *sample_tables: bytes,
    edits: bytes = b"",
) -> bytes:
    """A ``trak``: ``handler`` soun or vide, ``rate`` units a second, ``reference`` a dref entry."""
    length = round(duration_s * SCALE)
    head = struct.pack(">5I8x4H", 0, 0, number, 0, length, 0, 0, 1 << 8, 0) + UNITY
    head += struct.pack(">2I", 64 << 16, 64 << 16)
    media = struct.pack(">4I2H", 0, 0, rate, round(duration_s * rate), 0, 0)
    info = full_box(b"smhd", bytes(4)) if handler == b"soun" else full_box(b"vmhd", bytes(8))
    return box(
        b"trak",
        full_box(b"tkhd", head, flags=7),
        edits,
        box(
            b"mdia",
            full_box(b"mdhd", media),
            full_box(b"hdlr", b"mhlr", handler, bytes(13)),
            box(
                b"minf",
                info,
                box(b"dinf", full_box(b"dref", struct.pack(">I", 1), reference)),
                box(b"stbl", *sample_tables),
            ),
        ),
    )


HERE = full_box(b"url ", flags=1)  # the samples are in this very file


def elsewhere(url: str) -> bytes:
    """A data reference to another place, as ISO writes it."""
    return full_box(b"url ", url.encode() + b"\0")


def alias(path: str) -> bytes:
    """A data reference to another file, as a Macintosh alias record with its full path."""
    full = path.replace("/", ":").encode()
    full += b"\0" * (len(full) % 2)
    record = bytes(10) + bytes(28) + bytes(12) + bytes(64) + bytes(16) + bytes(4) + bytes(16)
    record += struct.pack(">hH", 2, len(full)) + full + struct.pack(">hH", -1, 0)
    return full_box(b"alis", record)


def pcm_track(reference: bytes, offset: int, seconds: float, rate_hz: int = 44_100) -> bytes:
    """A track of 16-bit little-endian mono samples, found at ``offset`` of ``reference``."""
    count = round(seconds * rate_hz)
    entry = struct.pack(">6xH8x4HI", 1, 1, 16, 0, 0, rate_hz << 16)
    return track(
        1,
        b"soun",
        seconds,
        rate_hz,
        reference,
        full_box(b"stsd", struct.pack(">I", 1), box(b"sowt", entry)),
        table(b"stts", (count, 1)),
        table(b"stsc", (1, count, 1)),
        full_box(b"stsz", struct.pack(">2I", 2, count)),
        table(b"stco", (offset,)),
    )


def many_samples_track(count: int, seconds: float, edits: bytes = b"") -> bytes:
    """A picture track whose tables declare ``count`` samples in a hundred bytes."""
    entry = struct.pack(">6xH16x2H2II", 1, 64, 64, 72 << 16, 72 << 16, 0)
    entry += struct.pack(">H32xHh", 1, 24, -1)
    rate = max(1, round(count / seconds))
    return track(
        1,
        b"vide",
        seconds,
        rate,
        HERE,
        full_box(b"stsd", struct.pack(">I", 1), box(b"jpeg", entry)),
        table(b"stts", (count, 1)),
        table(b"stsc", (1, count, 1)),
        full_box(b"stsz", struct.pack(">2I", 1, count)),
        table(b"stco", (48,)),
        edits=edits,
    )


def squeezed_zeros(size: int) -> bytes:
    """A zlib stream that swells to about ``size`` zero bytes, made by repeating one block."""
    block = 1 << 20
    squeezer = zlib.compressobj(9)
    head = squeezer.compress(bytes(block)) + squeezer.flush(zlib.Z_FULL_FLUSH)
    again = squeezer.compress(bytes(block)) + squeezer.flush(zlib.Z_FULL_FLUSH)
    return head + b"".join(repeat(again, size // block - 1))


def compressed_movie(swells_to: int) -> bytes:
    """A ``moov`` whose own index is compressed, and swells to ``swells_to`` bytes."""
    data = box(b"cmvd", struct.pack(">I", swells_to), squeezed_zeros(swells_to))
    return box(b"moov", box(b"cmov", box(b"dcom", b"zlib"), data))


def flat_png(side: int) -> bytes:
    """A black picture of ``side`` × ``side`` dots, one bit each."""
    line = bytes(1 + -(-side // 8))
    squeezer = zlib.compressobj(1)
    data = b"".join(squeezer.compress(line) for _ in range(side)) + squeezer.flush()

    def chunk(kind: bytes, content: bytes) -> bytes:
        check = zlib.crc32(kind + content)
        return struct.pack(">I4s", len(content), kind) + content + struct.pack(">I", check)

    header = struct.pack(">2I5B", side, side, 1, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", data) + chunk(b"IEND", b"")
    )


def element(identity: str, content: bytes, declared: int | None = None) -> bytes:
    """One EBML element, which may declare another size than it has."""
    size = len(content) if declared is None else declared
    return bytes.fromhex(identity) + struct.pack(">Q", size | 1 << 56) + content


def matroska_with_private(declared: int) -> bytes:
    """A Matroska head whose codec data declares ``declared`` bytes, and has eight."""
    header = element("1a45dfa3", element("4282", b"matroska"))
    entry = element("d7", b"\1") + element("73c5", b"\1") + element("83", b"\2")
    entry += element("86", b"A_VORBIS") + element("63a2", bytes(8), declared)
    return header + element("18538067", element("1654ae6b", element("ae", entry, declared + 60)))
