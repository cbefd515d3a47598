"""A hostile file: what it is, how it is made, where its clip must end."""

import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from tests.media.canary import secret_sound
from tests.media.recordings import AAC, H264, ffmpeg

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


def flac_of(ground: Ground) -> bytes:
    """The sound of the plain recording as FLAC."""
    path = ground.good.with_suffix(".flac")
    if not path.exists():
        ffmpeg("-i", str(ground.good), "-vn", "-c:a", "flac", str(path))
    return path.read_bytes()


def shift_chunks(moov: bytes, by: int) -> bytes:
    """Add ``by`` to every chunk offset (``stco``), for what was put in before the samples."""
    moved, at = bytearray(moov), 0
    while (at := moved.find(b"stco", at)) >= 0:
        count = struct.unpack(">I", moved[at + 8 : at + 12])[0]
        span = slice(at + 12, at + 12 + 4 * count)
        offsets = struct.unpack(f">{count}I", moved[span])
        moved[span] = struct.pack(f">{count}I", *(offset + by for offset in offsets))
        at += 4
    return bytes(moved)
