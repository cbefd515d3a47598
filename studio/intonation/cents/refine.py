"""The joint fit: pitch curves of all voices from one window's basebands.

Model
-----
Cluster c holds partials (v, k). Its baseband is

    z_c(t) = w(t) * sum over (v, k) of A_vk(t) * exp(i * (k * phi_v(t) - 2 pi F_c t)) + noise

with w the taper and F_c the centre. All partials of a voice share one phase

    phi_v(t) = 2 pi f_v * (t + KAPPA * sum_j theta_vj * integral of b_j),   b_j = cos(pi j u),

u = 0..1 across the window: cents_v(t) is a cosine series of P terms. Amplitudes are slow:
A_vk(t) = sum over q < Q of a_vkq * m_q(t), with m_q = cos(pi q u) and, where the voice shows
them, modulations of its own (``modulation.py``), and with a ridge on q >= 1 (a bowed string's
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

from studio.intonation.cents.bands import KAPPA, Bands

FLOOR = 1e-4  # least residual assumed, as a share of a cluster's energy: rooms are no cleaner
SLOW_CENTS = 4.0  # prior standard deviation of the slowest movement beside the expected one
SLOW_CORNER_HZ = 1.0  # above it the prior of unvibrated movement falls
VIBRATO_PRIOR_CENTS = 6.0  # prior standard deviation at vibrato rates, when vibrato was seen
VIBRATO_BAND_HZ = (3.5, 8.5)
MODULATION_RIDGE = 0.05


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
        return cls(pitch, integral, sway, sway_ridge, prior(terms, length_s, vibrato))


def prior(terms: int, length_s: float, vibrato: bool) -> np.ndarray:
    """Standard deviation in cents of every cosine term about the coarse track's."""
    rate = np.arange(terms) / (2 * length_s)
    sd = SLOW_CENTS / (1 + (rate / SLOW_CORNER_HZ) ** 2)
    if vibrato:
        low, high = VIBRATO_BAND_HZ
        sd = np.where((rate > low) & (rate < high), VIBRATO_PRIOR_CENTS, sd + 2.0)
    return sd


@dataclass(slots=True)
class Fit:
    """State of the joint fit. ``f0_hz`` (V,), ``theta`` (V, P) in cents re ``f0_hz``."""

    bands: Bands
    basis: Basis
    f0_hz: np.ndarray
    theta: np.ndarray
    expected: np.ndarray  # (V, P): centre of the prior, cents
    trust: np.ndarray  # (V, 1): the prior's standard deviation as a share of spread_cents
    cost: float = np.inf
    columns: np.ndarray | None = None  # (C, S * Q, M)
    gram: np.ndarray | None = None
    amplitudes: np.ndarray | None = None  # (C, S * Q)
    residual: np.ndarray | None = None  # (C, M)
    rss: np.ndarray | None = None  # (C,) with the ridge's share
    weight: np.ndarray | None = None  # (C,) inverse noise power

    def cents(self) -> np.ndarray:
        """Pitch curves in exact cents re ``f0_hz``, shape (V, M)."""
        return 1200 * np.log2(1 + KAPPA * (self.theta @ self.basis.pitch))


def _columns(fit: Fit, theta: np.ndarray) -> np.ndarray:
    """Columns w(t) cos(pi q u) exp(i(k phi_v - 2 pi F t)), shape (C, S * Q, M)."""
    bands, basis = fit.bands, fit.basis
    turn = 2 * np.pi * fit.f0_hz[:, None] * (bands.time_s + KAPPA * (theta @ basis.integral))
    psi = bands.partial[:, :, None] * turn[bands.voice]
    psi -= (2 * np.pi * bands.centre_hz[:, None] * bands.time_s)[:, None, :]
    wave = np.exp(1j * psi) * (bands.taper * (bands.partial[:, :, None] > 0))
    c, s, m = wave.shape
    return (wave[:, :, None, :] * basis.sway).reshape(c, s * len(basis.sway), m)


def ridge_diagonal(fit: "Fit") -> np.ndarray:
    """Ridge of every column, shape (C, S * Q); 1 where there is no partial."""
    per_sway = len(fit.bands.time_s) * (fit.basis.sway_ridge + 1e-9)
    filled = fit.bands.partial > 0
    return np.where(filled[:, :, None], per_sway, 1.0).reshape(len(filled), -1)


def project(
    columns: np.ndarray, z: np.ndarray, diagonal: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Ridge least squares per cluster: (gram, amplitudes, residual, rss with the ridge)."""
    conj = columns.conj()
    gram = conj @ columns.transpose(0, 2, 1)
    k = np.arange(gram.shape[1])
    gram[:, k, k] += diagonal
    right = conj @ z[:, :, None]
    a = np.linalg.solve(gram, right)[:, :, 0]
    residual = z - (a[:, None, :] @ columns)[:, 0]
    # at the minimum RSS + ridge = |z|^2 - Re(a^H G^H z); summed directly it stays accurate
    rss = np.sum(np.abs(residual) ** 2, axis=1) + np.sum(diagonal * np.abs(a) ** 2, axis=1)
    return gram, a, residual, rss


def evaluate(fit: Fit, theta: np.ndarray) -> Fit:
    """Project the amplitudes out at ``theta`` and return the new state with its cost."""
    bands = fit.bands
    columns = _columns(fit, theta)
    diagonal = ridge_diagonal(fit)
    gram, a, residual, rss = project(columns, bands.z, diagonal)
    energy = np.sum(np.abs(bands.z) ** 2, axis=1) + 1e-30
    rss = rss + FLOOR * energy
    dof = effective_dof(bands)
    # relative to explaining nothing, so that fits with other clusters can be compared
    cost = 2 * float(np.sum(dof * np.log(rss / energy))) + float(
        np.sum((theta - fit.expected) ** 2 * inverse_prior(fit))
    )
    return Fit(
        bands,
        fit.basis,
        fit.f0_hz,
        theta,
        fit.expected,
        fit.trust,
        cost,
        columns,
        gram,
        a,
        residual,
        rss,
        dof / rss,
    )


def inverse_prior(fit: Fit) -> np.ndarray:
    """Inverse prior variance of every term, shape (V, P); the means are free."""
    spread = fit.basis.spread_cents * fit.trust
    inverse = 1 / spread**2
    inverse[:, 0] = 1e-8
    return inverse


def effective_dof(bands: Bands) -> np.ndarray:
    """Complex degrees of freedom left in each cluster after its mean amplitudes, shape (C,)."""
    return np.maximum(bands.dof - (bands.partial > 0).sum(axis=1), 1.0)


def _slopes(fit: Fit) -> np.ndarray:
    """d(model) / d(phase of voice v), shape (C, V, M): i k A(t) e^(i psi) summed per voice."""
    bands = fit.bands
    c, s = bands.partial.shape
    waves = fit.columns.reshape(c, s, -1, len(bands.time_s))
    parts = (fit.amplitudes.reshape(c, s, 1, -1) @ waves)[:, :, 0]
    parts = parts * (1j * bands.partial[:, :, None])
    owner = bands.voice[:, :, None] == np.arange(len(fit.f0_hz))
    return owner.transpose(0, 2, 1).astype(float) @ parts


def scores_and_information(fit: Fit) -> tuple[np.ndarray, np.ndarray]:
    """Gradient of half the cost per cluster (C, V, P) and Gauss-Newton matrix (V*P, V*P)."""
    slopes = _slopes(fit)
    scale = 2 * np.pi * fit.f0_hz * KAPPA
    integral = fit.basis.integral
    weight = 2 * fit.weight[:, None, None]
    score = -weight * ((slopes.conj() * fit.residual[:, None, :]).real @ integral.T)
    score = score * scale[:, None]
    # projected Jacobian: J^H J - (G^H J)^H (G^H G + ridge)^-1 (G^H J)
    v, p = len(scale), len(integral)
    joint = np.einsum("cvm,cum->vum", (weight * slopes).conj(), slopes).real
    direct = np.einsum("vum,pm,qm->vpuq", joint, integral, integral, optimize=True)
    mixed = fit.columns.conj()[:, :, None, :] * slopes[:, None]
    c, columns = mixed.shape[:2]
    flat = np.ascontiguousarray(mixed).view(float).reshape(-1, mixed.shape[-1], 2)
    cross = (flat[..., 0] @ integral.T) + 1j * (flat[..., 1] @ integral.T)
    cross = cross.reshape(c, columns, v * p)
    solved = np.linalg.solve(fit.gram, cross)
    left = (weight * cross.conj()).reshape(c * columns, v * p)
    indirect = (left.T @ solved.reshape(c * columns, v * p)).real
    both = np.repeat(scale, p)
    information = (direct.reshape(v * p, v * p) - indirect) * np.outer(both, both)
    return score, information


def run(fit: Fit, iterations: int, tolerance: float = 0.02) -> Fit:
    """Levenberg-damped Gauss-Newton from the fit's theta; returns the best state."""
    fit = evaluate(fit, fit.theta)
    damping = 1e-2
    stiffness = inverse_prior(fit).ravel()
    fresh, score, information = True, None, None
    for _ in range(iterations):
        if fresh:
            score, information = scores_and_information(fit)
            pull = stiffness * (fit.theta - fit.expected).ravel()
            gradient = score.sum(axis=0).ravel() + pull
        matrix = information + np.diag(stiffness + damping * np.diag(information))
        step = np.linalg.solve(matrix, -gradient).reshape(fit.theta.shape)
        trial = evaluate(fit, fit.theta + step)
        gain = fit.cost - trial.cost
        fresh = gain > 0
        if fresh:
            fit, damping = trial, damping * 0.2
            if gain < tolerance:
                break
        else:
            damping *= 8
            if damping > 1e3:
                break
    return fit
