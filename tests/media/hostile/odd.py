"""Odd, but good: what a phone or a camera may well send."""

import io
import struct
import zipfile
from pathlib import Path

from tests.media import boxes
from tests.media.hostile.case import CHAPTER, GPS, LENGTH_S, TITLE, Ground, case, shift_chunks
from tests.media.recordings import AAC, H264, ffmpeg, turn


@case("polyglot.mp4", "MP4, web page and ZIP at once", fault=24)
def _(ground: Ground, path: Path) -> None:
    content = ground.good.read_bytes()
    end = struct.unpack(">I", content[:4])[0]
    page = boxes.box(b"free", b"<html><script>fetch('/me')</script></html>")
    at = content.index(b"moov") - 4
    length = struct.unpack(">I", content[at : at + 4])[0]
    moov = boxes.box(b"moov", shift_chunks(content[at + 8 : at + length], len(page)))
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as made:
        made.writestr(zipfile.ZipInfo("run.sh"), "echo run")
    joined = content[:end] + page + content[end:at] + moov + content[at + length :]
    path.write_bytes(joined + archive.getvalue())


@case("places.mov", "place, title and chapters")
def _(ground: Ground, path: Path) -> None:
    chapters = path.with_suffix(".txt")
    chapter = f"[CHAPTER]\nTIMEBASE=1/1000\nSTART=0\nEND=1000\ntitle={CHAPTER}\n"
    chapters.write_text(f";FFMETADATA1\ntitle={TITLE}\nlocation={GPS}\n{chapter}")
    inputs = ("-i", str(ground.good), "-f", "ffmetadata", "-i", str(chapters))
    ffmpeg(*inputs, "-map", "0", "-map_metadata", "1", "-c", "copy", "-f", "mov", str(path))
    chapters.unlink()


@case("eight_channels.wav", "eight channels, one silent", notes=("no_picture",), fault=17)
def _(ground: Ground, path: Path) -> None:
    loud, quiet = "0.4*sin(440*2*PI*t)", "0.02*sin(300*2*PI*t)"
    channels = "|".join(["0", quiet, quiet, f"-{loud}", loud, quiet, quiet, quiet])
    ffmpeg("-f", "lavfi", "-i", f"aevalsrc={channels}:c=7.1:d={LENGTH_S}", str(path))


@case("fast.flac", "192 kHz", notes=("no_picture",), fault=18)
def _(ground: Ground, path: Path) -> None:
    ffmpeg("-f", "lavfi", "-i", f"sine=440:r=192000:d={LENGTH_S}", str(path))


@case("ten_bit.mov", "10-bit HEVC", fault=21)
def _(ground: Ground, path: Path) -> None:
    hevc = ("-c:v", "libx265", "-preset", "ultrafast", "-pix_fmt", "yuv420p10le")
    quiet = ("-x265-params", "log-level=none:pools=1", "-tag:v", "hvc1", "-c:a", "copy")
    ffmpeg("-i", str(ground.good), *hevc, *quiet, str(path))


@case("uneven.mp4", "variable frame rate")
def _(ground: Ground, path: Path) -> None:
    chosen = "select='not(mod(n,2))+lt(t,0.8)+gt(t,1.6)'"
    ffmpeg("-i", str(ground.good), "-vf", chosen, "-vsync", "vfr", *H264, *AAC, str(path))


@case("turned.mov", "held upright", fault=20)
def _(ground: Ground, path: Path) -> None:
    ffmpeg("-i", str(ground.good), "-c", "copy", str(path))
    turn(path, 90)


@case("wrong_name.txt", "MP4 under the name of a text", fault=23)
def _(ground: Ground, path: Path) -> None:
    path.write_bytes(ground.good.read_bytes())


@case("no_sound.mp4", "picture alone", notes=("no_sound",), listening="no_sound", fault=15)
def _(ground: Ground, path: Path) -> None:
    ffmpeg("-i", str(ground.good), "-an", "-c", "copy", str(path))


@case("no_picture.m4a", "sound alone", notes=("no_picture",), fault=16)
def _(ground: Ground, path: Path) -> None:
    ffmpeg("-i", str(ground.good), "-vn", "-c", "copy", str(path))
