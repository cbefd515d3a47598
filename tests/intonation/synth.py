"""Bowed sound made to order, with its truth: what the listening is tested on.

Conventions
-----------
* Everything is mono, float64, -1..1; ``sr`` in Hz; time 0 is the first sample.
* A :class:`Note` is what one bow stroke does on one string; a clip is a list of them, mixed,
  put into a room, made noisy. The truth of a clip (:func:`truth_of`) is read from the same
  list: which notes sounded together, from when to when.
* All randomness comes from one ``numpy.random.Generator``: the same seed is the same clip.

The model is the usual one of a bowed string (Fletcher & Rossing, *The Physics of Musical
Instruments*): exact harmonics of one wandering f0, a spectrum falling with frequency, shaped
by a body that radiates little below about 250 Hz, every partial with a slow life of its own,
noise of the bow, a soft attack. The room is a direct sound followed by exponentially decaying
noise (Polack's model), so its transfer function differs from partial to partial as a real one's.
"""

import csv
import io
import subprocess
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import fftconvolve, resample_poly

SR = 44100
LEFT_DB = -4.0  # a string that the bow has left, beside one that it draws
BOWED_NOTES = Path(__file__).parents[2] / "sample_media" / "bowed-notes"


@dataclass(frozen=True)
class Note:
    """One stroke on one string. ``glide`` gives (seconds from the start, cents) corner points.

    Notes of one ``bow`` (a seed) rise, swell and fall together, as two strings under one hair do.
    ``rings_s``: how long the string, once left, takes to fall by 60 dB; 0: it stops at once.
    """

    start_s: float
    end_s: float
    f0_hz: float
    level_db: float = 0.0
    vibrato_cents: float = 0.0
    glide: tuple[tuple[float, float], ...] = ()
    bow: int | None = None
    rings_s: float = 0.0


@dataclass(frozen=True)
class TrueSounding:
    """What the truth calls one sounding: these pitches, all at once, over this span."""

    start_s: float
    end_s: float
    f0s_hz: tuple[float, ...]


def midi_hz(midi: float, a4_hz: float = 440.0) -> float:
    """Return the equal-tempered frequency of a MIDI note number (MIDI Tuning Standard)."""
    return float(a4_hz * 2.0 ** ((midi - 69.0) / 12.0))


def cents(ratio: float) -> float:
    return float(1200.0 * np.log2(ratio))


# --- one note -------------------------------------------------------------------------------


def smooth_noise(rng: np.random.Generator, n: int, sr: float, rate_hz: float) -> np.ndarray:
    """Return unit-variance noise, shape (n,), whose changes take about 1 / ``rate_hz`` s."""
    knots = max(4, int(n / sr * rate_hz) + 4)
    where = np.linspace(0.0, knots - 1.0, n)
    return np.interp(where, np.arange(knots), rng.standard_normal(knots))


def body_db(rng: np.random.Generator) -> Callable[[np.ndarray], np.ndarray]:
    """Return an instrument: gain in dB over frequency, weak below 250 Hz, uneven above."""
    knots_hz = np.geomspace(80.0, 16000.0, 40)
    gain = 5.0 * rng.standard_normal(40)
    gain -= 14.0 * np.clip(np.log2(260.0 / knots_hz), 0.0, 2.0)
    gain -= 10.0 * np.clip(np.log2(knots_hz / 3500.0), 0.0, 3.0)
    return lambda f_hz: np.interp(np.log(f_hz), np.log(knots_hz), gain)


def stroke_envelope(rng: np.random.Generator, n: int, sr: float) -> np.ndarray:
    """Return the bow's loudness: rise of 20 to 80 ms, a slow swell, fall of 30 to 70 ms."""
    t = np.arange(n) / sr
    rise, fall = rng.uniform(0.02, 0.08), rng.uniform(0.03, 0.07)
    up = np.clip(t / rise, 0.0, 1.0)
    down = np.clip((t[-1] - t) / fall, 0.0, 1.0) if n else t
    edge = np.sin(0.5 * np.pi * up) ** 2 * np.sin(0.5 * np.pi * down) ** 2
    return edge * 10.0 ** (1.5 * smooth_noise(rng, n, sr, 1.5) / 20.0)


def note_envelope(rng: np.random.Generator, note: Note, n: int, sr: float) -> np.ndarray:
    """Return the loudness of a note of ``n`` samples in all: its bow's, and how it rings on."""
    bowed = min(n, round((note.end_s - note.start_s) * sr))
    own = rng if note.bow is None else np.random.default_rng(note.bow)
    shape = stroke_envelope(own, bowed, sr)
    if n == bowed:
        return shape
    # A string that the bow leaves falls from where it was, along a straight line in dB.
    top = int(np.flatnonzero(shape > 0.8 * shape.max())[-1])
    t = np.arange(n - top) / sr
    ringing = shape[top] * 10.0 ** (LEFT_DB / 20.0) * 10.0 ** (-3.0 * t / note.rings_s)
    whole = np.pad(shape, (0, n - bowed))
    whole[top:] = np.maximum(whole[top:], ringing)
    return whole


def sounding_samples(note: Note, sr: float) -> int:
    """Return how many samples a note lasts, with what rings on down to -40 dB."""
    return round((note.end_s - note.start_s + 2.0 / 3.0 * note.rings_s) * sr)


def cents_track(rng: np.random.Generator, note: Note, n: int, sr: float) -> np.ndarray:
    """Return the note's pitch, cents re ``f0_hz``: glide, vibrato with its own rate, wander."""
    t = np.arange(n) / sr
    track = 2.0 * smooth_noise(rng, n, sr, 3.0)
    if note.vibrato_cents:
        rate = rng.uniform(4.5, 6.5) * (1.0 + 0.04 * smooth_noise(rng, n, sr, 1.0))
        depth = note.vibrato_cents * np.clip(t / 0.3, 0.0, 1.0)
        track += depth * np.sin(2.0 * np.pi * np.cumsum(rate) / sr + rng.uniform(0.0, 6.28))
    if note.glide:
        track += np.interp(t, [g[0] for g in note.glide], [g[1] for g in note.glide])
    return track


def bowed_note(
    rng: np.random.Generator,
    note: Note,
    body: Callable[[np.ndarray], np.ndarray],
    sr: float = SR,
) -> np.ndarray:
    """Return one stroke, RMS about ``note.level_db`` re 0.1."""
    n = sounding_samples(note, sr)
    track = cents_track(rng, note, n, sr)
    phase = 2.0 * np.pi * np.cumsum(note.f0_hz * 2.0 ** (track / 1200.0)) / sr
    tilt = rng.uniform(0.8, 1.5)
    y = np.zeros(n)
    base = np.exp(1j * phase)
    turn = base * np.exp(1j * rng.uniform(0.0, 2.0 * np.pi))
    for k in range(1, 31):
        if k * note.f0_hz > min(0.45 * sr, 11000.0):
            break
        gain_db = body(np.array(k * note.f0_hz)) + 2.0 * rng.standard_normal()
        life_db = 1.0 * smooth_noise(rng, n, sr, 4.0)
        y += k**-tilt * 10.0 ** ((gain_db + life_db) / 20.0) * turn.imag
        turn = turn * base
    y /= np.sqrt(np.mean(y**2)) + 1e-12
    scrape = np.diff(rng.standard_normal(n + 1)) * 0.5 + 0.5 * rng.standard_normal(n)
    grip = 1.0 + 4.0 * np.exp(-np.arange(n) / sr / 0.03)
    y += 10.0 ** (rng.uniform(-38.0, -28.0) / 20.0) * scrape * grip
    return 0.1 * 10.0 ** (note.level_db / 20.0) * note_envelope(rng, note, n, sr) * y


class RealNotes:
    """Real bowed notes, resampled to a pitch that is then known to about half a cent."""

    def __init__(self, folder: Path = BOWED_NOTES) -> None:
        with (folder / "notes.csv").open() as table:
            rows = list(csv.DictReader(table))
        self.folder = folder
        self.notes = [(float(r["median_f0_hz"]), r["file"]) for r in rows]

    def bowed_note(self, rng: np.random.Generator, note: Note, sr: float = SR) -> np.ndarray:
        """Return a stroke cut from the real note nearest in pitch; within two semitones of it."""
        own_hz, file = min(self.notes, key=lambda r: abs(cents(r[0] / note.f0_hz)))
        dense = _eightfold(self.folder / file)
        n = sounding_samples(note, sr)
        step = 8.0 * note.f0_hz / own_hz * SR / sr
        first = int(rng.integers(0, max(1, len(dense) - int(n * step) - 2)))
        where = (first + np.arange(n) * step) % (len(dense) - 1)
        left = where.astype(int)
        y = dense[left] + (where - left) * (dense[left + 1] - dense[left])
        y /= np.sqrt(np.mean(y**2)) + 1e-12
        return 0.1 * 10.0 ** (note.level_db / 20.0) * note_envelope(rng, note, n, sr) * y


@cache
def _eightfold(path: Path) -> np.ndarray:
    """Return a real note at eight times its rate: dense enough to read between samples linearly."""
    return resample_poly(soundfile.read(path)[0], 8, 1)


# --- a clip -----------------------------------------------------------------------------------


def mix(
    rng: np.random.Generator,
    notes: Sequence[Note],
    *,
    sr: float = SR,
    tail_s: float = 0.6,
    real: RealNotes | None = None,
) -> np.ndarray:
    """Return the notes played on one instrument, dry."""
    body = body_db(rng)
    y = np.zeros(round((max(n.end_s for n in notes) + tail_s) * sr))
    for note in notes:
        stroke = real.bowed_note(rng, note, sr) if real else bowed_note(rng, note, body, sr)
        first = round(note.start_s * sr)
        stroke = stroke[: len(y) - first]
        y[first : first + len(stroke)] += stroke
    return y


def in_room(
    rng: np.random.Generator, y: np.ndarray, t60_s: float, direct_db: float = -3.0, sr: float = SR
) -> np.ndarray:
    """Return ``y`` in a room: direct sound plus a tail that falls 60 dB in ``t60_s``.

    ``direct_db`` is direct over reverberant energy.
    """
    n = int(t60_s * sr)
    t = np.arange(n) / sr
    tail = rng.standard_normal(n) * 10.0 ** (-3.0 * t / t60_s)
    tail[: int(0.002 * sr)] = 0.0
    tail *= np.sqrt(10.0 ** (-direct_db / 10.0) / np.sum(tail**2))
    tail[0] = 1.0
    return fftconvolve(y, tail)[: len(y)]


def with_noise(rng: np.random.Generator, y: np.ndarray, snr_db: float) -> np.ndarray:
    """Return ``y`` with noise (white and 1/f in equal parts) ``snr_db`` below its loud part."""
    n = len(y)
    spectrum = np.fft.rfft(rng.standard_normal(n))
    pink = np.fft.irfft(spectrum / np.sqrt(np.arange(len(spectrum)) + 20.0), n)
    white = rng.standard_normal(n)
    noise = pink / np.std(pink) + white
    loud = np.percentile(np.abs(y), 90.0) / 1.645
    return y + noise / np.std(noise) * loud * 10.0 ** (-snr_db / 20.0)


def through_codec(y: np.ndarray, codec: str = "aac", kbps: int = 64, sr: int = SR) -> np.ndarray:
    """Return ``y`` after a round trip through ffmpeg's ``aac`` or ``libopus`` encoder."""
    container = {"aac": "adts", "libopus": "ogg"}[codec]
    wav = io.BytesIO()
    soundfile.write(wav, np.clip(y, -1.0, 1.0), sr, format="WAV", subtype="FLOAT")
    quiet = ["ffmpeg", "-v", "error", "-nostdin"]
    encode = [*quiet, "-f", "wav", "-i", "-", "-c:a", codec, "-b:a", f"{kbps}k"]
    coded = subprocess.run(
        [*encode, "-f", container, "-"], input=wav.getvalue(), capture_output=True, check=True
    ).stdout
    decoded = subprocess.run(
        [*quiet, "-i", "-", "-f", "f32le", "-ac", "1", "-ar", str(sr), "-"],
        input=coded,
        capture_output=True,
        check=True,
    ).stdout
    back = np.frombuffer(decoded, dtype=np.float32).astype(np.float64)
    delay = 1024 if codec == "aac" else 0  # raw AAC keeps the encoder's priming samples
    back = back[delay : delay + len(y)]
    return np.pad(back, (0, len(y) - len(back)))


def truth_of(notes: Sequence[Note], shortest_s: float = 0.12) -> list[TrueSounding]:
    """Return what sounds when: a new sounding wherever the set of bowed strokes changes."""
    times = sorted({t for n in notes for t in (n.start_s, n.end_s)})
    found: list[tuple[float, float, tuple[Note, ...]]] = []
    for start, end in pairwise(times):
        now = tuple(n for n in notes if n.start_s <= start + 1e-9 and n.end_s >= end - 1e-9)
        if now and end - start >= shortest_s:
            found.append((start, end, now))
    return [TrueSounding(s, e, tuple(sorted(_settled_hz(n) for n in now))) for s, e, now in found]


def _settled_hz(note: Note) -> float:
    last = note.glide[-1][1] if note.glide else 0.0
    return note.f0_hz * 2.0 ** (last / 1200.0)


# --- what pupils play ---------------------------------------------------------------------------

SIZES = {  # just sizes in cents (Ellis, in Helmholtz, On the Sensations of Tone, 1885, App. XX)
    "second": 203.910,
    "minor third": 315.641,
    "major third": 386.314,
    "fourth": 498.045,
    "tritone": 590.224,
    "fifth": 701.955,
    "minor sixth": 813.686,
    "major sixth": 884.359,
    "seventh": 1017.596,
    "octave": 1200.0,
    "ninth": 1403.910,
    "minor tenth": 1515.641,
    "major tenth": 1586.314,
}


def random_pair(
    rng: np.random.Generator, size: str, lowest: float = 48.0, highest: float = 76.0
) -> tuple[float, float]:
    """Return (lower, upper) in Hz: a double stop of that size, mistuned by up to 60 cents."""
    a4 = rng.uniform(415.0, 448.0)
    low = midi_hz(float(rng.integers(int(lowest), int(highest) + 1)) + rng.uniform(-0.3, 0.3), a4)
    off = rng.uniform(-60.0, 60.0) if rng.random() < 0.4 else rng.uniform(-20.0, 20.0)
    return low, low * 2.0 ** ((SIZES[size] + off) / 1200.0)


def double_stop(
    rng: np.random.Generator,
    pair: tuple[float, float],
    start_s: float,
    length_s: float,
    *,
    vibrato_cents: float = 0.0,
    spread_db: float = 6.0,
) -> list[Note]:
    """Return both voices of a double stop, attacked within 20 ms, unequal by ``spread_db``."""
    tilt = rng.uniform(-spread_db, spread_db)
    late = rng.uniform(-0.02, 0.02)
    lower = Note(start_s, start_s + length_s, pair[0], 0.5 * tilt, vibrato_cents)
    upper = replace(lower, f0_hz=pair[1], level_db=-0.5 * tilt)
    if late > 0.0:
        return [lower, replace(upper, start_s=start_s + late)]
    return [replace(lower, start_s=start_s - late), upper]


def piano_note(
    rng: np.random.Generator, f0_hz: float, length_s: float, sr: float = SR
) -> np.ndarray:
    """Return a struck string: stretched partials, f_k = k f0 sqrt(1 + B k^2), each decaying.

    B of 1e-4 to 1e-3 in the middle of the keyboard (Fletcher & Rossing, chapter on the piano).
    """
    t = np.arange(round(length_s * sr)) / sr
    stiffness = rng.uniform(2e-4, 8e-4)
    y = np.zeros(len(t))
    for k in range(1, 16):
        f = k * f0_hz * np.sqrt(1.0 + stiffness * k * k)
        if f > 0.45 * sr:
            break
        decay = rng.uniform(1.2, 2.5) * (1.0 + 0.35 * k)
        y += (
            k ** -rng.uniform(0.9, 1.4)
            * np.exp(-decay * t)
            * np.sin(2.0 * np.pi * f * t + rng.uniform(0.0, 6.28))
        )
    return 0.2 * y * np.clip(t / 0.004, 0.0, 1.0) * np.clip((t[-1] - t) / 0.05, 0.0, 1.0)


def speech_like(rng: np.random.Generator, length_s: float, sr: float = SR) -> np.ndarray:
    """Return babble with a speaking voice's shape: gliding pitch, moving formants, syllables."""
    n = round(length_s * sr)
    t = np.arange(n) / sr
    f0 = rng.uniform(100.0, 250.0) * 2.0 ** (0.25 * smooth_noise(rng, n, sr, 3.0))
    base = np.exp(2j * np.pi * np.cumsum(f0) / sr)
    formants = [(500.0, 0.3, 90.0), (1500.0, 0.3, 120.0), (2500.0, 0.1, 160.0)]
    paths = [(c * 2.0 ** (s * smooth_noise(rng, n, sr, 4.0)), w) for c, s, w in formants]
    y, turn = np.zeros(n), np.ones(n, complex)
    for k in range(1, 30):
        turn = turn * base
        gain = sum(1.0 / (1.0 + ((k * f0 - c) / w) ** 2) for c, w in paths)
        y += gain / k**0.5 * turn.imag
    syllable = np.clip(smooth_noise(rng, n, sr, 5.0) + 0.6, 0.0, 1.0)
    voiced = np.clip(3.0 * smooth_noise(rng, n, sr, 3.0) + 1.0, 0.0, 1.0)
    hiss = np.diff(rng.standard_normal(n + 1)) * (1.0 - voiced)
    out = syllable * (voiced * y / np.std(y) + 0.3 * hiss)
    return 0.1 * out * np.clip(t / 0.05, 0.0, 1.0)


def metronome(rng: np.random.Generator, length_s: float, sr: float = SR) -> np.ndarray:
    """Return clicks: 30 ms of a decaying 1 to 2.5 kHz tone, 60 to 120 a minute."""
    y = np.zeros(round(length_s * sr))
    t = np.arange(round(0.03 * sr)) / sr
    click = 0.3 * np.exp(-t / 0.006) * np.sin(2.0 * np.pi * rng.uniform(1000.0, 2500.0) * t)
    for at in np.arange(0.2, length_s - 0.1, 60.0 / rng.uniform(60.0, 120.0)):
        first = round(at * sr)
        y[first : first + len(click)] += click
    return y
