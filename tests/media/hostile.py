"""The hostile set: files that try to reach what is not theirs, to swamp the machine, or are broken.

``python -m tests.media.hostile FOLDER`` writes them all, with the secret that some of them aim
at. Each case says where its clip must end, and with which code; ``within_s`` bounds the intake.
Everything is made to order: no file of anyone's is in it.
"""

import gzip
import io
import struct
import sys
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.media import boxes
from tests.media.canary import SAMPLES_AT, secret_sound
from tests.media.recordings import AAC, H264, ffmpeg, turn

LENGTH_S = 2.0
BOMB_S = 1.0  # a bomb is refused within this
ORDINARY_S = 10.0
SECRET_NAME = "secret.mp4"
GPS, TITLE, CHAPTER = "+52.1234+004.5678/", "at our house", "the garden"
MB = 1_000_000


@dataclass(frozen=True)
class Case:
    """One file: its name on disk, what it is, and where it must end.

    ``refused`` is the code of a refusal, or empty for a file that is received; then ``notes``
    are said of it, and ``listening`` is the code with which that stage fails, or empty.
    ``fault`` is the number of the fault that it makes, of :data:`FAULTS`; 0 for none of them.
    """

    name: str
    what: str
    make: Callable[["Ground", Path], object] = field(repr=False)
    refused: str = ""
    notes: tuple[str, ...] = ()
    listening: str = ""
    within_s: float = ORDINARY_S
    reaches_out: bool = False
    is_bomb: bool = False
    fault: int = 0


@dataclass(frozen=True)
class Ground:
    """What the cases are made from: a plain recording, the secret, and where the canary is."""

    good: Path
    secret: Path
    url: str


FAULTS = {
    11: "refused: the recording did not finish saving",
    12: "what decodes is kept, and said in seconds",
    13: "refused, not tried again",
    14: "refused",
    15: "playable; no sound to listen to",
    16: "accepted as sound",
    17: "the loudest channel is heard and played",
    18: "the same pitch",
    20: "upright",
    21: "playable",
    22: "finished, and the damage said",
    23: "judged by its content",
    24: "only what was encoded anew is served",
    25: "refused; nothing else is opened or called",
    26: "refused within a second, within its memory",
}
CASES: list[Case] = []


def case(name: str, what: str, **expected: object) -> Callable:
    """Register the function below as the maker of ``name``."""

    def register(make: Callable[[Ground, Path], object]) -> Callable:
        CASES.append(Case(name, what, make, **expected))  # type: ignore[arg-type]
        return make

    return register


def build(folder: Path, url: str, cases: list[Case] = CASES) -> Ground:
    """Write ``cases`` into ``folder``; references to another machine go to ``url``."""
    folder.mkdir(parents=True, exist_ok=True)
    ground = Ground(_good(folder / "good.mp4"), secret_sound(folder / SECRET_NAME), url)
    for one in cases:
        one.make(ground, folder / one.name)
    return ground


def _good(path: Path) -> Path:
    picture = f"testsrc=s=160x120:r=25:d={LENGTH_S}"
    notes = "+".join(f"{0.2 / n}*sin({n}*{f}*2*PI*t)" for f in (440, 660) for n in (1, 2, 3))
    sound = f"aevalsrc={notes}:s=48000:d={LENGTH_S}"
    inputs = ("-f", "lavfi", "-i", picture, "-f", "lavfi", "-i", sound)
    exact = ("-threads", "1", "-fflags", "+bitexact", "-flags", "+bitexact")
    ffmpeg(*inputs, *exact, *H264, *AAC, "-movflags", "+faststart", str(path))
    return path


# --- Files that point elsewhere -------------------------------------------------------------


def playlist(target: str) -> str:
    return f"#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\n{target}\n#EXT-X-ENDLIST\n"


@case("playlist_file.mp4", "HLS playlist of a file", refused="playlist", reaches_out=True, fault=25)
def _(ground: Ground, path: Path) -> None:
    path.write_text(playlist(str(ground.secret)))


@case(
    "playlist_http.mp4",
    "HLS playlist of an address",
    refused="playlist",
    reaches_out=True,
    fault=25,
)
def _(ground: Ground, path: Path) -> None:
    path.write_text(playlist(f"{ground.url}/segment.mp4"))


@case(
    "playlist_key.mov",
    "HLS playlist with a distant key",
    refused="playlist",
    reaches_out=True,
    fault=25,
)
def _(ground: Ground, path: Path) -> None:
    key = f'#EXT-X-KEY:METHOD=AES-128,URI="{ground.url}/key"\n#EXTINF'
    path.write_text(playlist(str(ground.secret)).replace("#EXTINF", key))


@case("concat.mov", "concat script of a sibling", refused="playlist", reaches_out=True, fault=25)
def _(ground: Ground, path: Path) -> None:
    path.write_text(f"ffconcat version 1.0\nfile {ground.secret.name}\n")


@case("dash.mp4", "DASH manifest of an address", refused="playlist", reaches_out=True, fault=25)
def _(ground: Ground, path: Path) -> None:
    path.write_text(
        '<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" type="static" '
        'mediaPresentationDuration="PT2S"><Period><AdaptationSet mimeType="audio/wav">'
        f'<Representation id="a" bandwidth="1"><BaseURL>{ground.url}/a.wav</BaseURL>'
        "</Representation></AdaptationSet></Period></MPD>"
    )


@case("session.mp4", "SDP that opens a port", refused="playlist", reaches_out=True, fault=25)
def _(ground: Ground, path: Path) -> None:
    port = ground.url.rsplit(":", 1)[1]
    lines = ["v=0", "o=- 0 0 IN IP4 127.0.0.1", "s=-", "c=IN IP4 127.0.0.1", "t=0 0"]
    path.write_text("\n".join([*lines, f"m=audio {port} RTP/AVP 0", ""]))


@case("list.mp3", "list of addresses", refused="playlist", reaches_out=True, fault=25)
def _(ground: Ground, path: Path) -> None:
    path.write_text(f"[playlist]\nFile1={ground.url}/a.mp3\nNumberOfEntries=1\nVersion=2\n")


@case("drawing.mp4", "SVG that includes a file", refused="not_media", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    xlink = 'xmlns="http://www.w3.org/2000/svg" xmlns:x="http://www.w3.org/1999/xlink"'
    pictures = "".join(
        f'<image x:href="{target}" width="9" height="9"/>'
        for target in (ground.secret.as_uri(), f"{ground.url}/a.png")
    )
    path.write_text(f'<svg {xlink} width="64" height="64">{pictures}</svg>')


@case("command.mp4", "drawing commands with an address", refused="not_media", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    path.write_text(
        "push graphic-context\nviewbox 0 0 640 480\n"
        f"image over 0,0 0,0 'url({ground.url}/a.png)'\nimage over 0,0 0,0 '@{ground.secret}'\n"
    )


@case("subtitle.mp4", "subtitle index of a sibling", refused="not_media", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    lines = [
        "# VobSub index file, v7 (do not modify this line!)",
        "size: 64x64",
        "id: en, index: 0",
    ]
    path.write_text("\n".join([*lines, "timestamp: 00:00:00:000, filepos: 000000000", ""]))


@case("outside_sound.mov", "MOV whose sound lies elsewhere", refused="unreadable", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    reference = boxes.alias(str(ground.secret))
    sound = boxes.pcm_track(reference, SAMPLES_AT, LENGTH_S)
    path.write_bytes(boxes.FTYP + boxes.movie(LENGTH_S, sound))


@case("outside_address.mov", "MOV with a distant track", refused="unreadable", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    sound = boxes.pcm_track(boxes.elsewhere(f"{ground.url}/a.wav"), 1 << 20, LENGTH_S)
    path.write_bytes(boxes.FTYP + boxes.movie(LENGTH_S, sound))


@case("redirect.mov", "MOV that only redirects", refused="not_media", reaches_out=True)
def _(ground: Ground, path: Path) -> None:
    target = f"{ground.url}/a.mov".encode() + b"\0"
    place = boxes.full_box(b"rdrf", b"url ", struct.pack(">I", len(target)), target)
    movie = boxes.movie(LENGTH_S, boxes.box(b"rmra", boxes.box(b"rmda", place)))
    path.write_bytes(boxes.FTYP + movie)


# --- Bombs ----------------------------------------------------------------------------------


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
    content = bytearray(_flac(ground))
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
    shifted = _shift_chunks(moov, len(extra))
    path.write_bytes(content[:at] + boxes.box(b"moov", shifted, extra) + content[at + length :])


def _shift_chunks(moov: bytes, by: int) -> bytes:
    """Add ``by`` to every chunk offset (``stco``), for what was put in before the samples."""
    moved, at = bytearray(moov), 0
    while (at := moved.find(b"stco", at)) >= 0:
        count = struct.unpack(">I", moved[at + 8 : at + 12])[0]
        span = slice(at + 12, at + 12 + 4 * count)
        offsets = struct.unpack(f">{count}I", moved[span])
        moved[span] = struct.pack(f">{count}I", *(offset + by for offset in offsets))
        at += 4
    return bytes(moved)


@case(
    "giant_comment.flac",
    "comments of 4 GB declared",
    within_s=ORDINARY_S,
    is_bomb=True,
    notes=("no_picture",),
)
def _(ground: Ground, path: Path) -> None:
    content = _flac(ground)
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


# --- Broken files ---------------------------------------------------------------------------


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
    content = _flac(ground)
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


# --- Odd, but good --------------------------------------------------------------------------


@case("polyglot.mp4", "MP4, web page and ZIP at once", fault=24)
def _(ground: Ground, path: Path) -> None:
    content = ground.good.read_bytes()
    end = struct.unpack(">I", content[:4])[0]
    page = boxes.box(b"free", b"<html><script>fetch('/me')</script></html>")
    at = content.index(b"moov") - 4
    length = struct.unpack(">I", content[at : at + 4])[0]
    moov = boxes.box(b"moov", _shift_chunks(content[at + 8 : at + length], len(page)))
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


def _flac(ground: Ground) -> bytes:
    path = ground.good.with_suffix(".flac")
    if not path.exists():
        ffmpeg("-i", str(ground.good), "-vn", "-c:a", "flac", str(path))
    return path.read_bytes()


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python -m tests.media.hostile FOLDER")
    build(Path(sys.argv[1]), "http://127.0.0.1:9")
    for made in CASES:
        size = Path(sys.argv[1], made.name).stat().st_size
        ending = made.refused or ", ".join(["received", *made.notes])
        print(f"{made.name:<22} {size:>10,} bytes  {made.what:<42} {ending}")
