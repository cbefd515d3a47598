"""Measuring soundings: the one way into the package.

Conventions are those of :mod:`studio.intonation.model.sounding`. The order of steps for one
sounding: follow every voice coarsely (``pitch_tracks``), find where it settles (``pitch_contour``),
fit all voices jointly there and, where the landing lies outside, once more just after the onset
(``windows``), then describe the curves (``pitch_contour``) and say how sure it all is
(``goodness_of_fit``, ``uncertainty``).

Cost does not grow with a note's length beyond the coarse tracking: a fit window is at most
0.92 s however long the note is held. What the window does not reach is told by the coarse tracks,
of which only the difference between there and the window counts: what they are off by, they are
off by in both.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from studio.intonation.estimation import goodness_of_fit, hidden_voices, pitch_contour, uncertainty
from studio.intonation.estimation.pitch_contour import Weighting, movement
from studio.intonation.estimation.pitch_tracks import HOP_S, Track, coarse_tracks, frames
from studio.intonation.estimation.windows import WindowFit, fit_window
from studio.intonation.model.sounding import EventFit, IntervalFit, Sounding, VoiceFit
from studio.theory import as_ratio, in_cents

# Chosen on made and recorded double stops:
SHORTEST_S = 0.2  # less than a window of the coarse tracks and a half: nothing is measured
LEAST_RATE_HZ = 8000  # sound sampled slower has too few partials
SILENT_DB = -120.0  # re full scale; stands for a level that was not measured
WINDOW_S = 0.92  # of the fit: longer is surer of a still note, and dearer
LEAST_HALF_S = 0.15  # of a window: shorter ones are clearly worse
WIDER = 1.15  # times the settled part: the curve's ends are held from one side only
EDGE_S, EDGE_SHARE = 0.045, 0.1  # off each end of a sounding, of the coarse tracks: half a frame
LANDING_WINDOW_S = 0.4  # of a fit of its own just after the onset
LANDING_LEAST_S = 0.5  # a shorter note cannot tell landing from settled
LANDING_MARGIN = 0.04  # of the window, before the landing, for the settled fit to tell it
MARGIN_SHARE = 0.03  # of a window, at each end
ALL_BUT = 0.85  # of the held part: what the window leaves out changes its mean by too little
SURELY = 2.0  # stated deviations
LONGEST_S = 30.0  # of a longer note the rest is not listened to


def measure_soundings(y: np.ndarray, sr: float, soundings: Iterable[Sounding]) -> list[EventFit]:
    """Measure all soundings of a clip, in order. See :func:`measure_sounding`."""
    return [measure_sounding(y, sr, sounding) for sounding in soundings]


def measure_sounding(y: np.ndarray, sr: float, sounding: Sounding) -> EventFit:
    """Fit the voices of one sounding together.

    Parameters
    ----------
    y : np.ndarray, shape (n,)
        Mono sound, -1..1.
    sr : float
        Samples per second, at least 8000.
    sounding : Sounding
        Voices with pitches right within about 40 cents and spans within about 50 ms.

    Returns
    -------
    EventFit
        One voice fit per voice and one interval fit per pair of voices, low to high.

    Raises
    ------
    ValueError
        When the sounding has no voice, ``sr`` is too low to hear partials, or samples are NaN.
    """
    if not sounding.voices:
        raise ValueError("a sounding needs at least one voice; silence is not measured")
    if sr < LEAST_RATE_HZ:
        raise ValueError(f"sr is {sr} Hz; at least {LEAST_RATE_HZ} Hz is needed, for example 22050")
    start, end = _joint_span(sounding, len(y) / sr)
    end = min(end, start + LONGEST_S)
    f0 = np.array([voice.f0_hz for voice in sounding.voices])
    if end - start < SHORTEST_S:
        return unmeasured(f0, "too_short")
    if not np.isfinite(y[int(start * sr) : int(end * sr)]).all():
        raise ValueError(
            f"samples between {start:.2f} and {end:.2f} s are not finite; replace them, "
            "for example by np.nan_to_num"
        )
    margin = min(EDGE_S, EDGE_SHARE * (end - start))
    spectra = frames(y, sr, start + margin, end - margin)
    tracks = coarse_tracks(spectra, f0)
    followed = tracks + hidden_voices.glides(y, sr, start, end, tracks)
    span = pitch_contour.settled_span(followed, start, end)
    window = _fit_span(pitch_contour.settled_weighting(span), start, end)
    settled = fit_window(y, sr, *window, tracks)
    weighting = pitch_contour.settled_weighting(span, vibrato=uncertainty.shakes(settled))
    landed = _landing(y, sr, start, end, tracks, settled)
    rest_db = goodness_of_fit.rest_db(y, sr, sounding.start_s, sounding.end_s)
    fitted = weighting.within(*_well_fitted(settled))
    judge = uncertainty.Judge(settled, fitted, f0, rest_db, reached=_reached(weighting, settled))
    return _assemble(judge, tracks, settled, weighting, landed)


def _reached(held: Weighting, settled: WindowFit) -> float:
    """The share (0..1) of the held part that the fit's window covers."""
    first_s, last_s = _well_fitted(settled)
    inside = min(held.end_s, last_s) - max(held.begin_s, first_s)
    return float(np.clip(inside / max(held.end_s - held.begin_s, 1e-6), 0.0, 1.0))


def _fit_span(weighting: Weighting, start: float, end: float) -> tuple[float, float]:
    """The window of the settled fit: all of a short note, which then shows its landing too."""
    if end - start <= WINDOW_S:
        return start, end
    half = max(min(WINDOW_S / 2, weighting.half_s * WIDER), LEAST_HALF_S)
    return max(start, weighting.centre_s - half), min(end, weighting.centre_s + half)


def _joint_span(sounding: Sounding, duration_s: float) -> tuple[float, float]:
    """Where all voices sound together, inside the clip."""
    start = max([sounding.start_s, *(v.start_s for v in sounding.voices)])
    end = min([sounding.end_s, *(v.end_s for v in sounding.voices)])
    if end - start < SHORTEST_S:
        start, end = sounding.start_s, sounding.end_s
    return max(0.0, start), min(end, duration_s)


def _landing(
    y: np.ndarray, sr: float, start: float, end: float, tracks: list[Track], settled: WindowFit
) -> np.ndarray | None:
    """Where the voices landed, in cents re 1 Hz (V,); None for a note too short to tell.

    From the settled fit where it reaches, else from one of its own.
    """
    if end - start < LANDING_LEAST_S:
        return None
    weighting = pitch_contour.landing_weighting(start)
    length = settled.time_s[-1] - settled.time_s[0]
    first_s = settled.time_s[0] + LANDING_MARGIN * length
    if first_s < weighting.centre_s - 0.5 * weighting.half_s:
        return _pitches(settled, weighting)
    window = start, start + LANDING_WINDOW_S
    return _pitches(fit_window(y, sr, *window, tracks, look_again=False), weighting)


def _pitches(fitted: WindowFit, weighting: Weighting) -> np.ndarray:
    """Weighted mean pitch of every voice in cents re 1 Hz, shape (V,)."""
    cents = fitted.fit.cents() @ weighting(fitted.time_s)
    return in_cents(fitted.fit.f0_hz) + cents


def _well_fitted(settled: WindowFit) -> tuple[float, float]:
    """The window without its outermost parts, where a fitted curve is held from one side only."""
    first_s, last_s = float(settled.time_s[0]), float(settled.time_s[-1])
    margin_s = MARGIN_SHARE * (last_s - first_s)
    return first_s + margin_s, last_s - margin_s


def _over(settled: WindowFit, tracks: list[Track], weighting: Weighting) -> np.ndarray:
    """Weighted mean pitch in cents re 1 Hz (V,), beyond the fit's window by the coarse tracks.

    A hidden voice has no track of its own; it is taken to move as the others do on average.
    """
    window = pitch_contour.Weighting(*_well_fitted(settled))
    reached = weighting.within(window.begin_s, window.end_s)
    if reached.half_s <= 0.0:  # the last part of a long note lies beyond the window
        reached = window
    if _reached(weighting, settled) > ALL_BUT:
        return _pitches(settled, reached)
    moved = np.full(len(tracks), np.nan)
    for v, track in enumerate(tracks):
        if not track.hidden and len(track.cents) > 2:
            difference = weighting(track.time_s) - reached(track.time_s)
            moved[v] = _shrunk(track.cents, difference)
    others = np.nanmean(moved) if np.isfinite(moved).any() else 0.0
    return _pitches(settled, reached) + np.where(np.isfinite(moved), moved, others)


def _shrunk(cents: np.ndarray, difference: np.ndarray) -> float:
    """A weighted sum of a coarse track, less what its own unrest from frame to frame may make it.

    The share kept is the best linear one (Wiener): signal power over signal and noise.
    """
    moved = float(cents @ difference)
    noise = float(np.var(np.diff(cents))) / 2 * float(difference @ difference)
    return moved * max(0.0, 1.0 - noise / max(moved**2, 1e-12))


def _assemble(
    judge: uncertainty.Judge,
    tracks: list[Track],
    settled: WindowFit,
    weighting: Weighting,
    landed: np.ndarray | None,
) -> EventFit:
    found = _Found(
        settled,
        weighting,
        _over(settled, tracks, weighting),
        _over(settled, tracks, pitch_contour.ending_weighting(weighting)),
        landed,
        _levels_db(settled, judge.weighting),
    )
    order = [int(v) for v in np.argsort(found.pitch, kind="stable")]
    voices = tuple(_voice(v, tracks[v], found, judge) for v in order)
    intervals = tuple(
        _interval((i, order[i]), (j, order[j]), found, judge)
        for i in range(len(order))
        for j in range(i + 1, len(order))
    )
    return EventFit(voices, intervals)


@dataclass(frozen=True, slots=True)
class _Found:
    """What is known of all voices once they are fitted; pitches in cents re 1 Hz, shape (V,)."""

    settled: WindowFit
    weighting: Weighting
    pitch: np.ndarray
    ended: np.ndarray
    landed: np.ndarray | None
    levels_db: np.ndarray


def _voice(v: int, track: Track, found: _Found, judge: uncertainty.Judge) -> VoiceFit:
    settled, weighting = found.settled, found.weighting
    time, hz = _track(track, settled, v)
    inside = np.abs(settled.time_s - weighting.centre_s) < weighting.half_s
    moved = movement(settled.time_s[inside], settled.fit.cents()[v][inside])
    return VoiceFit(
        f0_hz=float(as_ratio(found.pitch[v])),
        uncertainty_cents=judge.voice(v),
        landing_f0_hz=None if found.landed is None else float(as_ratio(found.landed[v])),
        level_db=float(found.levels_db[v]),
        vibrato=moved.vibrato,
        drift_cents_per_s=moved.drift_cents_per_s,
        steadiness_cents=moved.steadiness_cents,
        track_s=time,
        track_hz=hz,
        dropouts=pitch_contour.dropouts(track),
    )


def _interval(
    lower: tuple[int, int], upper: tuple[int, int], found: _Found, judge: uncertainty.Judge
) -> IntervalFit:
    """The interval of two voices, each given by its place from low to high and its number."""
    (i, low), (j, high) = lower, upper
    value, reason = judge.interval(low, high)
    size = float(found.pitch[high] - found.pitch[low])
    landed, locks = found.landed, found.settled.locks
    return IntervalFit(
        low=i,
        high=j,
        size_cents=size,
        uncertainty_cents=value,
        landing_size_cents=None if landed is None else float(landed[high] - landed[low]),
        lock=float(min(locks[low], locks[high])),
        unsure_reason=reason,
        end_size_cents=_elsewhere(float(found.ended[high] - found.ended[low]), size, value),
        moved_cents=judge.moved_cents(low, high),
    )


def _elsewhere(ended: float, size: float, uncertainty_cents: float | None) -> float | None:
    """Where the interval ended, if that is surely not where it was on average."""
    if uncertainty_cents is None or abs(ended - size) <= SURELY * uncertainty_cents:
        return None
    return ended


def _levels_db(fitted: WindowFit, weighting: Weighting) -> np.ndarray:
    """RMS of every voice re full scale in dB, from its fitted partials, shape (V,)."""
    fit = fitted.fit
    bands, sways = fit.bands, len(fit.basis.sway)
    c, s = bands.partial.shape
    curves = fit.amplitudes.reshape(c, s, sways) @ fit.basis.sway
    power = (np.abs(curves) ** 2) @ weighting(fitted.time_s) / 2
    owner = bands.voice[:, :, None] == np.arange(len(fit.f0_hz))
    total = np.sum(power[:, :, None] * owner * (bands.partial > 0)[:, :, None], axis=(0, 1))
    return 10 * np.log10(total + 1e-20)


def _track(track: Track, settled: WindowFit, voice: int) -> tuple[np.ndarray, np.ndarray]:
    """Pitch about every 20 ms: fitted inside the settled window, coarse around it."""
    fit = settled.fit
    inner_time = np.arange(settled.time_s[0], settled.time_s[-1], HOP_S)
    inner = np.interp(inner_time, settled.time_s, fit.cents()[voice])
    inner_hz = fit.f0_hz[voice] * as_ratio(inner)
    if track.hidden:
        return inner_time, inner_hz
    before = track.time_s < inner_time[0]
    after = track.time_s > inner_time[-1]
    coarse_hz = track.f0_hz * as_ratio(track.cents)
    return (
        np.concatenate([track.time_s[before], inner_time, track.time_s[after]]),
        np.concatenate([coarse_hz[before], inner_hz, coarse_hz[after]]),
    )


def unmeasured(f0_hz: np.ndarray, reason: str) -> EventFit:
    """The coarse pitches, shape (n,), from low to high, with nothing claimed of them."""
    order = np.argsort(f0_hz)
    nothing = np.zeros(0)
    voices = tuple(
        VoiceFit(float(f0_hz[v]), None, None, SILENT_DB, None, None, None, nothing, nothing)
        for v in order
    )
    intervals = tuple(
        IntervalFit(
            i, j, float(in_cents(f0_hz[order[j]] / f0_hz[order[i]])), None, None, 0.0, reason
        )
        for i in range(len(order))
        for j in range(i + 1, len(order))
    )
    return EventFit(voices, intervals)
