"""Bombs: small files that swell, in pictures, hours, tables or boxes."""

import gzip
import struct
import zipfile
from pathlib import Path

from tests.media import boxes
from tests.media.hostile.case import (
    BOMB_S,
    LENGTH_S,
    MB,
    ORDINARY_S,
    Ground,
    case,
    flac_of,
    shift_chunks,
)
from tests.media.recordings import H264, ffmpeg


@case(
    "pixels.mov",
    "16,000 × 16,000 dots",
    refused="too_large_picture",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    picture = path.with_suffix(".png")
    picture.write_bytes(boxes.flat_png(16_000))
    ffmpeg("-f", "png_pipe", "-i", str(picture), "-c", "copy", "-f", "mov", str(path))
    picture.unlink()


def _vp8(ground: Ground, path: Path, frame: int) -> None:
    """VP8 of 160 × 120 of which one key frame claims 16,383 × 16,383 (RFC 6386, section 9.1)."""
    video = ("-an", "-c:v", "libvpx", "-g", "1", "-b:v", "100k", "-threads", "1")
    content = bytearray(ffmpeg("-i", str(ground.good), *video, "-f", "webm", "pipe:1"))
    at = -1
    for _ in range(frame + 1):
        at = content.index(b"\x9d\x01\x2a", at + 1)
    content[at + 3 : at + 7] = struct.pack("<2H", 16_383, 16_383)
    path.write_bytes(content)


@case(
    "lies_small.webm",
    "huge behind a small label",
    refused="too_large_picture",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    picture = path.with_suffix(".png")
    picture.write_bytes(boxes.flat_png(16_000))
    ffmpeg("-f", "png_pipe", "-i", str(picture), "-c", "copy", "-f", "matroska", str(path))
    picture.unlink()
    content = bytearray(path.read_bytes())
    for identity in (b"\xb0\x82", b"\xba\x82"):  # PixelWidth, PixelHeight: two bytes each
        at = content.index(identity + struct.pack(">H", 16_000)) + 2
        content[at : at + 2] = struct.pack(">H", 64)
    path.write_bytes(content)


@case(
    "grows_midway.webm",
    "one frame claims 16,383 × 16,383",
    notes=("no_sound", "damaged"),
    listening="no_sound",
    is_bomb=True,
)
def _(ground: Ground, path: Path) -> None:
    _vp8(ground, path, 20)


@case(
    "hours.mp4",
    "a day of picture in few bytes",
    refused="too_long",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    ffmpeg("-f", "lavfi", "-i", "color=s=64x64:r=1/100:d=86400", *H264, str(path))


@case(
    "centuries.flac",
    "a head that claims centuries",
    refused="too_long",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    content = bytearray(flac_of(ground))
    content[21] |= 0x0F  # total samples: 36 bits, RFC 9639, section 8.2
    content[22:26] = b"\xff" * 4
    path.write_bytes(content)


@case(
    "table.mov",
    "80 million samples in a table",
    refused="overfull",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    movie = boxes.movie(800.0, boxes.many_samples_track(80 * MB, 800.0))
    path.write_bytes(boxes.FTYP + movie + boxes.box(b"mdat", bytes(64)))


@case(
    "fragments.mp4",
    "80 million samples in a fragment",
    refused="overfull",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    run = boxes.full_box(b"trun", struct.pack(">I", 80 * MB))
    head = boxes.full_box(b"tfhd", struct.pack(">3I", 1, 10, 1), flags=0x18)
    fragment = boxes.box(b"moof", boxes.box(b"traf", head, run))
    extends = boxes.full_box(b"trex", struct.pack(">5I", 1, 1, 10, 1, 0))
    sound = boxes.pcm_track(boxes.HERE, 48, LENGTH_S)
    movie = boxes.movie(0.0, sound, boxes.box(b"mvex", extends))
    path.write_bytes(boxes.FTYP + movie + fragment + boxes.box(b"mdat", bytes(64)))


@case(
    "edits.mov",
    "an edit list that repeats it 5,000 times",
    refused="overfull",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    edits = boxes.box(b"edts", boxes.table(b"elst", *[(800_000, 0, 1 << 16)] * 5000))
    movie = boxes.movie(800.0, boxes.many_samples_track(20_000, 800.0, edits))
    path.write_bytes(boxes.FTYP + movie + boxes.box(b"mdat", bytes(64)))


@case(
    "hidden.mp4",
    "the table bomb behind a tag",
    refused="overfull",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    movie = boxes.movie(800.0, boxes.many_samples_track(80 * MB, 800.0))
    path.write_bytes(b"ID3\4" + bytes(6) + boxes.box(b"wxyz", bytes(8)) + boxes.FTYP + movie)


@case(
    "swells.mov",
    "an index that swells to 1 GB",
    refused="overfull",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    path.write_bytes(boxes.FTYP + boxes.compressed_movie(1000 * MB))


@case(
    "many_tracks.mov", "4,000 tracks", refused="overfull", within_s=BOMB_S, is_bomb=True, fault=26
)
def _(ground: Ground, path: Path) -> None:
    tracks = [boxes.pcm_track(boxes.HERE, 48, LENGTH_S)] * 4000
    path.write_bytes(boxes.FTYP + boxes.movie(LENGTH_S, *tracks) + boxes.box(b"mdat", bytes(64)))


@case(
    "giant_box.mp4",
    "a box of 4 exabytes",
    refused="unfinished",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    path.write_bytes(boxes.FTYP + struct.pack(">I4sQ", 1, b"moov", 1 << 62) + bytes(4096))


@case("giant_title.mp4", "a title of 2 MB", within_s=ORDINARY_S, is_bomb=True)
def _(ground: Ground, path: Path) -> None:
    text = b"\x01" * (2 * MB)
    value = boxes.box(b"data", struct.pack(">2I", 1, 0), text)
    tags = boxes.box(b"ilst", boxes.box(b"\xa9nam", value))
    handler = boxes.full_box(b"hdlr", bytes(4), b"mdirappl", bytes(9))
    extra = boxes.box(b"udta", boxes.full_box(b"meta", handler, tags))
    content = ground.good.read_bytes()
    at = content.index(b"moov") - 4
    length = struct.unpack(">I", content[at : at + 4])[0]
    moov = content[at + 8 : at + length]
    shifted = shift_chunks(moov, len(extra))
    path.write_bytes(content[:at] + boxes.box(b"moov", shifted, extra) + content[at + length :])


@case(
    "giant_comment.flac",
    "comments of 4 GB declared",
    within_s=ORDINARY_S,
    is_bomb=True,
    notes=("no_picture",),
)
def _(ground: Ground, path: Path) -> None:
    content = flac_of(ground)
    comment = struct.pack("<I", 0xFFFFFFF0) + b"a vendor" + struct.pack("<I", 0xFFFFFFF0)
    block = struct.pack(">I", 4 << 24 | len(comment)) + comment  # RFC 9639, section 8.6
    path.write_bytes(content[:42] + block + content[42:])


@case(
    "giant_private.mkv",
    "codec data of 250 MB declared",
    refused="not_media",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    path.write_bytes(boxes.matroska_with_private(250 * MB))


@case(
    "archive.mp4",
    "ZIP that swells to 100 MB",
    refused="not_media",
    within_s=BOMB_S,
    is_bomb=True,
    fault=26,
)
def _(ground: Ground, path: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo("clip.mp4"), bytes(100 * MB), zipfile.ZIP_DEFLATED)


@case("squeezed.wav", "gzip of a sound file", refused="not_media", within_s=BOMB_S)
def _(ground: Ground, path: Path) -> None:
    path.write_bytes(gzip.compress(ground.secret.read_bytes(), mtime=0))
