"""Bowed sound at exactly known pitches, from the real notes in ``bowed-notes``.

A note is resampled by target_hz / median_f0_hz (``notes.csv``), shaped by an attack, a release
and the slight swell of a bow, placed, summed, and heard in a small room through a phone.
Levels in dB; times in seconds from the start of the clip; sound is float64 in about -1..1.
"""

import csv
import functools
import wave
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
from scipy.ndimage import map_coordinates, spline_filter1d
from scipy.signal import butter, fftconvolve, resample_poly, sosfilt

NOTES = Path(__file__).with_name("bowed-notes")
SR = 44_100
OVERSAMPLE = 4
ATTACK_S = 0.07
RELEASE_S = 0.10
EDGE = 0.25  # a note begins and ends where its envelope passes this (-12 dB)
ROOM_T60_S = 0.4
ROOM_DB = -1.0  # reverberant power re direct power
# Strong partials of these notes lie 3 to 5 cents from their fundamental or their label, so a
# neighbour this many semitones further away is taken instead.
FLAWED = {"violin_G5.flac": 2.0, "violin_A5.flac": 4.0}
BAND_HZ = (80.0, 14_000.0)  # what a phone's microphone and its codec leave


@dataclass(frozen=True, slots=True)
class Stroke:
    """One note of one bow stroke. ``start_s``..``end_s`` is where it is heard to sound."""

    start_s: float
    end_s: float
    f0_hz: float
    level_db: float


@functools.cache
def recorded_pitches() -> dict[str, float]:
    """Each recorded note's file name and its median f0 in Hz."""
    with (NOTES / "notes.csv").open(newline="") as file:
        return {row["file"]: float(row["median_f0_hz"]) for row in csv.DictReader(file)}


@functools.cache
def _recorded(name: str) -> np.ndarray:
    """Spline coefficients of one note, oversampled, so that any resampling ratio is exact."""
    with av.open(str(NOTES / name)) as container:
        frames = [frame.to_ndarray().ravel() for frame in container.decode(audio=0)]
    y = np.concatenate(frames).astype(float)
    y /= np.sqrt(np.mean(np.square(y)))
    return np.asarray(spline_filter1d(resample_poly(y, OVERSAMPLE, 1), order=3))


def bowed(f0_hz: float, length_s: float, rng: np.random.Generator) -> np.ndarray:
    """A steady note of RMS 1 at ``f0_hz``, from the recorded note nearest in pitch."""
    pitches = recorded_pitches()
    name = min(
        pitches, key=lambda key: abs(12 * np.log2(f0_hz / pitches[key])) + FLAWED.get(key, 0.0)
    )
    step = OVERSAMPLE * f0_hz / pitches[name]
    coefficients = _recorded(name)
    count = round(length_s * SR)
    spare = len(coefficients) - 1 - count * step
    if spare < 0:
        longest_s = len(coefficients) / step / SR
        raise ValueError(f"length_s is {length_s}; {name} gives at most {longest_s:.2f} s here")
    at = rng.uniform(0, spare) + step * np.arange(count)
    return np.asarray(map_coordinates(coefficients, [at], order=3, prefilter=False))


def envelope(length_s: float, rng: np.random.Generator) -> np.ndarray:
    """Raised-cosine attack and release, and a bow that swells by about a decibel."""
    n, attack, release = round(length_s * SR), round(ATTACK_S * SR), round(RELEASE_S * SR)
    t = np.arange(n) / SR
    shape = 10 ** (rng.uniform(0.3, 1.0) * np.sin(2 * np.pi * rng.uniform(0.6, 1.6) * t) / 20)
    shape[:attack] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(attack) / attack)
    shape[n - release :] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(release) / release)
    return shape


def _lead_s(edge_s: float) -> float:
    """How long a raised cosine of ``edge_s`` takes to reach ``EDGE``."""
    return edge_s * float(np.arccos(1 - 2 * EDGE)) / np.pi


def perform(strokes: list[Stroke], length_s: float, snr_db: float, seed: int) -> np.ndarray:
    """The whole clip: strokes, room, noise and band; RMS while bowing about -20 dB."""
    rng = np.random.default_rng(seed)
    y = np.zeros(round(length_s * SR))
    sounding = np.zeros(len(y), bool)
    for stroke in strokes:
        start_s = stroke.start_s - _lead_s(ATTACK_S)
        long_s = stroke.end_s + _lead_s(RELEASE_S) - start_s
        note = bowed(stroke.f0_hz, long_s, rng) * envelope(long_s, rng)
        at = round(start_s * SR)
        y[at : at + len(note)] += note * 10 ** (stroke.level_db / 20)
        sounding[at : at + len(note)] = True
    y = fftconvolve(y, room(rng))[: len(y)]
    y += noise(len(y), rng) * np.sqrt(np.mean(np.square(y[sounding]))) * 10 ** (-snr_db / 20)
    y = sosfilt(butter(2, BAND_HZ, "bandpass", fs=SR, output="sos"), y)
    y *= 0.1 / np.sqrt(np.mean(np.square(y[sounding])))
    return y / max(1.0, float(np.max(np.abs(y))) / 0.9)


def room(rng: np.random.Generator) -> np.ndarray:
    """Impulse response of a small room: the direct sound, then noise dying by 60 dB in T60."""
    t = np.arange(round(1.2 * ROOM_T60_S * SR)) / SR
    tail = rng.standard_normal(len(t)) * 10 ** (-3 * t / ROOM_T60_S)
    tail[: round(0.004 * SR)] = 0
    tail = sosfilt(butter(1, 5000, fs=SR, output="sos"), tail)
    tail *= 10 ** (ROOM_DB / 20) / np.sqrt(np.sum(np.square(tail)))
    tail[0] = 1.0
    return tail


def noise(count: int, rng: np.random.Generator) -> np.ndarray:
    """Noise of a quiet room (power falling with frequency) of RMS 1."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    f = np.fft.rfftfreq(count, 1 / SR)
    y = np.fft.irfft(spectrum / np.sqrt(np.maximum(f, 50.0)), count)
    return np.asarray(y / np.sqrt(np.mean(np.square(y))))


def write_wav(path: Path, y: np.ndarray) -> None:
    """Write 16-bit mono WAV at 44.1 kHz."""
    with wave.open(str(path), "wb") as writer:
        writer.setparams((1, 2, SR, 0, "NONE", ""))
        writer.writeframes(np.round(np.clip(y, -1, 1) * 32767).astype("<i2").tobytes())
