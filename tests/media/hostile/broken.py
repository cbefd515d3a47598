"""Broken files: cut, flipped, empty, never finished."""

from pathlib import Path

import numpy as np

from tests.media.hostile.case import BOMB_S, Ground, case, flac_of
from tests.media.recordings import H264, ffmpeg


@case("empty.mp4", "no byte", refused="empty", within_s=BOMB_S, fault=13)
def _(ground: Ground, path: Path) -> None:
    path.touch()


@case("noise.mp4", "random bytes", refused="not_media", fault=13)
def _(ground: Ground, path: Path) -> None:
    path.write_bytes(np.random.default_rng(13).bytes(300_000))


@case("cut_end.mp4", "its last third is missing", notes=("salvaged",), fault=12)
def _(ground: Ground, path: Path) -> None:
    content = ground.good.read_bytes()
    path.write_bytes(content[: len(content) * 2 // 3])


@case("cut_end.flac", "its last third is missing", notes=("salvaged", "no_picture"), fault=12)
def _(ground: Ground, path: Path) -> None:
    content = flac_of(ground)
    path.write_bytes(content[: len(content) * 2 // 3])


@case("cut_start.mp4", "its first 1,000 bytes are missing", refused="not_media")
def _(ground: Ground, path: Path) -> None:
    path.write_bytes(ground.good.read_bytes()[1000:])


@case("cut_both.mkv", "first and last thousand bytes missing", refused="not_media")
def _(ground: Ground, path: Path) -> None:
    content = ffmpeg("-i", str(ground.good), "-c", "copy", "-f", "matroska", "pipe:1")
    path.write_bytes(content[1000:-1000])


@case("no_index.mp4", "moov was never written", refused="unfinished", fault=11)
def _(ground: Ground, path: Path) -> None:
    late = path.with_suffix(".whole.mp4")
    ffmpeg("-i", str(ground.good), "-c", "copy", str(late))
    content = late.read_bytes()
    path.write_bytes(content[: content.index(b"moov") - 4])
    late.unlink()


@case("corrupt.mp4", "sixty bytes flipped in its packets", notes=("damaged",), fault=22)
def _(ground: Ground, path: Path) -> None:
    content = bytearray(ground.good.read_bytes())
    rng = np.random.default_rng(5)
    for at in rng.integers(content.index(b"mdat") + 4000, len(content), 60):
        content[at] = rng.integers(256)
    path.write_bytes(content)


@case("no_length.mp4", "a single frame", refused="no_duration", fault=14)
def _(ground: Ground, path: Path) -> None:
    ffmpeg("-i", str(ground.good), "-an", "-frames:v", "1", *H264, str(path))
