"""The Cramér-Rao bound: the least standard deviation that noise alone allows a pitch.

Conventions: amplitudes are peak amplitudes of cosines; ``noise_sd`` is the standard deviation
of white noise per sample; results are standard deviations in cents.

For one harmonic source with amplitudes A_k in white noise of variance s^2 over N samples,

    var(w0) >= 24 s^2 / (N^3 * sum_k k^2 A_k^2),   w0 in radians per sample,

for N large against the period (one tone: Rife & Boorstyn 1974, *IEEE Trans. Inf. Theory* 20,
591-598; harmonics: Nielsen et al. 2017, *Signal Processing* 135, 188-197). For several sources
the full Fisher matrix of all pitches, amplitudes and phases is inverted; it agrees with the
formula until partials of two sources come within about 1 / duration of each other, as in an
octave nearly in tune.

Noise is not what limits: at 30 dB in a room of 0.4 s the bound of an interval is about 0.0007 c
and the median error 0.03 c; at 10 dB the bound is ten times as high and the error hardly grows.
What limits are the room, which lets every partial remember where the pitch was; the bow, whose
sway the amplitudes take up; under vibrato wrong minima; and on recorded notes that carrier and
centre of power part (``estimation/goodness_of_fit.py``).
"""

import numpy as np

from studio.theory import RELATIVE_PER_CENT


def harmonic_bound_cents(
    f0_hz: float, amplitudes: np.ndarray, noise_sd: float, sr: int, duration_s: float
) -> float:
    """Closed form for one source. ``amplitudes`` (K,) of partials 1..K."""
    k = np.arange(1, len(amplitudes) + 1)
    n = sr * duration_s
    variance = 24 * noise_sd**2 / (n**3 * np.sum((k * amplitudes) ** 2))
    return float(np.sqrt(variance) * sr / (2 * np.pi * f0_hz) * 1200 / np.log(2))


def joint_covariance_cents(
    f0_hz: np.ndarray,
    amplitudes: np.ndarray,
    phases: np.ndarray,
    noise_sd: float,
    sr: int,
    duration_s: float,
) -> np.ndarray:
    """Bound on the covariance of all pitches of several sources, in cents squared, (V, V).

    ``amplitudes`` and ``phases`` (V, K) of partials 1..K of every voice.
    """
    t = np.arange(round(sr * duration_s)) / sr
    t = t - t.mean()
    voices, partials = amplitudes.shape
    k = np.arange(1, partials + 1)
    slopes, nuisance = [], []
    for v in range(voices):
        angle = 2 * np.pi * f0_hz[v] * k[:, None] * t + phases[v][:, None]
        wave = amplitudes[v][:, None] * np.sin(angle)
        per_cent = 2 * np.pi * f0_hz[v] * RELATIVE_PER_CENT
        slopes.append(-(k[:, None] * wave).sum(axis=0) * t * per_cent)
        nuisance += [*np.cos(angle), *(-wave)]
    jacobian = np.array(slopes + nuisance)
    fisher = jacobian @ jacobian.T / noise_sd**2
    scale = np.sqrt(np.diag(fisher))
    covariance = np.linalg.inv(fisher / np.outer(scale, scale)) / np.outer(scale, scale)
    return covariance[:voices, :voices]


def interval_bound_cents(covariance: np.ndarray, low: int = 0, high: int = 1) -> float:
    """Least standard deviation of the interval between two voices."""
    variance = covariance[low, low] + covariance[high, high] - 2 * covariance[low, high]
    return float(np.sqrt(variance))
