"""What phones and their programs do to sound: codec, gain control, clipping, noise, band.

Each takes sound, shape (n,), at 44.1 kHz and a random generator, and returns the same shape on
the same time axis.
"""

from collections.abc import Callable

import numpy as np
from scipy.signal import butter, lfilter, sosfilt

from tests.benchmarks.ear.material import SR
from tests.intonation.synth import through_codec, with_noise

Change = Callable[[np.random.Generator, np.ndarray], np.ndarray]

GAIN_TARGET = 0.12  # mean level that the gain control aims at, full scale 1
ATTACK_S, RELEASE_S = 0.02, 0.8
LARGEST_GAIN = 12.0
CLIPPED_SHARE = 0.6  # of the peak: what lies beyond is cut off
BAND_HZ = (200.0, 8000.0)


def _same(_rng: np.random.Generator, y: np.ndarray) -> np.ndarray:
    return y


def _codec(name: str, kbps: int) -> Change:
    return lambda _rng, y: through_codec(y, name, kbps, SR)


def gain_controlled(_rng: np.random.Generator, y: np.ndarray) -> np.ndarray:
    """Level held near ``GAIN_TARGET``: quick to turn down, slow to turn up, as phones do."""
    block = 256
    count = -(-len(y) // block)
    power = np.add.reduceat(np.square(y), np.arange(0, len(y), block)) / block
    level = np.empty(count)
    held = 1e-4
    for i, now in enumerate(np.sqrt(power)):
        time_s = ATTACK_S if now > held else RELEASE_S
        held += (now - held) * (1.0 - np.exp(-block / SR / time_s))
        level[i] = held
    gain = np.minimum(GAIN_TARGET / np.maximum(level, 1e-6), LARGEST_GAIN)
    gain = np.interp(np.arange(len(y)), np.arange(count) * block, gain)
    return np.tanh(gain * y)


def clipped(_rng: np.random.Generator, y: np.ndarray) -> np.ndarray:
    """Everything beyond ``CLIPPED_SHARE`` of the peak cut off, then at full scale."""
    limit = CLIPPED_SHARE * float(np.max(np.abs(y)))
    return np.clip(y, -limit, limit) / limit


def noisy(rng: np.random.Generator, y: np.ndarray) -> np.ndarray:
    """Noise 10 dB below the sound's loud part."""
    y = with_noise(rng, y, 10.0)
    return 0.5 * y / np.max(np.abs(y))


def narrow(_rng: np.random.Generator, y: np.ndarray) -> np.ndarray:
    """A microphone's band of 200 Hz to 8 kHz, with a resonance where it ends."""
    y = sosfilt(butter(3, BAND_HZ, "bandpass", fs=SR, output="sos"), y)
    w = 2.0 * np.pi * 3200.0 / SR  # a peak of some decibels at 3.2 kHz
    peak = lfilter([1.0, -1.0], [1.0, -1.8 * np.cos(w), 0.81], y)
    return y + 0.2 * peak


CHANGES: dict[str, Change] = {
    "clean": _same,
    "AAC 64 kbit/s": _codec("aac", 64),
    "AAC 32 kbit/s": _codec("aac", 32),
    "Opus 24 kbit/s": _codec("libopus", 24),
    "gain control": gain_controlled,
    "clipping": clipped,
    "noise 10 dB": noisy,
    "band 200 Hz to 8 kHz": narrow,
}
