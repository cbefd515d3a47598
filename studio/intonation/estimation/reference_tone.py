"""The clip's A4 from a reference tone: a fork, a tuner's tone or the open A, sounding alone.

Conventions: spans are (start, end) in seconds of the clip; A4 in Hz.

Method
------
A tone of a known pitch class fixes A4 whatever its octave. The strongest line of the span's
spectrum that lies, octaves aside, where that class can be (A4 between 380 and 480 Hz) is brought
down to 0 Hz and its phase differentiated (the instantaneous frequency; Boashash 1992, *Proc. IEEE*
80(4), 520-538). No other of a tone's first six partials falls there: the third lies 702 cents and
the fifth 386 cents above a multiple of two. A fork or a tuner gives a single partial, which the fit
of a voice (:mod:`studio.intonation.estimation`) does not take for a note; hence a way of its own.
The uncertainty is the standard error of the pitch of the span's quarters.
"""

import math
from fractions import Fraction

import numpy as np
from scipy.signal import resample_poly

from studio.intonation.model.measurement import Reference
from studio.intonation.model.options import A4_HZ_BOUNDS, LONGEST_TONE_S
from studio.theory import A4_HZ, Pitch, as_ratio, in_cents

RATE_HZ = 22050
LOWEST_HZ, HIGHEST_HZ = 100.0, 4000.0  # where a reference tone's strongest line may lie
CLEAR_DB = 15.0  # the line above the middle of the spectrum; noise has lines of up to 13 dB
LEAST_SHARE = 0.25  # of the strongest line: third partials of other notes fall where A can be
QUARTERS = 4  # parts of the span that must agree
MOST_APART_CENTS = 10.0  # standard deviation between them; more is no tone that is held
BLOCK_S = 0.02  # of the line brought down to 0 Hz, averaged: a band of 50 Hz
FLOOR_CENTS = 0.3  # a tone is not trusted further: forks warm up, strings are bowed harder


def require_within(span_s: tuple[float, float], length_s: float) -> None:
    """Refuse a span that ends after a clip of ``length_s`` seconds, by ``ValueError``."""
    if span_s[1] > length_s:
        raise ValueError(
            f"the reference tone's span ends at {span_s[1]:g} s; "
            f"the clip is {length_s:.1f} s long: choose a span within it"
        )


def from_tone(y: np.ndarray, sr: float, span_s: tuple[float, float], pitch: str) -> Reference:
    """A4 from the tone in ``span_s``, or the ``assumed`` reference where none can be measured.

    Parameters
    ----------
    y : np.ndarray, shape (n,)
        The clip, mono, -1..1.
    sr : float
        Samples per second.
    span_s : (start, end)
        Seconds; of a span longer than ``LONGEST_TONE_S`` the rest is not listened to.
    pitch : str
        The tone's pitch; its octave does not matter.

    Raises
    ------
    ValueError
        When the span does not lie within the clip.
    """
    require_within(span_s, len(y) / float(sr))
    start_s, end_s = span_s[0], min(span_s[1], span_s[0] + LONGEST_TONE_S)
    ratio = Fraction(RATE_HZ / float(sr)).limit_denominator(1000)
    piece = np.asarray(y[int(start_s * sr) : int(end_s * sr)], dtype=np.float64)
    piece = resample_poly(piece, ratio.numerator, ratio.denominator)
    rate = round(sr * ratio.numerator / ratio.denominator)
    line_hz = _strongest(piece, rate, Pitch.parse(pitch))
    if line_hz is None:
        return Reference()
    quarters = _quarters(piece, rate, line_hz)
    cents = in_cents(quarters / line_hz)
    apart = float(np.std(cents, ddof=1))
    if not apart < MOST_APART_CENTS:
        return Reference()
    tone_hz = np.array(line_hz * as_ratio(np.mean(cents)))
    a4_hz = float(_as_a4(tone_hz, Pitch.parse(pitch)))
    return Reference(a4_hz, math.hypot(apart / math.sqrt(QUARTERS), FLOOR_CENTS), "tone")


def _quarters(piece: np.ndarray, rate: int, line_hz: float) -> np.ndarray:
    """Mean frequency of the line at ``line_hz`` in each quarter of the piece, Hz, shape (4,)."""
    width = round(BLOCK_S * rate)
    turned = piece * np.exp(-2j * np.pi * line_hz * np.arange(len(piece)) / rate)
    line = turned[: len(piece) // width * width].reshape(-1, width).mean(axis=1)
    turns = line[1:] * line[:-1].conj()  # its angle is 2 pi (f - line_hz) a block
    sums = np.array([part.sum() for part in np.array_split(turns, QUARTERS)])
    return line_hz + np.angle(sums) / (2.0 * np.pi * width / rate)


def _as_a4(f_hz: np.ndarray, pitch: Pitch) -> np.ndarray:
    """The A4 that a tone of this pitch class speaks for, octaves folded away around 440 Hz."""
    octaves = np.log2(f_hz / pitch.frequency(A4_HZ))
    low = math.log2(A4_HZ_BOUNDS[0] / A4_HZ)
    return np.asarray(A4_HZ * 2.0 ** ((octaves - low) % 1.0 + low))


def _strongest(piece: np.ndarray, rate: int, pitch: Pitch) -> float | None:
    """The strongest line where the pitch class can be, in Hz; ``None`` where nothing stands out."""
    power = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), 2 * len(piece))) ** 2
    hz = np.fft.rfftfreq(2 * len(piece), 1.0 / rate)
    heard = (hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ)
    hz, power = hz[heard], power[heard]
    allowed = _as_a4(hz, pitch) <= A4_HZ_BOUNDS[1]
    if not allowed.any():
        return None
    best = int(np.argmax(np.where(allowed, power, 0.0)))
    least = max(10.0 ** (CLEAR_DB / 10.0) * np.median(power), LEAST_SHARE * power.max())
    return float(hz[best]) if power[best] > least else None
