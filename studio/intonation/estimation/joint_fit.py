"""The joint fit: pitch curves of all voices from one window's basebands.

Model
-----
Cluster c holds partials (v, k). Its baseband is

    z_c(t) = w(t) * sum over (v, k) of A_vk(t) * exp(i * (k * phi_v(t) - 2 pi F_c t)) + noise

with w the taper and F_c the centre. All partials of a voice share one phase

    phi_v(t) = 2 pi f_v * (t + KAPPA * sum_j theta_vj * integral of b_j),   b_j = cos(pi j u),

u = 0..1 across the window: cents_v(t) is a cosine series of P terms. Amplitudes are slow:
A_vk(t) = sum over q < Q of a_vkq * m_q(t), with m_q = cos(pi q u) and, where the voice shows
them, modulations of its own (see ``initial_values``), and with a ridge on q >= 1 (a bowed string's
partials sway, they do not jump; without the ridge the sway would explain away the pitch).

Method
------
For fixed theta the amplitudes are a linear least-squares problem; they are projected out
(variable projection, Golub & Pereyra 1973, *SIAM J. Numer. Anal.* 10, 413-432). The noise
level of every cluster is unknown, so the likelihood is sum_c N_c log RSS_c: a cluster that the
model cannot explain weighs little by itself (whitening). The remaining problem in theta is
solved by Gauss-Newton steps with the projected analytic Jacobian (Kaufman 1975, *BIT* 15,
49-57) and Levenberg damping (Marquardt 1963, *J. SIAM* 11, 431-441).

In white noise this is the maximum-likelihood estimate of f0 (Nielsen et al. 2017, *Signal
Processing* 135, 188-197; Christensen & Jakobsson 2009, *Multi-Pitch Estimation*).
"""

from dataclasses import dataclass

import numpy as np

from studio.intonation.estimation.basebands import KAPPA, Bands
from studio.theory import in_cents

# Chosen on made and recorded double stops:
BASE_RIDGE = 1e-5  # keeps nearly equal columns (an octave in tune) solvable in single precision
FLOOR = 1e-4  # least residual assumed, as a share of a cluster's energy: rooms are no cleaner
SLOW_CENTS = 4.0  # prior standard deviation of the slowest movement beside the expected one
SLOW_CORNER_HZ = 1.0  # above it the prior of unvibrated movement falls
VIBRATO_PRIOR_CENTS = 6.0  # prior standard deviation at vibrato rates, when vibrato was seen
VIBRATO_BESIDE_CENTS = 2.0  # the same on top of the slow one, at other rates
VIBRATO_BAND_HZ = (3.5, 8.5)  # rates of vibrato: common practice, no source, and a margin
FREE_STIFFNESS = 1e-8  # per square cent, of a mean pitch: none
MODULATION_RIDGE = 0.05  # a sample, on the shapes of amplitude that a voice shows
# Levenberg's damping, chosen: where it begins, how it shrinks and grows, where to give up.
DAMPING, LESS_DAMPING, MORE_DAMPING, MOST_DAMPING = 1e-2, 0.2, 8, 1e3
TOLERANCE = 0.1  # fall of the cost that ends a run: a twentieth of what one deviation changes it by


@dataclass(frozen=True, slots=True)
class Basis:
    """Cosine bases over one window: ``pitch`` and its ``integral`` (P, M), ``sway`` (Q, M).

    ``sway_ridge`` (Q,) is the ridge per sway; ``spread_cents`` (P,): see :func:`prior`.
    """

    pitch: np.ndarray
    integral: np.ndarray
    sway: np.ndarray
    sway_ridge: np.ndarray
    spread_cents: np.ndarray
    length_s: float

    @classmethod
    def make(
        cls,
        time_s: np.ndarray,
        length_s: float,
        bandwidth_hz: float,
        sways: int,
        ridge: float,
        vibrato: bool,
        modulations: np.ndarray | None = None,
    ) -> "Basis":
        """Bases for a window of ``length_s``; ``bandwidth_hz`` bounds the pitch's movement.

        ``modulations`` (R, M) complex are further shapes of the amplitudes.
        """
        u = np.clip(time_s / length_s + 0.5, 0, 1)
        terms = 1 + max(1, int(2 * length_s * bandwidth_hz))
        j = np.arange(terms)[:, None]
        pitch = np.cos(np.pi * j * u)
        scale = length_s / (np.pi * np.maximum(j, 1))
        integral = np.where(j == 0, time_s, np.sin(np.pi * j * u) * scale)
        sway = np.cos(np.pi * np.arange(sways)[:, None] * u)
        sway_ridge = ridge * np.arange(sways) ** 2
        if modulations is not None and len(modulations):
            sway = np.concatenate([sway, modulations])
            sway_ridge = np.concatenate([sway_ridge, np.full(len(modulations), MODULATION_RIDGE)])
        spread = prior(terms, length_s, vibrato)
        return cls(pitch, integral, sway, sway_ridge, spread, length_s)


def prior(terms: int, length_s: float, vibrato: bool) -> np.ndarray:
    """Standard deviation in cents of every cosine term about the coarse track's."""
    rate = np.arange(terms) / (2 * length_s)
    sd = SLOW_CENTS / (1 + (rate / SLOW_CORNER_HZ) ** 2)
    if vibrato:
        low, high = VIBRATO_BAND_HZ
        sd = np.where((rate > low) & (rate < high), VIBRATO_PRIOR_CENTS, sd + VIBRATO_BESIDE_CENTS)
    return sd


@dataclass(frozen=True, slots=True)
class Problem:
    """What stays fixed while a fit runs: data, bases, and the prior of the pitch curves.

    ``f0_hz`` (V,); ``expected_cents`` (V, P) is the prior's centre and ``stiffness`` (V, P) its
    inverse variance (the means, j = 0, are free); ``diagonal`` (C, S * Q) is the ridge. ``shapes``
    (C, S, Q, M) are the tapered amplitudes of each partial, 0 where there is none; ``energy`` and
    ``dof`` (C,) each cluster's power and complex degrees of freedom.
    """

    bands: Bands
    basis: Basis
    f0_hz: np.ndarray
    expected_cents: np.ndarray
    stiffness: np.ndarray
    diagonal: np.ndarray
    shapes: np.ndarray
    energy: np.ndarray
    dof: np.ndarray

    @classmethod
    def make(
        cls,
        bands: Bands,
        basis: Basis,
        f0_hz: np.ndarray,
        expected_cents: np.ndarray,
        trust: np.ndarray,
    ) -> "Problem":
        """``trust`` (V,) scales the standard deviation of each voice's prior."""
        stiffness = 1 / (basis.spread_cents * trust[:, None]) ** 2
        stiffness[:, 0] = FREE_STIFFNESS
        per_sway = len(bands.time_s) * (basis.sway_ridge + BASE_RIDGE)
        filled = bands.partial > 0
        # columns of absent partials are zero; a one on the diagonal keeps them solvable
        diagonal = np.where(filled[:, :, None], per_sway, 1.0)
        diagonal = diagonal.reshape(len(filled), filled.shape[1] * len(per_sway))
        sway = basis.sway.astype(np.complex64 if np.iscomplexobj(basis.sway) else np.float32)
        shapes = filled[:, :, None, None] * (bands.taper.astype(np.float32) * sway)
        energy, dof = power(bands.z) + 1e-30, effective_dof(bands)
        return cls(bands, basis, f0_hz, expected_cents, stiffness, diagonal, shapes, energy, dof)


@dataclass(frozen=True, slots=True)
class Fit:
    """One state of the joint fit: pitch terms ``theta`` (V, P) in cents re ``f0_hz`` and what
    follows from them.

    ``cost`` is minus twice the log posterior up to a constant; ``columns`` (C, S * Q, M);
    ``inverse`` (C, S * Q, S * Q) of the ridged Gram matrices; ``amplitudes`` (C, S * Q);
    ``residual`` (C, M); ``weight`` (C,) inverse noise power of each cluster.
    """

    problem: Problem
    theta: np.ndarray
    cost: float
    columns: np.ndarray
    inverse: np.ndarray
    amplitudes: np.ndarray
    residual: np.ndarray
    weight: np.ndarray

    @property
    def bands(self) -> Bands:
        """The clusters fitted."""
        return self.problem.bands

    @property
    def basis(self) -> Basis:
        """The bases of pitch and amplitude."""
        return self.problem.basis

    @property
    def f0_hz(self) -> np.ndarray:
        """The pitches that cents are measured from, shape (V,)."""
        return self.problem.f0_hz

    def cents(self) -> np.ndarray:
        """Pitch curves in exact cents re ``f0_hz``, shape (V, M)."""
        return in_cents(1 + KAPPA * (self.theta @ self.basis.pitch))


def _columns(problem: Problem, theta: np.ndarray) -> np.ndarray:
    """Columns w(t) m_q(t) exp(i(k phi_v - 2 pi F t)), shape (C, S * Q, M), single precision."""
    bands, basis = problem.bands, problem.basis
    turns = problem.f0_hz[:, None] * (bands.time_s + KAPPA * (theta @ basis.integral))
    psi = bands.partial[:, :, None] * turns[bands.voice]
    psi -= (bands.centre_hz[:, None] * bands.time_s)[:, None, :]
    angle = (2 * np.pi * (psi - np.round(psi))).astype(np.float32)
    wave = np.empty(psi.shape, dtype=np.complex64)
    np.cos(angle, out=wave.real)
    np.sin(angle, out=wave.imag)
    c, s, m = wave.shape
    return (wave[:, :, None, :] * problem.shapes).reshape(c, s * len(basis.sway), m)


def project(
    columns: np.ndarray, z: np.ndarray, diagonal: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Ridge least squares per cluster: (inverse Gram matrix, amplitudes, residual)."""
    conj = columns.conj()
    gram = (conj @ columns.transpose(0, 2, 1)).astype(complex)
    k = np.arange(gram.shape[1])
    gram[:, k, k] += diagonal
    inverse = np.linalg.inv(gram)
    a = (inverse @ (conj @ z[:, :, None]))[:, :, 0]
    residual = z - (a[:, None, :].astype(np.complex64) @ columns)[:, 0]
    return inverse, a, residual


def evaluate(problem: Problem, theta: np.ndarray) -> Fit:
    """Project the amplitudes out at ``theta``."""
    bands = problem.bands
    columns = _columns(problem, theta)
    inverse, a, residual = project(columns, bands.z, problem.diagonal)
    rss = power(residual) + np.sum(problem.diagonal * np.abs(a) ** 2, axis=1)
    rss = rss + FLOOR * problem.energy
    # relative to explaining nothing, so that fits with other clusters can be compared
    cost = 2 * float(np.sum(problem.dof * np.log(rss / problem.energy)))
    cost += float(np.sum((theta - problem.expected_cents) ** 2 * problem.stiffness))
    return Fit(problem, theta, cost, columns, inverse, a, residual, problem.dof / rss)


def power(z: np.ndarray) -> np.ndarray:
    """Sum of squared moduli over the last axis."""
    return np.sum(z.real**2 + z.imag**2, axis=-1, dtype=float)


def effective_dof(bands: Bands) -> np.ndarray:
    """Complex degrees of freedom left in each cluster after its mean amplitudes, shape (C,)."""
    return np.maximum(bands.dof - (bands.partial > 0).sum(axis=1), 1.0)


def _slopes(fit: Fit) -> np.ndarray:
    """d(model) / d(phase of voice v), shape (C, V, M): i k A(t) e^(i psi) summed per voice."""
    bands = fit.bands
    c, s = bands.partial.shape
    waves = fit.columns.reshape(c, s, len(fit.basis.sway), len(bands.time_s))
    a = fit.amplitudes.reshape(c, s, 1, len(fit.basis.sway)).astype(np.complex64)
    parts = (a @ waves)[:, :, 0] * (1j * bands.partial[:, :, None]).astype(np.complex64)
    owner = bands.voice[:, :, None] == np.arange(len(fit.f0_hz))
    return owner.transpose(0, 2, 1).astype(np.complex64) @ parts


def scores_and_information(fit: Fit) -> tuple[np.ndarray, np.ndarray]:
    """Gradient of half the cost per cluster (C, V, P) and Gauss-Newton matrix (V*P, V*P).

    The prior is not included.
    """
    scale = (2 * np.pi * KAPPA * fit.f0_hz)[:, None]
    root = np.sqrt(2 * fit.weight)
    slopes = _slopes(fit) * (root[:, None, None] * scale).astype(np.float32)
    residual = fit.residual * root[:, None].astype(np.float32)
    integral = fit.basis.integral.astype(np.float32)
    score = -((slopes.conj() * residual[:, None, :]).real @ integral.T).astype(float)
    # projected Jacobian: J^H J - (G^H J)^H (G^H G + ridge)^-1 (G^H J)
    joint = (slopes.conj()[:, :, None] * slopes[:, None]).real.sum(axis=0)  # (V, V, M)
    direct = (joint[:, :, None, :] * integral) @ integral.T  # (V, V, P, P)
    v, p = len(scale), len(integral)
    direct = direct.transpose(0, 2, 1, 3).reshape(v * p, v * p).astype(float)
    mixed = fit.columns.conj()[:, :, None, :] * slopes[:, None]
    c, columns, _, m = mixed.shape
    parts = np.concatenate([mixed.real.reshape(-1, m), mixed.imag.reshape(-1, m)]) @ integral.T
    half = len(parts) // 2
    cross = (parts[:half] + 1j * parts[half:]).reshape(c, columns, v * p)
    solved = fit.inverse.astype(np.complex64) @ cross
    indirect = cross.reshape(-1, v * p).conj().T @ solved.reshape(-1, v * p)
    return score, direct - indirect.real


def run(problem: Problem, theta: np.ndarray, iterations: int, tolerance: float = TOLERANCE) -> Fit:
    """Levenberg-damped Gauss-Newton from ``theta``; stops when the cost falls by less than
    ``tolerance``."""
    fit = evaluate(problem, theta)
    damping, fresh = DAMPING, True
    stiffness = problem.stiffness.ravel()
    for _ in range(iterations):
        if fresh:
            score, information = scores_and_information(fit)
            pull = stiffness * (fit.theta - problem.expected_cents).ravel()
            gradient = score.sum(axis=0).ravel() + pull
        matrix = information + np.diag(stiffness + damping * np.diag(information) + 1e-9)
        step = np.linalg.solve(matrix, -gradient).reshape(theta.shape)
        trial = evaluate(problem, fit.theta + step)
        gain = fit.cost - trial.cost
        fresh = gain > 0
        if fresh:
            fit, damping = trial, damping * LESS_DAMPING
            if gain < tolerance:
                break
        else:
            damping *= MORE_DAMPING
            if damping > MOST_DAMPING:
                break
    return fit
