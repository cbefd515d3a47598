"""Double stops whose cents are known exactly, for testing how well cents are measured.

Two makers: :func:`bowed_tone` adds up partials (wander, vibrato, uneven spectrum, bow noise);
:func:`real_note` resamples a recorded bowed note to a wanted pitch. :func:`mix` sums voices,
puts them into a room and adds noise. Every voice comes with its own ``cents(t)``, so the
truth of an event is the smooth-weighted mean of the difference (:func:`true_size`).
"""

import csv
import functools
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import soundfile
from scipy import signal
from scipy.interpolate import CubicSpline

from studio.intonation.model.sounding import Sounding, SoundingVoice

NOTES = Path(__file__).resolve().parents[3] / "sample_media" / "bowed-notes"
LEAD_S = 0.15  # silence before the onset, seconds
TAIL_S = 0.25


@dataclass
class Voice:
    """One sounding note: samples and its pitch, both from onset to offset."""

    y: np.ndarray
    f0_hz: float
    cents: np.ndarray = field(default_factory=lambda: np.zeros(1))
    level_db: float = 0.0


@dataclass
class Mix:
    """A finished event: sound, sampling rate, its span and its voices."""

    y: np.ndarray
    sr: int
    start_s: float
    end_s: float
    voices: list[Voice]


def slow_noise(rng: np.random.Generator, n: int, sr: int, bandwidth_hz: float) -> np.ndarray:
    """Gaussian noise of unit standard deviation below ``bandwidth_hz``, shape (n,)."""
    knots = max(8, int(np.ceil(n / sr * bandwidth_hz * 2)) + 6)
    values = rng.standard_normal(knots)
    x = np.linspace(2, knots - 4, n)
    return CubicSpline(np.arange(knots), values)(x)


def bowed_tone(
    rng: np.random.Generator,
    f0_hz: float,
    duration_s: float,
    sr: int = 22050,
    *,
    wander_cents: float = 1.0,
    vibrato_cents: float = 0.0,
    vibrato_hz: float = 5.5,
    vibrato_phase: float | None = None,
    slide_cents: float = 0.0,
    slide_s: float = 0.4,
    bow_noise_db: float = -35.0,
) -> Voice:
    """Add up partials with an uneven spectrum; see the module's docstring."""
    n = int(duration_s * sr)
    t = np.arange(n) / sr
    cents = wander_cents * (0.8 * slow_noise(rng, n, sr, 1.0) + 0.3 * slow_noise(rng, n, sr, 4.0))
    if vibrato_cents:
        rate = vibrato_hz * (1 + 0.04 * slow_noise(rng, n, sr, 1.0))
        extent = vibrato_cents * (1 + 0.12 * slow_noise(rng, n, sr, 1.5))
        phase = rng.uniform(0, 6.28) if vibrato_phase is None else vibrato_phase
        cents = cents + extent * np.sin(2 * np.pi * np.cumsum(rate) / sr + phase)
    if slide_cents:
        cents = cents + slide_cents * 0.5 * (
            1 + np.cos(np.pi * np.clip((t - 0.12) / slide_s, 0, 1))
        )
    phase = 2 * np.pi * np.cumsum(f0_hz * 2 ** (cents / 1200)) / sr
    y = np.zeros(n)
    for k in range(1, int(min(30, 0.45 * sr / f0_hz)) + 1):
        gain = k**-1.0 * 10 ** (rng.normal(0, 5) / 20)
        sway = 10 ** (slow_noise(rng, n, sr, 2.0) * 1.0 / 20)
        y += gain * sway * np.cos(k * phase + rng.uniform(0, 6.28))
    y /= np.std(y)
    noise = signal.lfilter([1, -0.7], [1, -0.5], rng.standard_normal(n))
    y += noise / np.std(noise) * 10 ** (bow_noise_db / 20)
    ramp = np.clip(np.minimum(t / 0.06, (duration_s - t) / 0.06), 0, 1)
    return Voice(y * np.sin(ramp * np.pi / 2) ** 2, f0_hz, cents)


CYCLE_S = 0.2  # of vibrato, about
SHAKES_CENTS = 2.5  # standard deviation of what moves faster than that


@functools.cache
def _catalogue() -> list[tuple[str, float]]:
    with (NOTES / "notes.csv").open() as lines:
        return [(row["file"], float(row["median_f0_hz"])) for row in csv.DictReader(lines)]


@functools.cache
def _recorded(name: str) -> tuple[np.ndarray, int]:
    y, sr = soundfile.read(NOTES / name)
    return y, sr


@functools.cache
def _oversampled(name: str, sr: int) -> np.ndarray:
    """Four times oversampled, and free of what ``sr`` cannot carry."""
    y, recorded_sr = _recorded(name)
    dense = signal.resample(y, 4 * len(y))
    if sr >= recorded_sr:
        return dense
    low_pass = signal.butter(8, 0.45 * sr, fs=4 * recorded_sr, output="sos")
    return signal.sosfiltfilt(low_pass, dense)


def real_note(
    rng: np.random.Generator,
    f0_hz: float,
    duration_s: float,
    sr: int = 22050,
    *,
    vibrato_cents: float = 0.0,
    vibrato_hz: float = 5.5,
    vibrato_phase: float | None = None,
) -> Voice:
    """A recorded note nearest to ``f0_hz``, resampled (time-warped for vibrato) to it."""
    nearest = sorted(_catalogue(), key=lambda row: abs(np.log(row[1] / f0_hz)))
    choice = nearest[int(rng.integers(2))]
    if abs(1200 * np.log2(choice[1] / f0_hz)) > 330:
        choice = nearest[0]
    name, recorded_hz = choice
    _, recorded_sr = _recorded(name)
    dense = _oversampled(name, sr)
    n = int(duration_s * sr)
    cents = np.zeros(n)
    if vibrato_cents:
        t = np.arange(n) / sr
        phase = rng.uniform(0, 6.28) if vibrato_phase is None else vibrato_phase
        cents = vibrato_cents * np.sin(2 * np.pi * vibrato_hz * t + phase)
    speed = f0_hz / recorded_hz * 2 ** (cents / 1200)
    position = np.concatenate([[0.0], np.cumsum(speed[:-1])]) / sr * recorded_sr * 4
    spare = len(dense) - 8 - position[-1]
    position += 4 + rng.uniform(0, max(spare, 0))
    y = np.interp(position, np.arange(len(dense)), dense)
    y /= np.std(y)
    ramp = np.clip(np.minimum(np.arange(n), np.arange(n)[::-1]) / (0.06 * sr), 0, 1)
    return Voice(y * np.sin(ramp * np.pi / 2) ** 2, f0_hz, cents)


def room(
    rng: np.random.Generator, y: np.ndarray, sr: int, rt60_s: float, direct_db: float = -3.0
) -> np.ndarray:
    """Convolve with a direct sound plus an exponentially decaying noise tail."""
    n = int(rt60_s * 1.2 * sr)
    t = np.arange(n) / sr
    tail = rng.standard_normal(n) * 10 ** (-3 * t / rt60_s) * (t > 0.004)
    tail *= 10 ** (-direct_db / 20) / np.linalg.norm(tail)
    tail[0] += 1.0
    return signal.fftconvolve(y, tail)[: len(y)]


def mix(
    rng: np.random.Generator,
    voices: list[Voice],
    sr: int = 22050,
    *,
    snr_db: float = 30.0,
    rt60_s: float = 0.4,
    balance_db: tuple[float, ...] | None = None,
) -> Mix:
    """Sum the voices at the given levels, in a room, with white noise."""
    lead, tail = int(LEAD_S * sr), int(TAIL_S * sr)
    n = max(len(v.y) for v in voices)
    total = np.zeros(lead + n + tail)
    for i, voice in enumerate(voices):
        voice.level_db = balance_db[i] if balance_db else 0.0
        total[lead : lead + len(voice.y)] += voice.y * 10 ** (voice.level_db / 20)
    if rt60_s:
        total = room(rng, total, sr, rt60_s)
    power = np.mean(total[lead : lead + n] ** 2)
    total += rng.standard_normal(len(total)) * np.sqrt(power * 10 ** (-snr_db / 10))
    total *= 0.3 / np.max(np.abs(total))
    return Mix(total, sr, LEAD_S, LEAD_S + n / sr, voices)


def coarse(rng: np.random.Generator, event: Mix, cents: float = 25.0, span_s: float = 0.05):
    """What a segmentation would hand over: pitches and spans with errors."""
    start = event.start_s + rng.uniform(-span_s, span_s)
    end = event.end_s + rng.uniform(-span_s, span_s)
    voices = tuple(
        SoundingVoice(v.f0_hz * 2 ** (rng.uniform(-cents, cents) / 1200), start, end)
        for v in event.voices
    )
    voices = tuple(sorted(voices, key=lambda v: v.f0_hz))
    return Sounding(start, end, voices, 1.0)


def true_cents(event: Mix, voice: int, begin_s: float, end_s: float) -> float:
    """Mean pitch of a voice between two moments, in cents re ``f0_hz``.

    Vibrato counts by whole cycles: its first and last one fade in and out.
    """
    cents = event.voices[voice].cents
    t = event.start_s + np.arange(len(cents)) / event.sr
    cycle = np.ones(round(CYCLE_S * event.sr))
    within = signal.oaconvolve(np.ones(len(cents)), cycle, "same")
    slow = signal.oaconvolve(cents, cycle, "same") / within
    fade_s = CYCLE_S if np.std(cents - slow) > SHAKES_CENTS else 1e-3
    inside = np.clip(np.minimum(t - begin_s, end_s - t) / min(fade_s, (end_s - begin_s) / 2), 0, 1)
    weight = np.sin(inside * np.pi / 2) ** 2
    return float(np.sum(weight * cents) / np.sum(weight))


def held_part(event: Mix, settle_s: float = 0.2) -> tuple[float, float]:
    """Where a note is held: from the landing's end to the release, in seconds."""
    length = event.end_s - event.start_s
    begin = event.start_s + min(settle_s, 0.25 * length)
    return begin, event.end_s - min(0.05, 0.1 * length)


def true_size(event: Mix, low: int = 0, high: int = 1, settle_s: float = 0.2) -> float:
    """True size of the interval in cents: the mean over the held part."""
    span = held_part(event, settle_s)
    f_low, f_high = event.voices[low].f0_hz, event.voices[high].f0_hz
    return float(
        1200 * np.log2(f_high / f_low)
        + true_cents(event, high, *span)
        - true_cents(event, low, *span)
    )


def assert_cents(measured: float, true: float, within: float) -> None:
    """The one way these tests compare cents."""
    assert abs(measured - true) <= within, (
        f"measured {measured:.2f} c, true {true:.2f} c: off by {measured - true:+.2f} c, "
        f"allowed {within} c"
    )


def pair(
    seed: int,
    size_cents: float,
    *,
    low_hz: float = 233.1,
    duration_s: float = 1.2,
    maker=bowed_tone,
    sr: int = 22050,
    **how,
) -> Mix:
    """A double stop in a room at 30 dB, ``size_cents`` wide. ``how`` goes to the maker."""
    rng = np.random.default_rng(seed)
    high_hz = low_hz * 2 ** (size_cents / 1200)
    if maker is bowed_tone:
        how.setdefault("wander_cents", 0.5)
    voices = [maker(rng, f, duration_s, sr, **how) for f in (low_hz, high_hz)]
    return mix(rng, voices, sr)


def through_codec(y: np.ndarray, sr: int, codec: str, kbps: int) -> np.ndarray:
    """A round trip through ffmpeg's ``aac`` or ``libopus`` encoder, same length."""
    container = {"aac": "adts", "libopus": "ogg"}[codec]
    quiet = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-nostdin"]
    raw = ["-f", "f32le", "-ac", "1", "-ar", str(sr)]
    encode = [*quiet, *raw, "-i", "-", "-c:a", codec, "-b:a", f"{kbps}k", "-f", container, "-"]
    sent = np.clip(y, -1, 1).astype(np.float32).tobytes()
    packed = subprocess.run(encode, input=sent, capture_output=True, check=True).stdout
    decode = [*quiet, "-i", "-", *raw, "-"]
    back = subprocess.run(decode, input=packed, capture_output=True, check=True).stdout
    heard = np.frombuffer(back, dtype=np.float32).astype(float)
    heard = heard[1024:] if codec == "aac" else heard  # raw AAC keeps the encoder's priming
    return np.pad(heard, (0, max(0, len(y) - len(heard))))[: len(y)]
