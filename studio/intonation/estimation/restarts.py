"""Looking again for a voice that locked badly: better starts under vibrato.

Conventions: curves are in cents about a voice's ``f0_hz``, as terms of the cosine basis (P,).

Method
------
Under vibrato the likelihood has many local minima: a curve whose swing is a little too wide, too
narrow or too late lines up with side lines of the partials instead of with the partials. From
the true curve the fit is better by tens to thousands of nats, so what is missing is the start.
One voice at a time is looked for in what the others leave unexplained. Its curve is a known
swing p(t) (its own, or that of the voice that locks best), made wider or narrower and delayed:

    offset + r (cos(d) p(t) + sin(d) q(t)),   q in quadrature with p,

for r and d on a grid. For each of them the partials are demodulated by the curve; what remains
is a line at k * f * KAPPA * offset Hz, so that all offsets come out of one Fourier transform. The
gain of a line in log-likelihood, with the other voices' columns projected out, is summed over the
lowest partials, which forgive most (the periodogram of Rife & Boorstyn 1976, *Bell Syst. Tech.
J.* 55, 1389-1410, with the movement taken out first). Only what promises more than the present
curve is tried by a fit.
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from studio.intonation.estimation.basebands import KAPPA
from studio.intonation.estimation.joint_fit import Fit, power

REACH_CENTS = 40.0
STEP_CENTS = 1.0
SWING_STEP_CENTS = 5.0  # between neighbouring swings: what the low partials forgive
WIDTHS = (0.6, 0.9, 1.2, 1.6)  # r; beside them 0, a voice that stands still, and the swing itself
PRIOR_CENTS = 20.0
PRIOR_DELAY = 1.5  # standard deviation of d in radians
FAST_HZ = 3.0  # the swing is what moves faster than this
KMAX = 3
PADDING = 4
APART_CENTS = 4.0  # candidates nearer than this are the same
NEIGHBOURS = 40  # best cells looked at for each candidate wanted
LEAST_GAIN = 8.0  # nats a candidate must promise over the present curve
LEAST_NORM = 0.4  # share of a line that counts as left by the other voices, at least
LEAST_ENERGY = 1e-20
GRID = np.arange(-REACH_CENTS, REACH_CENTS + STEP_CENTS / 2, STEP_CENTS)  # offsets, cents


@dataclass(frozen=True, slots=True)
class Candidate:
    """A start for one voice: its curve's terms (P,), and the gain (nats) it promises."""

    theta: np.ndarray
    gain: float


def candidates(fit: Fit, voice: int, shapes: list[np.ndarray], most: int) -> list[Candidate]:
    """The best starts for ``voice``, given the other voices as ``fit`` has them.

    Parameters
    ----------
    fit : state of a joint fit whose bands have room for the offsets searched.
    shapes : terms (P,) of curves to widen and delay: the voice's own first, then others'.
    most : how many to return at most, best first; only those that promise more than the
        voice's present curve does.
    """
    found, here = [], 0.0
    for number, shape in enumerate(shapes):
        curves, prior = _swings(fit, shape, float(fit.theta[voice, 0]))
        gain = _gains(fit, voice, curves, GRID) + prior[:, None] - 0.5 * (GRID / PRIOR_CENTS) ** 2
        if number == 0:
            here = float(gain[0, len(GRID) // 2])
        for flat in np.argsort(gain, axis=None)[::-1][: most * NEIGHBOURS]:
            w, g = divmod(int(flat), len(GRID))
            theta = curves[w].copy()
            theta[0] += GRID[g]
            found.append(Candidate(theta, float(gain[w, g])))
    found.sort(key=lambda c: -c.gain)
    kept: list[Candidate] = []
    for one in found:
        apart = all(np.sqrt(np.sum((one.theta - k.theta) ** 2)) > APART_CENTS for k in kept)
        if one.gain > here + LEAST_GAIN and apart and len(kept) < most:
            kept.append(one)
    return kept


def _swings(fit: Fit, shape: np.ndarray, mean_cents: float) -> tuple[np.ndarray, np.ndarray]:
    """Curves (W, P) about ``mean_cents``, ``shape`` itself first, and their log prior (W,)."""
    basis = fit.basis
    j = np.arange(len(shape))
    slow = j / (2 * basis.length_s) < FAST_HZ
    fast = np.where(slow, 0.0, shape)
    inside = np.abs(fit.bands.time_s) <= basis.length_s / 2
    u = fit.bands.time_s[inside] / basis.length_s + 0.5
    cosines = basis.pitch[:, inside]
    gram = cosines @ cosines.T + 1e-3 * len(u) * np.eye(len(j))
    late = np.linalg.solve(gram, cosines @ (fast @ np.sin(np.pi * j[:, None] * u)))
    late[slow] = 0.0
    width, delay = _grid(float(np.sqrt(np.sum(fast**2))))
    base = np.where(slow, shape, 0.0)
    base[0] = mean_cents
    swings = (width * np.cos(delay))[:, None] * fast + (width * np.sin(delay))[:, None] * late
    return base + swings, -0.5 * (delay / PRIOR_DELAY) ** 2


def _grid(extent_cents: float) -> tuple[np.ndarray, np.ndarray]:
    """Widths r and delays d (W,) of a swing of +-``extent_cents``; the swing itself first."""
    width, delay = [1.0, 0.0], [0.0, 0.0]
    for r in WIDTHS:
        count = 2 * int(np.pi * r * extent_cents / SWING_STEP_CENTS / 2) + 3
        around = np.linspace(-0.8 * np.pi, 0.8 * np.pi, count)
        width += [r] * count
        delay += list(around)
    return np.array(width), np.array(delay)


def _gains(fit: Fit, voice: int, curves: np.ndarray, grid: np.ndarray) -> np.ndarray:
    """Gain in nats of a line at every curve (W, P) and offset (G,), shape (W, G).

    What the other voices' columns take of a line is reckoned for the first curve.
    """
    bands, basis, f0 = fit.bands, fit.basis, float(fit.f0_hz[voice])
    moved = KAPPA * f0 * (curves @ basis.integral)  # cycles of the fundamental
    n_fft = PADDING * fft.next_fast_len(len(bands.time_s))
    spacing_hz = 1 / ((bands.time_s[1] - bands.time_s[0]) * n_fft)
    taper = bands.taper.astype(np.float32)
    total = np.zeros((len(curves), len(grid)))
    for c, slot in zip(*np.nonzero((bands.voice == voice) & (bands.partial > 0)), strict=True):
        k = bands.partial[c, slot]
        if k > KMAX:
            continue
        left, others, inverse = _unexplained(fit, c, voice)
        turns = k * (f0 * bands.time_s + moved) - bands.centre_hz[c] * bands.time_s
        wave = _turned(turns) * taper
        at = np.round(k * f0 * KAPPA * grid / spacing_hz).astype(int)
        product = fft.fft(wave * left, n_fft, axis=1)[:, at]
        norm = np.full(len(grid), float(np.sum(taper**2)))
        if len(others):
            crossed = fft.fft(wave[0] * others, n_fft, axis=1)[:, at]
            norm = norm - np.sum((inverse.T @ crossed.conj() * crossed).real, axis=0)
        energy = power(left) + LEAST_ENERGY
        explained = np.abs(product) ** 2 / np.maximum(norm, LEAST_NORM * np.sum(taper**2))
        rest = np.maximum(energy - explained, 0) + 1e-3 * energy
        total += bands.dof[c] * np.log(energy / rest)
    return total


def _turned(turns: np.ndarray) -> np.ndarray:
    """exp(-2 pi i turns) in single precision."""
    angle = (2 * np.pi * (turns - np.round(turns))).astype(np.float32)
    wave = np.empty(angle.shape, dtype=np.complex64)
    wave.real, wave.imag = np.cos(angle), -np.sin(angle)
    return wave


def _unexplained(fit: Fit, c: int, voice: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cluster c without the other voices: (what they leave (M,), their columns, inverse Gram)."""
    sways = len(fit.basis.sway)
    theirs = np.repeat((fit.bands.partial[c] > 0) & (fit.bands.voice[c] != voice), sways)
    z = fit.bands.z[c]
    columns = fit.columns[c, theirs]
    if not len(columns):
        return z, columns, np.zeros((0, 0))
    gram = columns.conj() @ columns.T + np.diag(fit.problem.diagonal[c, theirs])
    inverse = np.linalg.inv(gram.astype(complex))
    amplitudes = inverse @ (columns.conj() @ z)
    return (z - amplitudes @ columns).astype(np.complex64), columns, inverse.astype(np.complex64)
