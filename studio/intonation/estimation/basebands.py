"""From one stretch of sound to short complex basebands, one per cluster of partials.

Conventions
-----------
* Voice v has the model frequency f_v * (1 + KAPPA * c_v(t)), c_v in cents near f_v and
  KAPPA = ln(2) / 1200 per cent. Partial k of voice v lies at k times that.
* Partials (of any voices) nearer to each other than their bands are wide form a *cluster*:
  they must be fitted together. All others are fitted each on its own.
* A baseband is the analytic signal around the cluster's centre frequency, at M samples per
  window: a cosine of amplitude A becomes a complex exponential of modulus A.

Method
------
The window is tapered at its ends and transformed once. For each cluster the bins around its
centre are cut out (a band of some tens of hertz each way, zeroed beyond the cluster's own
partials) and transformed back: a band-pass, a frequency shift and a decimation at once. What
was tens of thousands of samples is then some twenty rows of about a hundred, which is what
makes the fit fast. See Harris 2004, *Multirate Signal Processing for Communication Systems*,
on channelisers; the statistics of the fit are unchanged because the bands do not overlap.
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from studio.theory import RELATIVE_PER_CENT

KAPPA = RELATIVE_PER_CENT  # by definition: theory's
# Chosen on made and recorded double stops:
STEADY_HALF_BAND_HZ = 44.0  # widest half band kept; sets the samples per window
MOVING_HALF_BAND_HZ = 88.0  # the same where vibrato spreads the upper partials
TAPER = 0.08  # share of the window under each cosine flank: more loses sound, less leaks
LEAST_MARGIN_HZ = 5.0  # on both sides of a cluster, at least ...
MARGIN_LINES = 4.0  # ... and so many widths of a line
BEYOND_SHARE, BEYOND_HZ = 1.02, 60  # above the highest used: partials that may share its band


@dataclass(frozen=True, slots=True)
class Spectrum:
    """One transformed window.

    ``bins``: complex, positive frequencies, scaled so that a cosine of amplitude A summed over
    the window's samples gives A. ``spacing_hz``: between bins. ``start_s``, ``length_s``: the
    window's span. ``half_band_hz`` of the basebands; ``count``: M, their samples. ``period_s``: the
    transform's length.
    """

    bins: np.ndarray
    spacing_hz: float
    start_s: float
    length_s: float
    period_s: float
    half_band_hz: float

    @property
    def count(self) -> int:
        """M, samples per baseband."""
        return 2 * int(self.half_band_hz / self.spacing_hz) + 2

    @property
    def time_s(self) -> np.ndarray:
        """Sample times of every baseband, relative to the window's middle, shape (M,)."""
        return np.arange(self.count) * (self.period_s / self.count) - self.length_s / 2


@dataclass(frozen=True, slots=True)
class Bands:
    """Clusters of one window. C clusters, at most S partials each, M samples.

    ``z`` (C, M) complex basebands; ``centre_hz`` (C,); ``voice`` and ``partial`` (C, S), with
    partial 0 where a cluster has fewer than S; ``dof`` (C,) complex degrees of freedom (bins);
    ``time_s`` and ``taper`` (M,).
    """

    z: np.ndarray
    centre_hz: np.ndarray
    voice: np.ndarray
    partial: np.ndarray
    dof: np.ndarray
    time_s: np.ndarray
    taper: np.ndarray

    def subset(self, keep: np.ndarray) -> "Bands":
        """The clusters where ``keep`` (C,) is true."""
        sources = max(1, int((self.partial[keep] > 0).sum(axis=1).max(initial=0)))
        return Bands(
            self.z[keep],
            self.centre_hz[keep],
            self.voice[keep, :sources],
            self.partial[keep, :sources],
            self.dof[keep],
            self.time_s,
            self.taper,
        )


def tukey(time: np.ndarray, length: float) -> np.ndarray:
    """Tapered cosine window over -length/2..length/2, zero outside; same shape as ``time``."""
    edge = np.clip((length / 2 - np.abs(time)) / (TAPER * length), 0, 1)
    return np.sin(edge * np.pi / 2) ** 2


def transform(
    y: np.ndarray, sr: float, start_s: float, end_s: float, half_band_hz: float
) -> Spectrum:
    """Taper and transform y between ``start_s`` and ``end_s`` (clipped to the sound)."""
    first = max(0, round(start_s * sr))
    last = min(len(y), max(first + 2, round(end_s * sr)))
    piece = np.asarray(y[first:last], dtype=float)
    n = len(piece)
    n_fft = fft.next_fast_len(n, real=True)
    window = tukey((np.arange(n) - n / 2) / sr, n / sr)
    bins = fft.rfft(piece * window, n_fft) * (2 / n_fft)
    spacing = sr / n_fft
    return Spectrum(bins, spacing, first / sr, n / sr, n_fft / sr, half_band_hz)


def _members(
    low_hz: np.ndarray, high_hz: np.ndarray, fmax_hz: float, spread_cents: float
) -> tuple[np.ndarray, ...]:
    """Voice, partial, lowest and highest frequency of every partial, by frequency."""
    f0_hz = np.sqrt(low_hz * high_hz)
    partials = [np.arange(1, int(fmax_hz / f) + 1) for f in f0_hz]
    voice = np.concatenate([np.full(len(k), v) for v, k in enumerate(partials)])
    partial = np.concatenate(partials)
    stray = spread_cents * KAPPA
    low, high = partial * low_hz[voice] * (1 - stray), partial * high_hz[voice] * (1 + stray)
    order = np.argsort(low)
    return voice[order], partial[order], low[order], high[order]


def cut(
    spectrum: Spectrum,
    f0_hz: np.ndarray,
    *,
    kmax: int,
    fmax_hz: float,
    spread_cents: float,
    others_hz: np.ndarray | None = None,
) -> Bands:
    """Cut the basebands of all clusters.

    Parameters
    ----------
    f0_hz : shape (V,), Hz. kmax : most partials per voice. fmax_hz : highest partial kept.
    spread_cents : how far a partial may stray from k * f0 (movement and uncertainty).
    others_hz : shape (N, V), other pitches that the same bands must serve, so that fits started
        from them explain the same data and their costs can be compared.
    """
    margin = max(LEAST_MARGIN_HZ, MARGIN_LINES / spectrum.length_s)
    fmax_hz = min(fmax_hz, (len(spectrum.bins) - 2) * spectrum.spacing_hz - spectrum.half_band_hz)
    every = f0_hz[None] if others_hz is None else np.vstack([f0_hz[None], others_hz])
    # every partial that sounds has to be known, also those too high to be used
    voice, partial, low, high = _members(
        every.min(axis=0), every.max(axis=0), fmax_hz * BEYOND_SHARE + BEYOND_HZ, spread_cents
    )
    low, high = low - margin, high + margin
    reached = np.maximum.accumulate(high)
    groups = np.cumsum(np.concatenate([[0], low[1:] > reached[:-1]]))
    rows = []
    for inside in np.split(np.arange(len(low)), np.flatnonzero(np.diff(groups)) + 1):
        if not len(inside):
            continue  # no partial of any voice lies below fmax_hz
        bottom, top = low[inside[0]], high[inside].max()
        usable = (partial[inside] <= kmax).any() and top - margin <= fmax_hz
        once = len(set(voice[inside])) == len(inside)
        if usable and once and top - bottom <= 2 * spectrum.half_band_hz:
            rows.append((inside, bottom, top))
    return _fill(spectrum, rows, voice, partial)


def _fill(spectrum: Spectrum, rows: list, voice: np.ndarray, partial: np.ndarray) -> Bands:
    m, df = spectrum.count, spectrum.spacing_hz
    sources = max([len(inside) for inside, _, _ in rows], default=1)
    voices = np.zeros((len(rows), sources), dtype=int)
    partials = np.zeros((len(rows), sources), dtype=int)
    centre = np.array([round((low + high) / 2 / df) for _, low, high in rows], dtype=int)
    offset = np.arange(m) - m // 2
    index = centre[:, None] + offset
    valid = (index >= 1) & (index < len(spectrum.bins))
    for i, (inside, low, high) in enumerate(rows):
        voices[i, : len(inside)] = voice[inside]
        partials[i, : len(inside)] = partial[inside]
        valid[i] &= (index[i] * df >= low) & (index[i] * df <= high)
    values = np.where(valid, spectrum.bins[np.clip(index, 0, len(spectrum.bins) - 1)], 0)
    z = fft.ifft(fft.ifftshift(values, axes=1), axis=1) * m
    time = spectrum.time_s
    return Bands(
        z.astype(np.complex64),
        centre * df,
        voices,
        partials,
        valid.sum(axis=1),
        time,
        tukey(time, spectrum.length_s),
    )
