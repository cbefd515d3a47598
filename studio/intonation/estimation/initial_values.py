"""Where the joint fit may start when voices are hidden.

Conventions: a start is a pitch and a curve for every voice; its ``gain`` is the log-likelihood
(nats) that ``hidden_voices`` found for its hidden voices.

Every hidden voice brings a few offsets from its parent; starts are their combinations, best
first, cut to ``MOST``. An offset with much less gain than the best one is not tried (fits are
what costs time). An octave or twelfth that is exactly in tune shows no line of its own, so when
no line stands out, offset zero is tried too - but not under vibrato, where two equal lines with
curves of their own would model the room's smear of one voice all too well.
"""

from dataclasses import dataclass

import numpy as np

from studio.intonation.estimation import hidden_voices
from studio.intonation.estimation.basebands import Spectrum
from studio.intonation.estimation.pitch_tracks import near_multiple
from studio.theory import as_ratio, in_cents

MOST = 6
CLEAR_SHARE = 0.5  # offsets with less than this share of the best one's gain are not tried
CLEAR_GAIN = 80.0  # nats; below, "exactly in tune" is tried too
NEAR_ZERO_CENTS = 2.0


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
        found = sorted(found, key=lambda start: -start.gain)[:MOST]
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
