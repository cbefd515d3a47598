"""The sound at the analysis rate, a stretch at a time.

Conventions
-----------
* ``y`` is mono float, shape (n,), full scale -1..1; ``sr`` in Hz; time 0 is its first sample.
* The analysis rate ``fs`` is close to 22,050 Hz and exactly ``sr * up / down``: the ratio is
  kept small, the true rate is kept known, so no pitch is bent by resampling.
* Outside the clip there is silence. Nothing of the clip's length is ever copied: readers ask for
  seconds, a few blocks are remembered.

Method: polyphase resampling (``scipy.signal.resample_poly``; Crochiere & Rabiner, *Multirate
Digital Signal Processing*, 1983) of blocks that overlap by more than the filter's length.
"""

from fractions import Fraction

import numpy as np
from scipy.signal import resample_poly

TARGET_HZ = 22050.0  # common in music information retrieval, librosa's default: partials to 10 kHz
# Chosen:
LOWEST_SR, HIGHEST_SR = 8000.0, 400000.0  # Hz: below, partials are missing; above, a mistake
FINEST = 1000  # largest denominator of the ratio: exact for every usual rate
BLOCK_S = 20.0  # read at once: longer takes memory, shorter resamples more margins twice
REMEMBERED = 10  # blocks, 18 MB: a clip of three minutes is resampled once for all steps
MARGIN = 64  # output samples read beyond a block, more than the resampling filter reaches
FULL_SCALE = 0.999  # of 1: rounding and codecs leave a clipped sample this near
CLIPPED_SAMPLES = 3  # one or two at full scale may be peaks that just fit


def check_sound(y: np.ndarray, sr: float) -> np.ndarray:
    """Return ``y`` as an array, or raise ValueError saying what is wrong with it.

    Raises
    ------
    ValueError
        When ``y`` is not one-dimensional real numbers, holds NaN or infinity, or ``sr`` is not
        between 8,000 and 400,000 Hz.
    """
    y = np.asarray(y)
    if y.ndim != 1:
        raise ValueError(f"y has shape {y.shape}; it must be mono, shape (n,): mix channels first")
    if not np.issubdtype(y.dtype, np.floating):
        raise ValueError(f"y holds {y.dtype}; it must be floats in -1..1: divide by full scale")
    if not LOWEST_SR <= sr <= HIGHEST_SR:
        raise ValueError(
            f"sr is {sr} Hz; it must be between {LOWEST_SR:.0f} and {HIGHEST_SR:.0f}, e.g. 44100"
        )
    for first in range(0, len(y), 1 << 20):  # a block at a time: no mask as long as the clip
        bad = ~np.isfinite(y[first : first + (1 << 20)])
        if bad.any():
            at = first + int(np.argmax(bad))
            raise ValueError(
                f"y[{at}] is {y[at]} ({at / sr:.3f} s): every sample must be finite; "
                "decode the clip again or replace the damaged samples"
            )
    return y


class Sound:
    """A clip read at the analysis rate.

    Parameters
    ----------
    y : np.ndarray, shape (n,), checked by :func:`check_sound`
    sr : float, Hz
    """

    def __init__(self, y: np.ndarray, sr: float) -> None:
        self.y, self.sr = y, float(sr)
        ratio = Fraction(TARGET_HZ / self.sr).limit_denominator(FINEST)
        self.up, self.down = ratio.numerator, ratio.denominator
        self.fs = self.sr * self.up / self.down
        self.duration_s = len(y) / self.sr
        self._block = max(1, round(BLOCK_S * self.fs / self.up)) * self.up
        self._remembered: dict[int, np.ndarray] = {}

    def read(self, first: int, count: int) -> np.ndarray:
        """Return ``count`` samples from sample ``first``, both at ``fs``; zeros outside."""
        out = np.zeros(count, np.float32)
        b = first // self._block
        while b * self._block < first + count:
            block, at = self._read_block(b), b * self._block
            lo, hi = max(first, at), min(first + count, at + len(block))
            if hi > lo:
                out[lo - first : hi - first] = block[lo - at : hi - at]
            b += 1
        return out

    def clipped(self, start_s: float, end_s: float) -> bool:
        """Say whether samples of this span sit at full scale (``CLIPPED_SAMPLES`` or more)."""
        span = self.y[max(0, int(start_s * self.sr)) : max(0, int(end_s * self.sr))]
        return int(np.count_nonzero(np.abs(span) >= FULL_SCALE)) >= CLIPPED_SAMPLES

    def _read_block(self, b: int) -> np.ndarray:
        if b < 0 or b * self._block >= len(self.y) * self.up / self.down:
            return np.zeros(self._block, np.float32)
        if b not in self._remembered:
            if len(self._remembered) >= REMEMBERED:
                self._remembered.pop(next(iter(self._remembered)))
            self._remembered[b] = self._resample(b * self._block)
        return self._remembered[b]

    def _resample(self, first: int) -> np.ndarray:
        margin = MARGIN * self.up
        source = (first - margin) // self.up * self.down
        length = (self._block + 2 * margin) // self.up * self.down
        piece = np.zeros(length, np.float32)
        lo, hi = max(0, source), min(len(self.y), source + length)
        if hi > lo:
            piece[lo - source : hi - source] = self.y[lo:hi]
        if (self.up, self.down) != (1, 1):
            piece = resample_poly(piece, self.up, self.down).astype(np.float32)
        return piece[margin : margin + self._block]
