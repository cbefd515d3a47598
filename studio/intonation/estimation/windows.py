"""Fitting all voices in one window: from coarse tracks to curves right to a tenth of a cent.

Conventions: times in seconds of the clip; cents relative to each voice's ``f0_hz``.

Method
------
Coarse to fine. The visible voices are fitted first on low partials, where the coarse tracks are
well inside the basin of the right minimum, then on more. A hidden voice (``hidden_voices.py``) is
looked for beside its parent and started from the best few offsets; the start whose joint fit
is likeliest wins. The last fit uses all voices and all usable partials.
"""

from dataclasses import dataclass, replace

import numpy as np

from studio.intonation.estimation import goodness_of_fit, initial_values
from studio.intonation.estimation.basebands import (
    MOVING_HALF_BAND_HZ,
    STEADY_HALF_BAND_HZ,
    Bands,
    Spectrum,
    cut,
    transform,
)
from studio.intonation.estimation.joint_fit import Basis, Fit, Problem, run
from studio.intonation.estimation.pitch_tracks import Track, near_multiple
from studio.intonation.percentiles import median, percentile
from studio.theory import as_ratio, in_cents

# Chosen on made and recorded double stops:
FMAX_HZ = 5000.0  # above, phones and codecs keep little, and rooms smear most
KMAX = 16  # partials above add nothing that lower ones do not say better
SLOW_BANDWIDTH_HZ = 3.0  # of a pitch curve that only wanders
VIBRATO_BANDWIDTH_HZ = 9.0  # of one with vibrato, whose rate is up to 8
VIBRATO_SEEN_CENTS = 3.5  # standard deviation of the coarse track about its line
START_RIDGE = 4.0  # weight of the prior where a curve starts from the coarse track
# How far a partial may stray, cents: a minimum, times the track's own reach, and a bound; the
# reach where no voice is visible.
STRAY_CENTS, STRAY_REACH, MOST_STRAY_CENTS, UNKNOWN_REACH_CENTS = 4.0, 1.2, 60.0, 10.0
HIDDEN_TRUST = 0.4  # a hidden voice moves much as its parent does
GAIN_SHARE = 0.3  # weight of a start's own gain beside its fit's likelihood
SAME_CENTS = 1.5  # fits nearer than this are the same
WELL_LOCKED = 0.8  # a voice that explains this much is not looked for again
LOOK_CENTS = 30.0  # how far around a voice the bands are cut to look again
STARTS_AGAIN = 2  # candidates tried for a voice: fits are what costs time
CLEARLY_BETTER = 4.0  # nats by which another start must win


@dataclass(frozen=True, slots=True)
class WindowFit:
    """A fitted window: the last joint fit, its clip time axis (M,), and each voice's lock (V,).

    ``vibrato``: whether the voices move fast; ``hidden``: which voices were hidden; ``margin``:
    log-likelihood (nats) by which the chosen start beat the next different one.
    """

    fit: Fit
    time_s: np.ndarray
    locks: np.ndarray
    vibrato: bool
    hidden: tuple[int, ...]
    margin: float


@dataclass(frozen=True, slots=True)
class Stage:
    """One step of coarse to fine: partials used, the amplitudes' ridge (stiffer once locked) and
    how many smooth shapes they have, bandwidth of the pitch curve, most iterations."""

    kmax: int
    ridge: float
    sways: int
    bandwidth_hz: float
    iterations: int


# Chosen on the same: few partials and iterations first, where the start may be off by cents.
STEADY = (Stage(6, 0.03, 3, 2.0, 5), Stage(KMAX, 0.1, 4, SLOW_BANDWIDTH_HZ, 6))
STEADY_CHOICE = Stage(8, 0.05, 3, 2.0, 5)
MOVING_CHOICE = Stage(8, 0.05, 3, VIBRATO_BANDWIDTH_HZ, 5)
SEARCH = Stage(initial_values.RESTART_KMAX, 0.05, 3, VIBRATO_BANDWIDTH_HZ, 0)
MOVING = (
    Stage(3, 0.03, 3, VIBRATO_BANDWIDTH_HZ, 6),
    Stage(6, 0.05, 3, VIBRATO_BANDWIDTH_HZ, 6),
    Stage(KMAX, 0.1, 4, VIBRATO_BANDWIDTH_HZ, 8),
)


def moves(tracks: list[Track]) -> bool:
    """Whether a visible voice moves more than a steady finger does (vibrato, slides)."""
    spreads = [0.0]
    for t in tracks:
        if not t.hidden and len(t.cents) >= 6:
            line = np.polyval(np.polyfit(t.time_s, t.cents, 1), t.time_s)
            spreads.append(float(np.std(t.cents - line)))
    return max(spreads) > VIBRATO_SEEN_CENTS


def _start(track: Track, basis: Basis, time_s: np.ndarray, length_s: float) -> np.ndarray:
    """Project a coarse track on the cosine basis (ridge least squares), shape (P,)."""
    inside = np.abs(time_s) <= length_s / 2
    curve = np.interp(time_s[inside], track.time_s, track.cents)
    b = basis.pitch[:, inside]
    ridge = np.diag(inside.sum() * START_RIDGE / basis.spread_cents**2)
    return np.linalg.solve(b @ b.T + ridge, b @ curve)


def _grow(theta: np.ndarray, terms: int) -> np.ndarray:
    """The same curve with more (or fewer) cosine terms."""
    wide = np.zeros((len(theta), terms))
    keep = min(terms, theta.shape[1])
    wide[:, :keep] = theta[:, :keep]
    return wide


class _Window:
    """Working state of one window's fit: f0, curves, and what the stages need."""

    def __init__(
        self, y: np.ndarray, sr: float, start_s: float, end_s: float, tracks: list[Track]
    ) -> None:
        self.moving = moves(tracks)
        wide = self.moving or any(t.hidden for t in tracks)
        half_band = MOVING_HALF_BAND_HZ if wide else STEADY_HALF_BAND_HZ
        self.spectrum: Spectrum = transform(y, sr, start_s, end_s, half_band)
        middle = self.spectrum.start_s + self.spectrum.length_s / 2
        self.tracks = [replace(t, time_s=t.time_s - middle) for t in tracks]
        self.hidden = [v for v, t in enumerate(tracks) if t.hidden]
        self.f0 = np.array([t.f0_hz for t in tracks])
        self.modulations = np.zeros((0, self.spectrum.count), dtype=complex)
        self._centre_tracks()
        self.spread_cents = self._spread_cents()

    def _centre_tracks(self) -> None:
        """Measure cents from each visible track's mean, so that curves stay near zero."""
        half = self.spectrum.length_s / 2
        for v, t in enumerate(self.tracks):
            if t.hidden:
                continue
            inside = np.abs(t.time_s) <= half
            mean = float(median(t.cents[inside])) if inside.any() else float(median(t.cents))
            self.f0[v] = t.f0_hz * as_ratio(mean)
            self.tracks[v] = replace(t, f0_hz=float(self.f0[v]), cents=t.cents - mean)

    def _spread_cents(self) -> float:
        """How far from its mean a partial may move."""
        half = self.spectrum.length_s / 2
        inside = [np.abs(t.cents[np.abs(t.time_s) <= half]) for t in self.tracks if not t.hidden]
        reach = [float(percentile(away, 95)) for away in inside if len(away)]
        most = max(reach, default=UNKNOWN_REACH_CENTS)
        return min(MOST_STRAY_CENTS, STRAY_CENTS + STRAY_REACH * most)

    def stage(
        self,
        stage: Stage,
        f0: np.ndarray,
        theta: np.ndarray | None,
        alone: bool,
        expected: np.ndarray | None = None,
        others_hz: np.ndarray | None = None,
    ) -> Fit:
        """Run one stage; ``alone`` keeps only clusters without hidden voices.

        ``others_hz`` (N, V) are further pitches that the bands must leave room for.
        """
        bands = cut(
            self.spectrum,
            f0,
            kmax=stage.kmax,
            fmax_hz=FMAX_HZ,
            spread_cents=self.spread_cents,
            others_hz=others_hz,
        )
        if alone:
            bands = self._without_hidden(bands)
        length = self.spectrum.length_s
        basis = Basis.make(
            bands.time_s,
            length,
            stage.bandwidth_hz,
            stage.sways,
            stage.ridge,
            self.moving,
            self.modulations,
        )
        if theta is None:
            begun = np.stack([_start(t, basis, bands.time_s, length) for t in self.tracks])
        else:
            begun = _grow(theta, len(basis.pitch))
        if expected is None:
            expected = begun
        trust = np.ones(len(f0))
        if not alone:
            trust[self.hidden] = HIDDEN_TRUST
        wanted = _grow(expected, len(basis.pitch))
        return run(Problem.make(bands, basis, f0, wanted, trust), begun, stage.iterations)

    def _without_hidden(self, bands: Bands) -> Bands:
        """Clusters in which no hidden voice has a partial, nor could have one."""
        keep = np.ones(len(bands.z), dtype=bool)
        for h in self.hidden:
            keep &= ~((bands.voice == h) & (bands.partial > 0)).any(axis=1)
            relation = near_multiple(self.f0, h)
            if relation:
                parent, n = relation
                theirs = (bands.voice == parent) & (bands.partial > 0)
                keep &= ~(theirs & (bands.partial % n == 0)).any(axis=1)
        return bands.subset(keep) if keep.any() else bands


def fit_window(
    y: np.ndarray,
    sr: float,
    start_s: float,
    end_s: float,
    tracks: list[Track],
    *,
    look_again: bool = True,
) -> WindowFit:
    """Fit every voice of ``tracks`` jointly between ``start_s`` and ``end_s``.

    ``look_again``: whether badly locked voices under vibrato are started anew.
    """
    window = _Window(y, sr, start_s, end_s, tracks)
    stages = MOVING if window.moving else STEADY
    visible_stages = stages[:-1] if window.hidden else stages
    theta: np.ndarray | None = None
    expected: np.ndarray | None = None
    fit: Fit | None = None
    if len(window.hidden) < len(window.f0):
        for stage in visible_stages:
            fit = window.stage(stage, window.f0, theta, bool(window.hidden), expected)
            theta, expected = fit.theta, fit.problem.expected_cents
        assert fit is not None
        if window.hidden:
            window.modulations = initial_values.modulations(fit)
    margin = np.inf
    if window.hidden:
        fit, margin = _with_hidden(window, theta, stages)
    assert fit is not None
    if window.moving and look_again:
        fit = _looked_again(window, fit, stages)
    middle = window.spectrum.start_s + window.spectrum.length_s / 2
    time = fit.bands.time_s + middle
    return WindowFit(
        fit,
        time,
        goodness_of_fit.voice_locks(fit),
        window.moving,
        tuple(window.hidden),
        margin,
    )


def _with_hidden(
    window: _Window, theta: np.ndarray | None, stages: tuple[Stage, ...]
) -> tuple[Fit, float]:
    """Try the starts for the hidden voices one by one; return the best fit and its margin.

    All trials are fitted to the same bands, so that their likelihoods can be compared; the gain
    with which a start was found counts beside them (it allows the parent the modulations of
    its free partials, which the trials do not).
    """
    first = stages[0]
    time = window.spectrum.time_s
    length = window.spectrum.length_s
    basis = Basis.make(time, length, first.bandwidth_hz, first.sways, first.ridge, window.moving)
    begun = np.zeros((len(window.f0), len(basis.pitch)))
    if theta is not None:
        begun = _grow(theta, len(basis.pitch))
    known = initial_values.Known(
        window.spectrum,
        window.f0,
        begun,
        basis.pitch,
        window.modulations,
        tuple(window.hidden),
        window.moving,
    )
    likely, spare = initial_values.find(known)
    every = np.array([start.f0_hz for start in likely])
    choice = MOVING_CHOICE if window.moving else STEADY_CHOICE
    trials = []
    for start in likely:
        fit = window.stage(choice, start.f0_hz, start.theta, False, None, every)
        trials.append((fit.cost / 2 - GAIN_SHARE * start.gain, fit))
    trials.sort(key=lambda trial: trial[0])
    worth, best = trials[0]
    margins = [
        other - worth
        for other, fit in trials[1:]
        if np.max(np.abs(_means(fit) - _means(best))) > SAME_CENTS
    ]
    f0 = best.f0_hz * as_ratio(best.theta[:, 0])
    theta = best.theta.copy()
    theta[:, 0] = 0
    last = window.stage(stages[-1], f0, theta, False, best.problem.expected_cents)
    return last, float(min([*margins, spare]))


def _looked_again(window: _Window, fit: Fit, stages: tuple[Stage, ...]) -> Fit:
    """The fit after badly locked voices were looked for again, the worst first."""
    for _ in range(len(fit.f0_hz)):
        locks = goodness_of_fit.voice_locks(fit)
        poor = [int(v) for v in np.argsort(locks) if locks[v] < WELL_LOCKED]
        for voice in poor:
            better = _restarted(window, fit, voice, int(np.argmax(locks)))
            if better is not None:
                fit = window.stage(stages[-1], *_recentred(better), False)
                break
        else:
            return fit
    return fit


def _recentred(fit: Fit) -> tuple[np.ndarray, np.ndarray]:
    """Pitches and curves with the curves' means moved into the pitches."""
    theta = fit.theta.copy()
    theta[:, 0] = 0
    return fit.f0_hz * as_ratio(fit.theta[:, 0]), theta


def _restarted(window: _Window, fit: Fit, voice: int, leader: int) -> Fit | None:
    """A clearly better fit with ``voice`` started anew, or None.

    Its swing is sought around its own curve and around that of ``leader``.
    """
    f0, theta = _recentred(fit)
    around = np.tile(f0, (2, 1))
    around[:, voice] *= as_ratio(np.array([-LOOK_CENTS, LOOK_CENTS]))
    wide = window.stage(SEARCH, f0, theta, False, None, around)
    shapes = [wide.theta[voice]] + [wide.theta[leader]] * (leader != voice)
    found = initial_values.candidates(wide, voice, shapes, STARTS_AGAIN)
    if not found:
        return None
    begun = []
    for candidate in found:
        curves = wide.theta.copy()
        curves[voice] = candidate.theta
        pitch = f0.copy()
        pitch[voice] *= as_ratio(candidate.theta[0])
        curves[voice, 0] = 0
        begun.append((pitch, curves))
    every = np.array([f0, *(pitch for pitch, _ in begun)])
    now = window.stage(MOVING_CHOICE, f0, theta, False, None, every)
    trials = []
    for pitch, curves in begun:
        low = window.stage(MOVING[0], pitch, curves, False, None, every)
        trials.append(window.stage(MOVING_CHOICE, pitch, low.theta, False, None, every))
    best = min(trials, key=lambda trial: trial.cost)
    return best if best.cost / 2 < now.cost / 2 - CLEARLY_BETTER else None


def _means(fit: Fit) -> np.ndarray:
    """Mean pitch of every voice in cents re 1 Hz, shape (V,)."""
    return in_cents(fit.f0_hz) + fit.theta[:, 0]
