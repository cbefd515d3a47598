"""Finding the pitch of a voice whose every partial lies beside another voice's.

Conventions
-----------
* The *parent* is the voice below (or beside); the *hidden* voice lies ``offset_cents`` from n
  times the parent: n = 1 is a unison, 2 an octave, 3 a twelfth.
* Offsets are in cents; an offset within the width of a spectral line cannot be told from zero.

Method
------
All partials of the parent are demodulated by its own phase, fitted before on the partials that
are its alone. Movement that both voices share (vibrato of one hand, the note's wander) vanishes
with it, and near partial n * k of the parent two lines remain: the parent's at 0 Hz and the
hidden voice's at k * n * f * (2^(offset / 1200) - 1) Hz. For every offset on a grid the line's
least-squares gain, with the parent's slow amplitude projected out, is summed over k as
log-likelihood (the two-line form of the nonlinear least-squares periodogram; Rife & Boorstyn
1976, *Bell Syst. Tech. J.* 55, 1389-1410). Because the lines' distances grow with k, offsets
that merely fit a beat of one partial lose. The best offsets start the joint fit.

Glides: the search is repeated in short windows along the note, with the parent's coarse track for
its phase. Each window offers a few offsets with their gains; the path through them with the most
gain less a price on movement (Viterbi, as in ``pitch_tracks``) is the voice's glide, in cents
relative to the track's ``f0_hz``. Too coarse to measure an interval by, it shows when a pupil slid
an octave into tune.
"""

import itertools
from dataclasses import dataclass

import numpy as np
from scipy import fft

from studio.intonation.estimation.basebands import (
    KAPPA,
    MOVING_HALF_BAND_HZ,
    Spectrum,
    transform,
    tukey,
)
from studio.intonation.estimation.pitch_tracks import FEWEST_FREE, Track, near_multiple
from studio.theory import as_ratio, in_cents

# Chosen on made and recorded octaves, twelfths and unisons:
REACH_CENTS = 65.0  # beyond the offset that the given pitches have
STEP_CENTS = 0.5  # of the grid; the fit is finer
UNISON_REACH_CENTS = 60.0  # of both lines about the middle of the given pitches
UNISON_STEP_CENTS = 1.0  # of that grid, whose pairs are tried
HALF_BAND_HZ = 130.0  # widest half band: where the upper voice's line may lie
MARGIN_HZ = 8.0  # beyond the offsets, of a band: a line's width
BAND_SHARE = 0.45  # of the parent's pitch, half a band at most: bands must not meet
CLEAR_SHARE = 0.6  # of half a band, that another voice's partial keeps away, and MARGIN_HZ
MOST_PARTIALS = 8  # of the hidden voice
TOP_HZ = 5000.0  # of its partials, as in ``windows``
SWAYS = 3  # smooth shapes of the parent's amplitude, taken out first
RIDGE = 0.05  # on them, a sample: a bowed string's partials sway, they do not jump
LEAST_NORM = 0.05  # share of a line that counts as left by the parent, at least
LEAST_LEFT = 1e-3  # of a band's energy, unexplained at least: no room is cleaner
DISTINCT = 1.0001  # of a line's norm: keeps two lines on one bin solvable
PRIOR_CENTS = 30.0  # how far off the given pitches may be
APART_CENTS = 2.5  # starts nearer than this are the same
# Chosen, for glides:
WINDOW_S = 0.44  # half the fit's: the shortest that resolves an octave's two lines
STEP_S = 0.16  # from window to window
LEAST_WINDOWS = 3  # fewer show no path
PRICE_PER_CENT = 0.8  # nats per cent of movement from window to window
LEAST_GAIN = 40.0  # mean nats per window; below, the path means nothing


@dataclass(frozen=True, slots=True)
class Lines:
    """Demodulated partials: ``s`` (K, M), Hz per cent of offset ``slope_hz`` (K,), ``limit_hz``
    (K,) of each band, ``time_s`` and ``taper`` (M,), padded transform length ``n_fft``."""

    s: np.ndarray
    slope_hz: np.ndarray
    limit_hz: np.ndarray
    time_s: np.ndarray
    taper: np.ndarray
    n_fft: int
    period_s: float


def demodulate(
    spectrum: Spectrum,
    f_hz: float,
    n: int,
    shape_cents: np.ndarray,
    shape_time_s: np.ndarray,
    others_hz: np.ndarray,
    expected_cents: float,
) -> Lines:
    """Basebands at multiples of ``n * f_hz``, with the movement ``shape_cents`` taken out.

    Bands that a third voice (``others_hz``) enters are left out.
    """
    df = spectrum.spacing_hz
    half = int(HALF_BAND_HZ / df)
    m = 2 * half + 2
    time = np.arange(m) * (spectrum.period_s / m) - spectrum.length_s / 2
    k = np.arange(1, MOST_PARTIALS + 1)
    centre = k * n * f_hz
    reach = (abs(expected_cents) + REACH_CENTS) * KAPPA * centre
    limit = np.minimum(np.minimum(reach + MARGIN_HZ, f_hz * BAND_SHARE), HALF_BAND_HZ)
    top = min(TOP_HZ, (len(spectrum.bins) - half - 2) * df)
    keep = centre < top
    for other in others_hz:
        nearest = np.maximum(np.round(centre / other), 1) * other
        keep &= np.abs(centre - nearest) > limit * CLEAR_SHARE + MARGIN_HZ
    keep[0] |= not keep.any()
    k, centre, limit = k[keep], centre[keep], limit[keep]
    first = np.round(centre / df).astype(int)
    index = np.clip(first[:, None] + np.arange(m) - m // 2, 0, len(spectrum.bins) - 1)
    inside = np.abs(index * df - centre[:, None]) <= limit[:, None]
    values = np.where(inside, spectrum.bins[index], 0)
    z = fft.ifft(fft.ifftshift(values, axes=1), axis=1) * m
    shape = np.interp(time, shape_time_s, shape_cents)
    drift = np.cumsum(shape) * (spectrum.period_s / m)
    turn = 2 * np.pi * ((centre - first * df)[:, None] * time + (centre * KAPPA)[:, None] * drift)
    return Lines(
        z * np.exp(-1j * turn),
        centre * KAPPA,
        limit,
        time,
        tukey(time, spectrum.length_s),
        4 * fft.next_fast_len(m),
        spectrum.period_s,
    )


def _spectra(lines: Lines, signals: np.ndarray) -> np.ndarray:
    """Inner products of ``signals`` (..., M) with a tapered line at every padded bin."""
    return fft.fft(signals * lines.taper, lines.n_fft, axis=-1)


def _bins(lines: Lines, hz: np.ndarray) -> np.ndarray:
    """Index of the padded transform for a frequency offset."""
    spacing = len(lines.time_s) / lines.period_s / lines.n_fft
    return np.round(hz / spacing).astype(int) % lines.n_fft


def _gain(lines: Lines, energy: np.ndarray, explained: np.ndarray) -> np.ndarray:
    """Log-likelihood gain of explaining part of each band's energy, shape (K, ...)."""
    dof = 2 * lines.limit_hz * lines.period_s
    shape = (-1,) + (1,) * (explained.ndim - 1)
    energy, dof = energy.reshape(shape), dof.reshape(shape)
    left = np.maximum(energy - explained, 0) + LEAST_LEFT * energy + 1e-30
    return dof * np.log((energy * (1 + LEAST_LEFT) + 1e-30) / left)


def offsets(
    lines: Lines, expected_cents: float, modulations: np.ndarray, starts: int = 3
) -> list[tuple[float, float]]:
    """The best offsets of one hidden line beside the parent's: [(offset_cents, gain)].

    ``expected_cents`` is the offset by the given pitches; ``modulations`` (R, M) are amplitude
    shapes of the parent beside the smooth ones. Best first; gains are nats.
    """
    u = lines.time_s / (lines.time_s[-1] - lines.time_s[0]) + 0.5
    smooth = np.cos(np.pi * np.arange(SWAYS)[:, None] * u)
    sway = np.concatenate([smooth, modulations]) * lines.taper
    ridge = np.concatenate([RIDGE * np.arange(SWAYS) ** 2, np.full(len(modulations), RIDGE)])
    inverse = np.linalg.inv(sway.conj() @ sway.T + np.diag(len(u) * (ridge + 1e-9)))
    beside = lines.s @ sway.conj().T  # (K, Q): C^H s
    energy = np.sum(np.abs(lines.s) ** 2, axis=1)
    energy = energy - np.einsum("kq,qr,kr->k", beside.conj(), inverse, beside).real
    crossed = _spectra(lines, sway)  # (Q, N): h^H C
    through = inverse.T @ crossed
    norm = np.sum(lines.taper**2) - np.sum(through * crossed.conj(), axis=0).real
    product = _spectra(lines, lines.s) - beside @ through
    reach = abs(expected_cents) + REACH_CENTS
    grid = np.arange(-reach, reach + STEP_CENTS / 2, STEP_CENTS)
    where = _bins(lines, lines.slope_hz[:, None] * grid)
    explained = np.abs(np.take_along_axis(product, where, axis=1)) ** 2
    explained /= np.maximum(norm[where], LEAST_NORM * norm.max())
    reached = np.abs(lines.slope_hz[:, None] * grid) <= lines.limit_hz[:, None]
    gain = np.where(reached, _gain(lines, energy, explained), 0).sum(axis=0)
    gain = gain - 0.5 * ((grid - expected_cents) / PRIOR_CENTS) ** 2
    return _peaks(grid, gain, starts)


def _peaks(grid: np.ndarray, gain: np.ndarray, starts: int) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = []
    for i in np.argsort(gain)[::-1]:
        if all(abs(grid[i] - at) > APART_CENTS for at, _ in found):
            found.append((float(grid[i]), float(gain[i])))
        if len(found) == starts:
            break
    return found


def unison_offsets(
    lines: Lines, expected: tuple[float, float], starts: int = 2
) -> list[tuple[float, float, float]]:
    """The best pairs of lines around a unison: [(low_cents, high_cents, gain)], best first.

    Both are offsets from the demodulating pitch; ``expected`` are those of the given pitches.
    """
    end = UNISON_REACH_CENTS + UNISON_STEP_CENTS / 10
    grid = np.arange(-UNISON_REACH_CENTS, end, UNISON_STEP_CENTS)
    i, j = np.triu_indices(len(grid), 1)
    where = _bins(lines, lines.slope_hz[:, None] * grid)
    s = np.take_along_axis(_spectra(lines, lines.s), where, axis=1)
    between = _spectra(lines, lines.taper[None])[0]
    apart = _bins(lines, lines.slope_hz[:, None] * (grid[j] - grid[i]))
    overlap = between[apart]  # (K, pairs): <line i, line j>
    own = np.sum(lines.taper**2) * DISTINCT
    a, b = s[:, i], s[:, j]
    determinant = own**2 - np.abs(overlap) ** 2
    mixed = 2 * (a.conj() * overlap.conj() * b).real
    explained = (own * (np.abs(a) ** 2 + np.abs(b) ** 2) - mixed) / determinant
    energy = np.sum(np.abs(lines.s) ** 2, axis=1)
    gain = _gain(lines, energy, explained).sum(axis=0)
    away = np.array([grid[i] - expected[0], grid[j] - expected[1]])
    gain = gain - 0.5 * np.sum((away / PRIOR_CENTS) ** 2, axis=0)
    order = np.argsort(gain)[::-1]
    found: list[tuple[float, float, float]] = []
    for p in order:
        pair = (grid[i[p]], grid[j[p]])
        if all(abs(pair[0] - f[0]) + abs(pair[1] - f[1]) > 2 * APART_CENTS for f in found):
            found.append((float(pair[0]), float(pair[1]), float(gain[p])))
        if len(found) == starts:
            break
    return found


def glides(
    y: np.ndarray, sr: float, start_s: float, end_s: float, tracks: list[Track]
) -> list[Track]:
    """Glides of all hidden voices beside visible parents that can be followed."""
    f0 = np.array([t.f0_hz for t in tracks])
    found = []
    for voice, track in enumerate(tracks):
        relation = near_multiple(f0, voice) if track.hidden else None
        if relation and not tracks[relation[0]].hidden:
            glide = _glide(y, sr, start_s, end_s, f0, voice, tracks[relation[0]], relation)
            found += [glide] if glide else []
    return found


def _glide(
    y: np.ndarray,
    sr: float,
    start_s: float,
    end_s: float,
    f0_hz: np.ndarray,
    voice: int,
    parent: Track,
    relation: tuple[int, int],
) -> Track | None:
    centres = np.arange(start_s + WINDOW_S / 2, end_s - WINDOW_S / 2 + 1e-9, STEP_S)
    if len(centres) < LEAST_WINDOWS:
        return None
    index, n = relation
    others = np.array([f for v, f in enumerate(f0_hz) if v not in (voice, index)])
    options = []
    for centre in centres:
        spectrum = transform(
            y, sr, centre - WINDOW_S / 2, centre + WINDOW_S / 2, MOVING_HALF_BAND_HZ
        )
        time = spectrum.time_s
        shape = np.interp(time + centre, parent.time_s, parent.cents)
        mean = float(shape.mean())
        f_parent = parent.f0_hz * as_ratio(mean)
        expected = float(in_cents(f0_hz[voice] / (n * f_parent)))
        lines = demodulate(spectrum, f_parent, n, shape - mean, time, others, expected)
        scored = offsets(lines, expected, np.zeros((0, len(lines.time_s))))
        options.append(np.array([(at + mean, gain) for at, gain in scored]))
    path, gain = _path(options)
    if gain < LEAST_GAIN * len(centres):
        return None
    cents = np.interp(parent.time_s, centres, path)
    level = np.zeros(len(cents))
    return Track(n * parent.f0_hz, parent.time_s, cents, level, level, FEWEST_FREE)


def _path(options: list[np.ndarray]) -> tuple[np.ndarray, float]:
    """The path through each window's (cents, gain) rows, and its gain."""
    total, back = options[0][:, 1], []
    for before, now in itertools.pairwise(options):
        moved = np.abs(now[:, None, 0] - before[None, :, 0])
        worth = total - PRICE_PER_CENT * moved
        back.append(worth.argmax(axis=1))
        total = worth.max(axis=1) + now[:, 1]
    at = int(total.argmax())
    path = [options[-1][at, 0]]
    for row, pointers in zip(options[-2::-1], back[::-1], strict=True):
        at = int(pointers[at])
        path.append(row[at, 0])
    return np.array(path[::-1]), float(total.max())
