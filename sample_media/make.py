"""Build the sample clips and the truth about each.

    python sample_media/make.py [--out DIR] [NAME ...]

Without names, all are built. Each clip NAME gets a file beside it, NAME.truth.json: what was
played when, at which exact pitches, how many cents off, and whether a mark is expected.
The same version of ffmpeg gives the same bytes; another gives the same sound and the same truth.
"""

import argparse
import json
import struct
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
if str(ROOT) not in sys.path:  # run as a script
    sys.path.insert(0, str(ROOT))

from sample_media import drawing  # noqa: E402
from sample_media.bowing import perform, write_wav  # noqa: E402
from sample_media.plans import (  # noqa: E402
    CLEAR_CENTS,
    STEPS_OF,
    Performance,
    Plan,
    Step,
    interval_between,
    perform_plan,
    scale,
    tolerance_cents,
    truth,
)
from studio.media.tools import find_ffmpeg  # noqa: E402

BUILT = Path(__file__).with_name("built")
COMMITTED = Path(__file__).with_name("clips")


def in_interval(
    key: str, octave: int, interval: str, playings: Sequence[tuple[float, ...]], **more: Any
) -> tuple[Step, ...]:
    """Steps up ``key`` in octaves, sixths, thirds, tenths or fifths within the key."""
    apart = STEPS_OF[interval]
    pitches = scale(key, octave, len(playings) + apart)
    pairs = zip(pitches, pitches[apart:], playings, strict=False)
    return tuple(Step(str(low), str(high), cents, **more) for low, high, cents in pairs)


OCTAVES = Plan(
    "octaves-in-b-flat",
    "B flat major in octaves, an octave and a half",
    ".mp4",
    in_interval(
        "Bb major",
        3,
        "octaves",
        [
            (1.5,),
            (40.0, 18.0, 5.0),
            (30.0, 28.0),
            (-2.0,),
            (-26.0,),
            (6.0, -1.0),
            (-35.0, -24.0),
            (5.0,),
            (2.5,),
            (45.0, 30.0, 26.0),
            (-30.0, -5.0),
            (-3.0,),
        ],
    ),
    seed=11,
)

SIXTHS_AND_THIRDS = Plan(
    "sixths-and-thirds-in-e-flat",
    "E flat major in thirds, then in sixths",
    ".mov",
    (
        *in_interval(
            "Eb major",
            4,
            "thirds",
            [(2.0,), (-32.0, -10.0, -3.0), (29.0,), (-1.5,), (36.0, 27.0), (4.0,)],
            single_s=0.8,
        ),
        *in_interval(
            "Bb mixolydian",
            3,
            "sixths",
            [(3.0,), (-28.0, -30.0), (1.0,), (38.0, 6.0), (-2.5,), (27.0,)],
            single_s=0.8,
        ),
    ),
    seed=12,
    turned_deg=90,
)

SINGLE_NOTES = Plan(
    "single-notes",
    "B flat major, one note at a time",
    ".webm",
    tuple(
        Step(str(pitch), single_s=0.85)
        for pitch in [*scale("Bb major", 3, 12), *scale("Bb major", 3, 11)[::-1]]
    ),
    seed=13,
)

OPEN_STRINGS = Plan(
    "open-strings-and-fifths",
    "Open strings, then one finger across two strings",
    ".m4a",
    (
        *(Step(name, single_s=1.4) for name in ("A4", "D4", "G3", "E5")),
        Step("D4", "A4", (0.5,), apart=False),
        Step("G3", "D4", (-1.0,), apart=False),
        Step("A4", "E5", (1.0,), apart=False),
        Step("A3", "E4", (2.0,)),
        Step("E4", "B4", (-27.0, -24.0)),
        Step("B4", "F#5", (34.0, 3.0)),
    ),
    seed=14,
    picture=False,
    wander_cents=0.6,
)

SHORT_OCTAVES = Plan(
    "short-octaves",
    "Two octaves of B flat major",
    ".mp4",
    in_interval(
        "Bb major", 3, "octaves", [(40.0, 27.0), (-2.0, 1.0)], single_s=0.75, together_s=1.55
    ),
    seed=15,
    snr_db=30.0,
)

PLANS = {
    plan.name: plan
    for plan in (OCTAVES, SIXTHS_AND_THIRDS, SINGLE_NOTES, OPEN_STRINGS, SHORT_OCTAVES)
}


def build(name: str, out_dir: Path | str = BUILT) -> Path:
    """Build the clip ``name`` in ``out_dir``, with NAME.truth.json; returns the clip's path.

    A clip that is already there with its truth is left as it is; committed ones are not copied
    but returned from where they are, unless another ``out_dir`` is asked for.
    """
    if name not in PLANS:
        raise ValueError(f"no clip is called {name!r}; choose from {', '.join(PLANS)}")
    out_dir, plan = Path(out_dir), PLANS[name]
    for folder in (COMMITTED, out_dir) if out_dir == BUILT else (out_dir,):
        clip = folder / f"{name}{plan.suffix}"
        if clip.is_file() and truth_path(clip).is_file():
            return clip
    return build_plan(plan, out_dir)


def truth_path(clip: Path) -> Path:
    """Where the truth about ``clip`` lies."""
    return clip.with_name(clip.stem + ".truth.json")


def read_truth(clip: Path) -> dict[str, Any]:
    """The truth about ``clip``."""
    document: dict[str, Any] = json.loads(truth_path(clip).read_text(encoding="utf-8"))
    return document


def build_plan(plan: Plan, out_dir: Path | str) -> Path:
    """Perform, film and write ``plan``; the truth is written last."""
    out_dir = Path(out_dir)
    out_dir.mkdir(parents=True, exist_ok=True)
    made = perform_plan(plan)
    clip = out_dir / f"{plan.name}{plan.suffix}"
    with tempfile.TemporaryDirectory(prefix="making-", dir=out_dir) as folder:
        wav, filmed = Path(folder, "sound.wav"), Path(folder, clip.name)
        write_wav(wav, perform(made.strokes, made.length_s, plan.snr_db, plan.seed))
        film(plan, made, wav, filmed)
        document = json.dumps(truth(plan, made, clip.name), indent=1, ensure_ascii=False)
        truth_path(filmed).write_text(document + "\n", encoding="utf-8")
        filmed.replace(clip)
        truth_path(filmed).replace(truth_path(clip))
    return clip


PLAIN = ("-threads", "1", "-map_metadata", "-1", "-fflags", "+bitexact", "-flags", "+bitexact")
ENCODINGS = {
    ".mp4": (
        *("-c:v", "libx264", "-preset", "medium", "-crf", "30", "-pix_fmt", "yuv420p"),
        *("-c:a", "aac", "-b:a", "112k", "-movflags", "+faststart"),
    ),
    ".mov": (
        *("-c:v", "libx264", "-preset", "medium", "-crf", "30", "-pix_fmt", "yuv420p"),
        *("-c:a", "aac", "-b:a", "112k"),
    ),
    ".webm": (
        *("-c:v", "libvpx", "-deadline", "realtime", "-cpu-used", "6", "-b:v", "150k"),
        *("-c:a", "libopus", "-b:a", "64k"),
    ),
    ".m4a": ("-c:a", "aac", "-b:a", "112k"),
    ".wav": ("-c:a", "pcm_s16le"),
}


def film(plan: Plan, made: Performance, wav: Path, target: Path) -> None:
    """Encode the sound and, where the plan has one, the picture."""
    command = [str(find_ffmpeg()), "-hide_banner", "-v", "error", "-y"]
    if not plan.picture:
        command += ["-i", str(wav), *ENCODINGS[plan.suffix], *PLAIN, str(target)]
        subprocess.run(command, check=True, stdin=subprocess.DEVNULL)
        return
    size = f"{drawing.WIDE}x{drawing.TALL}"
    command += ["-f", "rawvideo", "-pix_fmt", "rgb24", "-s", size, "-r", str(drawing.RATE_HZ)]
    command += ["-i", "pipe:0", "-i", str(wav), "-map", "0:v", "-map", "1:a"]
    if plan.turned_deg:
        # The sensor lies on its side; the display matrix turns the picture upright again.
        command += [
            "-vf",
            {90: "transpose=2", 180: "hflip,vflip", 270: "transpose=1"}[plan.turned_deg],
        ]
    command += [*ENCODINGS[plan.suffix], "-g", str(2 * drawing.RATE_HZ), *PLAIN, str(target)]
    with subprocess.Popen(command, stdin=subprocess.PIPE) as child:
        assert child.stdin is not None
        for frame in drawing.frames(made.events, made.length_s):
            child.stdin.write(frame.tobytes())
    if child.returncode != 0:
        raise RuntimeError(f"ffmpeg ended with {child.returncode} while making {target.name}")
    if plan.turned_deg:
        turn(target, plan.turned_deg)


def turn(path: Path, clockwise_deg: int) -> None:
    """Write a display matrix into the picture's track header (ISO/IEC 14496-12, 8.3.2)."""
    cosine, sine = {90: (0, 1), 180: (-1, 0), 270: (0, -1)}[clockwise_deg]
    one, unit = 1 << 16, 1 << 30
    content = bytearray(path.read_bytes())
    at = content.index(b"tkhd")
    while struct.unpack(">I", content[at + 80 : at + 84])[0] == 0:  # no width: a track of sound
        at = content.index(b"tkhd", at + 4)
    matrix = (cosine * one, sine * one, 0, -sine * one, cosine * one, 0, 0, 0, unit)
    content[at + 44 : at + 80] = struct.pack(">9i", *matrix)
    path.write_bytes(content)


def build_variation(
    seed: int,
    out_dir: Path | str,
    *,
    level: str = "growing",
    key: str = "Bb major",
    interval: str = "octaves",
    octave: int = 3,
    degrees: int = 4,
    skill: float = 0.5,
    name: str | None = None,
    suffix: str = ".mp4",
) -> Path:
    """Build one of any number of further clips: a pupil's take on ``degrees`` double stops.

    Parameters
    ----------
    seed : int. The same seed and settings give the same take.
    level : "first_steps", "growing" or "advanced": which default tolerances tell a fault.
    key, octave : the scale and where its lower voice starts, as in "G major", 3.
    interval : "octaves", "sixths", "thirds", "tenths" or "fifths", all within the key.
    skill : 0 to 1. The share of degrees that end in tune, and how small the faults are.
    """
    if not 0 <= skill <= 1:
        raise ValueError(f"skill is {skill}; use 0 (nothing in tune) to 1 (all in tune)")
    rng = np.random.default_rng(seed)
    apart = STEPS_OF[interval]
    pitches = scale(key, octave, degrees + apart)
    in_tune = set(rng.permutation(degrees)[: round(skill * degrees)].tolist())
    steps = []
    for degree, (low, high) in enumerate(zip(pitches, pitches[apart:], strict=False)):
        tolerance = tolerance_cents(interval_between(low, high)[0], level)
        cents = _playings(rng, tolerance, skill, ends_in_tune=degree in in_tune)
        steps.append(Step(str(low), str(high), cents, single_s=0.8, together_s=1.6))
    name = name or f"take-{interval}-{key.replace(' ', '-').replace('#', 's').lower()}-{seed}"
    title = f"{key} in {interval}"
    plan = Plan(name, title, suffix, tuple(steps), seed, level=level, picture=suffix != ".m4a")
    return build_plan(plan, out_dir)


def _playings(
    rng: np.random.Generator, tolerance: float, skill: float, *, ends_in_tune: bool
) -> tuple[float, ...]:
    """One run: clearly in tune at its end, or clearly not; often better than it began."""
    side = float(rng.choice([-1.0, 1.0]))
    off = tolerance + CLEAR_CENTS + 1 + rng.uniform(0, 18) * (1.2 - skill)
    if ends_in_tune:
        end = float(rng.uniform(-1, 1)) * min(7.0, tolerance - CLEAR_CENTS)
        return (round(end, 1),) if rng.random() < 0.6 else (round(side * off, 1), round(end, 1))
    start = off + rng.uniform(4, 16)
    runs = ((round(side * off, 1),), (round(side * start, 1), round(side * off, 1)))
    return runs[int(rng.integers(2))]


def main(arguments: Sequence[str] | None = None) -> None:
    """Build the clips named on the command line."""
    parser = argparse.ArgumentParser(description="Build the sample clips and their truth.")
    parser.add_argument("--out", type=Path, default=BUILT, help="folder (default: %(default)s)")
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"one of {', '.join(PLANS)}")
    chosen = parser.parse_args(arguments)
    for name in chosen.names or PLANS:
        try:
            print(build(name, chosen.out))
        except ValueError as error:
            parser.error(str(error))


if __name__ == "__main__":
    main()
