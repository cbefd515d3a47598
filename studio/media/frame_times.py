"""When each frame of a playable copy is shown, read from the tables at the head of its MP4.

Conventions: seconds on the one time axis (0 is the first frame), ascending, one a frame shown.
The copy keeps the frame times of its source, which in a phone's recording are seldom even, so a
rate does not tell them.

Method: for every sample of the picture's track, the decoding time (``stts``) plus its
composition offset (``ctts``), less the beginning of the track's edit (``elst``), over the
track's time scale (``mdhd``). Reference: ISO/IEC 14496-12, 8.4.2, 8.6.1 and 8.6.6.
"""

import struct
from collections.abc import Callable, Iterator

import numpy as np

from studio.figures import MB

MAX_TABLES_BYTES = 32 * MB  # two hours at 60 frames a second need a tenth of it
EMPTY_EDIT = -1

Read = Callable[[int, int], bytes]  # (first byte, how many at most) -> bytes
Box = tuple[bytes, int, int]  # name, where its content begins and ends


def frame_times(read: Read) -> np.ndarray:
    """The times of the frames of an MP4.

    Parameters
    ----------
    read : callable
        ``read(first, length)`` gives at most ``length`` bytes of the file from ``first`` on.

    Returns
    -------
    np.ndarray, shape (n,)
        Seconds; empty where there is no picture.

    Raises
    ------
    ValueError
        The file has no such tables, or they do not agree with each other.
    """
    tables = _tables(read)
    try:
        film = _film_scale(tables)
        for name, start, end in _boxes(tables, 0, len(tables)):
            if name == b"trak" and _is_picture(tables, start, end):
                return _times(tables, start, end, film)
    except (struct.error, KeyError) as error:
        raise ValueError(f"the tables of the MP4 cannot be read: {error!r}") from error
    return np.zeros(0)


def _tables(read: Read) -> bytes:
    """The content of the box ``moov``."""
    at = 0
    while len(head := read(at, 16)) >= 8:
        size, name = struct.unpack_from(">I4s", head)
        skip = 8
        if size == 1 and len(head) == 16:
            size, skip = struct.unpack_from(">Q", head, 8)[0], 16
        if size < skip:
            break
        if name == b"moov":
            if size > MAX_TABLES_BYTES:
                raise ValueError(f"the MP4's tables hold {size} bytes, above {MAX_TABLES_BYTES}")
            return read(at + skip, size - skip)
        at += size
    raise ValueError("the file has no box moov; make the playable copy anew")


def _boxes(data: bytes, start: int, end: int) -> Iterator[Box]:
    while start + 8 <= end:
        size, name = struct.unpack_from(">I4s", data, start)
        if size < 8 or start + size > end:
            raise ValueError(f"the box {name!r} does not fit where it stands")
        yield name, start + 8, start + size
        start += size


def _inside(data: bytes, start: int, end: int, *path: bytes) -> tuple[int, int] | None:
    """Where the content of a box within boxes begins and ends; None when it is not there."""
    for wanted in path:
        found = next((box for box in _boxes(data, start, end) if box[0] == wanted), None)
        if found is None:
            return None
        _, start, end = found
    return start, end


def _needed(data: bytes, start: int, end: int, *path: bytes) -> int:
    found = _inside(data, start, end, *path)
    if found is None:
        raise KeyError(b"/".join(path).decode("latin-1"))
    return found[0]


def _film_scale(data: bytes) -> int:
    return _scale(data, _needed(data, 0, len(data), b"mvhd"))


def _scale(data: bytes, at: int) -> int:
    """Ticks a second, of ``mvhd`` and ``mdhd`` alike."""
    (scale,) = struct.unpack_from(">I", data, at + (20 if data[at] == 1 else 12))
    if scale == 0:
        raise ValueError("a time scale is 0; it must be above 0")
    return scale


def _is_picture(data: bytes, start: int, end: int) -> bool:
    at = _needed(data, start, end, b"mdia", b"hdlr")
    return data[at + 8 : at + 12] == b"vide"


def _times(data: bytes, start: int, end: int, film: int) -> np.ndarray:
    scale = _scale(data, _needed(data, start, end, b"mdia", b"mdhd"))
    tables = (b"mdia", b"minf", b"stbl")
    steps = _runs(data, _needed(data, start, end, *tables, b"stts"), signed=False)
    shown = np.cumsum(np.concatenate([[0], steps[:-1]])) if len(steps) else steps
    late = _inside(data, start, end, *tables, b"ctts")
    if late is not None:
        # Offsets of version 0 are unsigned by the standard; writers put negative ones there too.
        offsets = _runs(data, late[0], signed=True)
        if len(offsets) != len(shown):
            raise ValueError(f"{len(offsets)} offsets stand for {len(shown)} frames")
        shown = shown + offsets
    shift_s, begin, length_s = _edit(data, start, end, film, scale)
    times = np.sort(shown - begin) / scale + shift_s
    last_s = np.inf if length_s is None else shift_s + length_s
    return times[(times > -1e-6) & (times < last_s - 1e-6)]


def _runs(data: bytes, at: int, *, signed: bool) -> np.ndarray:
    """A table of (how many, value) written out."""
    (count,) = struct.unpack_from(">I", data, at + 4)
    if at + 8 + 8 * count > len(data):
        raise ValueError(f"a table of {count} entries is longer than its file")
    pairs = np.frombuffer(data, ">u4", 2 * count, at + 8).reshape(-1, 2)
    if int(pairs[:, 0].astype(np.int64).sum()) > MAX_TABLES_BYTES:
        raise ValueError("a table stands for more frames than a clip can have")
    values = pairs[:, 1].astype(np.int32 if signed else np.int64).astype(np.int64)
    return np.repeat(values, pairs[:, 0])


def _edit(
    data: bytes, start: int, end: int, film: int, scale: int
) -> tuple[float, int, float | None]:
    """How much is empty before the picture, at which tick it begins, how many seconds it lasts."""
    found = _inside(data, start, end, b"edts", b"elst")
    if found is None:
        return 0.0, 0, None
    at, empty_s = found[0], 0.0
    entry = struct.Struct(">Qqi" if data[at] == 1 else ">Iii")
    (count,) = struct.unpack_from(">I", data, at + 4)
    for n in range(count):
        length, begin, _ = entry.unpack_from(data, at + 8 + n * entry.size)
        if begin != EMPTY_EDIT:
            return empty_s, begin, length / film if length else None
        empty_s += length / film
    return empty_s, 0, None
