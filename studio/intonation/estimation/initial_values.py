"""Where the joint fit may start: with hidden voices, and anew where a voice locked badly.

Conventions: a start is a pitch and a curve for every voice; its ``gain`` is the log-likelihood
(nats) that ``hidden_voices`` found for its hidden voices. Curves are in cents about a voice's
``f0_hz``, as terms of the cosine basis (P,). Modulations are complex shapes (R, M) of unit mean
square under the taper.

Hidden voices (:func:`find`)
----------------------------
Every hidden voice brings a few offsets from its parent; starts are their combinations, best
first, cut to ``MOST_STARTS``. An offset with much less gain than the best one is not tried (fits
are what costs time). An octave or twelfth that is exactly in tune shows no line of its own, so when
no line stands out, offset zero is tried too - but not under vibrato, where two equal lines with
curves of their own would model the room's smear of one voice all too well.

How a voice's partials sway together (:func:`modulations`)
----------------------------------------------------------
Vibrato and the bow modulate the loudness of all partials at the same rates, and a room turns
vibrato into a smear that follows its period. Around an even partial such side lines look just
like a second voice a few cents away. What the voice's *free* partials do can be learned: each
is demodulated by the fitted phase, its smooth part is taken out, and the strongest common
shapes are the leading right singular vectors of what remains (principal components; Eckart &
Young 1936, *Psychometrika* 1, 211-218). Added to the amplitude basis they explain the side
lines, and only what the free partials do not show is left to argue for another voice.

Restarts (:func:`candidates`)
-----------------------------
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

from studio.intonation.estimation import hidden_voices
from studio.intonation.estimation.basebands import KAPPA, Spectrum
from studio.intonation.estimation.joint_fit import Fit, power
from studio.intonation.estimation.pitch_tracks import near_multiple
from studio.theory import as_ratio, in_cents

# Of hidden voices. Chosen on made and recorded octaves, twelfths and unisons:
MOST_STARTS = 6  # fits tried: each costs as much as a whole window's
CLEAR_SHARE = 0.5  # offsets with less than this share of the best one's gain are not tried
CLEAR_GAIN = 80.0  # nats; below, "exactly in tune" is tried too
NEAR_ZERO_CENTS = 2.0  # an offset this small already says "exactly in tune"
# Of modulations. Chosen on the same:
MOST_MODULATIONS = 4  # shapes: more would explain another voice away
LEAST_MODULATION_SHARE = 0.003  # mean relative power of a shape worth adding
MODULATION_REACH_HZ = 16.0  # side lines farther out than this are left alone
MOST_SIDE_POWER = 0.05  # of a partial's, in its side lines: those with more are weighed down
LEAST_TAPER = 1e-3  # divided by
# Of restarts. Chosen on made and recorded double stops under vibrato:
REACH_CENTS = 40.0  # from the voice's mean, that offsets are looked for
STEP_CENTS = 1.0  # of that grid; the fit is finer
SWING_STEP_CENTS = 5.0  # between neighbouring swings: what the low partials forgive
WIDTHS = (0.6, 0.9, 1.2, 1.6)  # r; beside them 0, a voice that stands still, and the swing itself
MOST_DELAY = 0.8  # of half a turn, d either way: further is another cycle
PRIOR_CENTS = 20.0  # standard deviation of the offset
PRIOR_DELAY = 1.5  # standard deviation of d in radians
FAST_HZ = 3.0  # the swing is what moves faster than this
RESTART_KMAX = 3  # partials used: low ones forgive most
PADDING = 4  # of the transform, so that bins lie nearer than a line is wide
APART_CENTS = 4.0  # candidates nearer than this are the same
NEIGHBOURS = 40  # best cells looked at for each candidate wanted
LEAST_GAIN = 8.0  # nats a candidate must promise over the present curve
LEAST_NORM = 0.4  # share of a line that counts as left by the other voices, at least
LEAST_LEFT = 1e-3  # of a band's energy, unexplained at least: no room is cleaner
LEAST_ENERGY = 1e-20  # of a band: a guard, no sound is that faint
CURVE_RIDGE = 1e-3  # a sample, on the delayed swing's terms: keeps them solvable at the ends
GRID = np.arange(-REACH_CENTS, REACH_CENTS + STEP_CENTS / 2, STEP_CENTS)  # offsets, cents


@dataclass(frozen=True, slots=True)
class Known:
    """What is known before: all voices' pitches and curves, those of hidden voices coarsely.

    ``f0_hz`` (V,), ``theta`` (V, P) on the cosine basis ``pitch`` (P, M), ``modulations``
    (R, M) of the visible voices, which voices are ``hidden``, and whether the voices are
    ``moving`` (vibrato).
    """

    spectrum: Spectrum
    f0_hz: np.ndarray
    theta: np.ndarray
    pitch: np.ndarray
    modulations: np.ndarray
    hidden: tuple[int, ...]
    moving: bool


@dataclass(frozen=True, slots=True)
class Start:
    """One start: ``f0_hz`` (V,), ``theta`` (V, P) with zero means, and its ``gain``."""

    f0_hz: np.ndarray
    theta: np.ndarray
    gain: float

    def changed(self, pitches: dict[int, float], curve: np.ndarray, gain: float) -> "Start":
        """The same with other pitches (Hz) and one curve (P,) for some voices."""
        f0, theta = self.f0_hz.copy(), self.theta.copy()
        for voice, f in pitches.items():
            f0[voice] = f
            theta[voice] = curve
        return Start(f0, theta, self.gain + gain)


def find(known: Known) -> tuple[list[Start], float]:
    """Starts, best first, and the gain by which the best beats those that were not kept."""
    theta = known.theta.copy()
    f0 = known.f0_hz * as_ratio(theta[:, 0])
    theta[:, 0] = 0
    found = [Start(f0, theta, 0.0)]
    spare = np.inf
    done: set[int] = set()
    for h in known.hidden:
        relation = near_multiple(known.f0_hz, h)
        if h in done or relation is None:
            continue
        parent, n = relation
        if n == 1 and parent in known.hidden and parent not in done:
            options = _unison(known, found[0], min(parent, h), max(parent, h))
            done |= {parent, h}
        else:
            options, left = _beside(known, found[0], parent, h, n)
            spare = min(spare, left)
            done.add(h)
        found = [start.changed(*option) for start in found for option in options]
        found = sorted(found, key=lambda start: -start.gain)[:MOST_STARTS]
    return found, spare


Option = tuple[dict[int, float], np.ndarray, float]


def _others(f0_hz: np.ndarray, *voices: int) -> np.ndarray:
    return np.array([f for v, f in enumerate(f0_hz) if v not in voices])


def _beside(known: Known, start: Start, parent: int, h: int, n: int) -> tuple[list[Option], float]:
    """Options for voice ``h`` beside n times ``parent``, and the gain lost by those left out."""
    f0 = start.f0_hz
    time = known.spectrum.time_s
    expected = float(in_cents(f0[h] / (n * f0[parent])))
    curve = start.theta[parent]
    lines = hidden_voices.demodulate(
        known.spectrum, f0[parent], n, curve @ known.pitch, time, _others(f0, parent, h), expected
    )
    shapes = _resample(known.modulations, time, lines.time_s)
    scored = hidden_voices.offsets(lines, expected, shapes)
    best = scored[0][1]
    kept = [(at, gain) for at, gain in scored if gain >= min(CLEAR_SHARE * best, best)]
    lost = best - max([gain for _, gain in scored[len(kept) :]], default=-np.inf)
    nothing_near = min(abs(at) for at, _ in kept) > NEAR_ZERO_CENTS
    if best < CLEAR_GAIN and nothing_near and not known.moving:
        kept.append((0.0, 0.0))
    options = [({h: n * f0[parent] * as_ratio(at)}, curve, gain) for at, gain in kept]
    return options, lost


def _unison(known: Known, start: Start, low: int, high: int) -> list[Option]:
    """Options for the two voices of a unison."""
    f0 = start.f0_hz
    time = known.spectrum.time_s
    middle = float(np.sqrt(f0[low] * f0[high]))
    still = np.zeros(len(time))
    lines = hidden_voices.demodulate(
        known.spectrum, middle, 1, still, time, _others(f0, low, high), 0.0
    )
    around = in_cents(f0[[low, high]] / middle)
    pairs = hidden_voices.unison_offsets(lines, (float(around[0]), float(around[1])))
    flat = np.zeros(start.theta.shape[1])
    return [
        ({low: middle * as_ratio(a), high: middle * as_ratio(b)}, flat, gain)
        for a, b, gain in pairs
    ]


def _resample(shapes: np.ndarray, time_s: np.ndarray, new_time_s: np.ndarray) -> np.ndarray:
    """Complex shapes (R, M) on another time axis."""
    rows = [
        np.interp(new_time_s, time_s, row.real) + 1j * np.interp(new_time_s, time_s, row.imag)
        for row in shapes
    ]
    return np.array(rows, dtype=complex).reshape(len(shapes), len(new_time_s))


def modulations(fit: Fit) -> np.ndarray:
    """Common modulation shapes of the clusters that hold one partial only, shape (R, M)."""
    bands = fit.bands
    alone = (bands.partial > 0).sum(axis=1) == 1
    if alone.sum() < 2:
        return np.zeros((0, len(bands.time_s)), dtype=complex)
    sways = len(fit.basis.sway)
    wave = fit.columns[alone, 0]  # tapered e^(i psi): the column of q = 0
    strength = fit.amplitudes[alone][:, :sways]
    carrier = np.where(bands.taper > 0, wave / np.maximum(bands.taper, LEAST_TAPER), 0)
    side = fit.residual[alone] * carrier.conj() / np.maximum(np.abs(strength[:, :1]), 1e-12)
    side = _low_pass(side, bands.time_s)
    # a partial in which side lines outweigh the line says nothing
    power = np.mean(np.abs(side) ** 2, axis=1)
    side = side / np.maximum(1.0, np.sqrt(power / MOST_SIDE_POWER))[:, None]
    _, sizes, rows = np.linalg.svd(side, full_matrices=False)
    share = sizes**2 / (len(bands.time_s) * len(side))
    keep = np.flatnonzero(share[:MOST_MODULATIONS] > LEAST_MODULATION_SHARE)
    return rows[keep] * np.sqrt(len(bands.time_s))


def _low_pass(side: np.ndarray, time_s: np.ndarray) -> np.ndarray:
    """Keep modulation rates below ``MODULATION_REACH_HZ``."""
    rate = np.fft.fftfreq(len(time_s), time_s[1] - time_s[0])
    return np.fft.ifft(np.fft.fft(side, axis=1) * (np.abs(rate) < MODULATION_REACH_HZ), axis=1)


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
    gram = cosines @ cosines.T + CURVE_RIDGE * len(u) * np.eye(len(j))
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
        around = np.linspace(-MOST_DELAY * np.pi, MOST_DELAY * np.pi, count)
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
        if k > RESTART_KMAX:
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
        rest = np.maximum(energy - explained, 0) + LEAST_LEFT * energy
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
