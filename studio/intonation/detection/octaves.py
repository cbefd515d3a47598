"""One bright note, or an octave? The test that partial peaks cannot make.

Conventions
-----------
* ``f0_hz`` is the lower note. Partial k of it lies at k·f0; *odd* partials belong to the lower note
  alone, *even* ones may hold a partial of an upper note at 2·f0·2^(δ/1200): δ is the *offset* in
  cents, wide positive.
* A *baseband* is one partial moved to 0 Hz, complex, at a low rate.

Method
------
1. Cut every partial out of one FFT of the event (a short inverse FFT of the bins around it gives
   the baseband at a low rate).
2. Follow f0(t) from the odd partials: the amplitude-weighted mean of their phase steps, each
   divided by its number (the maximum-likelihood combination for a harmonic source).
3. Turn every baseband back by k·φ(t). Vibrato and wander common to the note vanish; what
   remains of a single note is nearly constant.
4. Ask of the even partials what the odd ones do not show:

   * *split*: a second line at k·f0·(2^(δ/1200) - 1), the same δ for all. Whatever vibrato, wander
     and the room do to a single note's partials they do to its odd ones too, at the same distance
     in hertz from their middle; so the spectrum of each even baseband is held against
     those of the odd ones beside it, and what it has more counts, in dB and in nats;
   * *unrest*: how much less constant the even basebands are than the odd ones;
   * *excess*: how much louder than the odd partials around them.

5. A logistic function joins these into the log-odds of an octave against one note. Its
   coefficients were fitted on 1,800 made and real notes, half of them octaves;
   ``tests/intonation/detection/fit_octaves.py`` fits them anew on others, no better (area 0.986).
6. How likely octaves are at all is a matter of the clip: a drill in octaves is full of them, a tune
   has none. The prior is estimated from the clip's own notes (empirical Bayes; Efron,
   *Large-Scale Inference*, 2010): the share that makes the evidence likeliest, by EM.

Within about 4 cents of pure, with a weak upper note, nothing in the sound tells the two apart:
the probability is then neither high nor low and the reading stays open.

An octave too low
-----------------
A note and the one an octave below share every second partial: B4 beside E4 can pass for B3, whose
odd partials are then missing. Practice repeats itself: the two notes are played separately, then
together. Where a voice was not played by itself just before or after, but its upper octave was,
both readings are measured, and the one that explains more of the sound is kept (:func:`reread`).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.fft import fft, fftfreq, fftshift, ifft, next_fast_len, rfft

from studio.intonation.detection.resampling import Sound
from studio.intonation.detection.segments import Event, chance_margin, has_note
from studio.intonation.model.sounding import EventFit, Sounding
from studio.theory import OCTAVE_CENTS, RELATIVE_PER_CENT, as_ratio, in_cents

# Chosen; what the weights below were fitted to. Changing one asks for a new fit.
PARTIALS = 12  # at most, half of them even
HIGHEST_HZ = 6000.0  # of a partial: above, noise
WIDEST_HZ = 150.0  # half a baseband
BAND_SHARE = 0.45  # of f0, half a baseband at most: bands must not meet
LONGEST_S = 1.6  # of an event's middle; more costs time and tells little more
SHORTEST_S = 0.2  # a shorter one resolves no line beside another
OFFSETS_CENTS = np.arange(-64.0, 64.5, 1.0)  # δ tried: a wider octave is none
RESOLUTION = 5  # points averaged over a line's width
WANDER_CENTS = 1.5  # a line is at least this wide: no two strings wander alike
CLIP_DB = (-6.0, 15.0)  # more than 15 dB tells no more than 15
EXCESS_DB = (-20.0, 25.0)  # of an even partial over its neighbours; the same
SIGNS = 7  # numbers, see octave_signs
EXCESS = 3  # place of the first four partials' excess among them
FIRST = 4  # even partials, strongest or lowest, that speak for the rest
NOISE_SHARE = 0.12  # of f0: half the width of what is taken half way between partials
NOISE_BETWEEN = 7  # places between partials whose noise is taken
SMOOTH_S = 0.05  # over which the pitch followed is smoothed
SWING = 0.04  # of f0, 70 cents: wider vibrato than any
# The upper line must lie in its own band: clear of the next partial's, and inside it.
APART_SHARE, INSIDE_SHARE = 0.42, 0.48
CARRIER_SHARE = 0.02  # of a partial's line, that is no evidence however faint its neighbours
STILL = 1e-3  # share of a band that changes, below which nothing is read into it
HEARD = 4.0  # times the noise: a band that tells
NOISE_LEFT = 0.1  # of the noise: least power of a partial after it is taken off
MOST_LOG_ODDS = 40.0  # either way; beyond, a probability is 0 or 1 in double precision
# Fitted on 1,800 notes, see point 5 above; in the order of octave_signs:
WEIGHTS = np.array([0.389, 0.1065, 0.7764, 0.0679, 0.4308, 0.0575, 0.1794])
BIAS = -4.2773  # log-odds
# Chosen on made clips and recorded notes; probabilities. SURE trades octaves not found for single
# notes that become octaves; between OPEN and SURE the reading stays open.
SURE = 0.75  # above which an octave is reported
OPEN = 0.15  # above: cannot be told; pure octaves lie here, and few single notes
SHARE = 0.25  # of a clip's notes, before it is heard ...
BELIEF = 3.0  # ... held as firmly as this many notes would
SHARE_BOUNDS = (0.02, 0.6)  # of what a clip may hold: the notes must still be able to tell
ROUNDS = 30  # of EM, on the generous side
# Chosen:
OCTAVE_WITHIN_CENTS = 75.0  # a size this near 1200 cents is an octave, to be tested as one
PEAKS_SHOW = 2.0  # log-odds for an octave whose upper note the peaks show by themselves
JUST_BROKEN = 1.5  # log-odds where both notes were played singly just before
BROKEN_WITHIN_S = 5.0  # how long ago that may be: one try of a practised octave
GHOST_DB = 20.0  # even partials this far above the odd: the lower note is not there
BEFORE, AFTER = 2, 1  # soundings looked at beside one that may be an octave too low
SAME_CENTS = 60.0  # as ``segments`` has it: wide vibrato and slides stay one note


@dataclass(frozen=True, slots=True)
class OctaveSigns:
    """What the even partials show: ``values``, shape (SIGNS,), and the best δ in cents."""

    values: np.ndarray
    offset_cents: float

    @property
    def log_odds(self) -> float:
        """Log-odds of an octave against one note, where both are equally likely beforehand."""
        return float(self.values @ WEIGHTS + BIAS)


def octave_signs(sound: Sound, start_s: float, end_s: float, f0_hz: float) -> OctaveSigns | None:
    """Return the signs of an upper octave over a span, or None where it is too short."""
    length_s = min(end_s - start_s, LONGEST_S)
    if length_s < SHORTEST_S:
        return None
    first = int((0.5 * (start_s + end_s) - 0.5 * length_s) * sound.fs)
    return signs_in(sound.read(first, int(length_s * sound.fs)), sound.fs, f0_hz)


def signs_in(x: np.ndarray, fs: float, f0_hz: float) -> OctaveSigns:
    """Return the signs of an upper octave in a piece of sound that holds one note of it."""
    count = int(np.clip(HIGHEST_HZ / f0_hz, 4, PARTIALS))
    raw, noise, rate = basebands(x, fs, f0_hz, count)
    bands = steadied(raw, rate, f0_hz)
    db, nats = _split(bands, rate, f0_hz, noise)
    strongest = np.sort(db, axis=0)
    four = strongest[-FIRST:].mean(axis=0) * min(1.0, len(db) / 2)
    two = strongest[-2:].mean(axis=0)
    excess = _excess((np.abs(bands) ** 2).mean(axis=1), noise)
    values = [four.max(), two.max(), _unrest(bands, noise)]
    values += [excess[:FIRST].mean(), np.median(excess), excess[:FIRST].min(), nats.max()]
    return OctaveSigns(np.array(values), float(OFFSETS_CENTS[np.argmax(nats)]))


def probability(log_odds: float) -> float:
    """Return the probability, 0..1, for log-odds: the logistic function."""
    return float(1.0 / (1.0 + np.exp(-np.clip(log_odds, -MOST_LOG_ODDS, MOST_LOG_ODDS))))


def prior_log_odds(log_odds: np.ndarray, rounds: int = ROUNDS) -> float:
    """Return the log-odds of octaves in a clip, from the evidence of its notes, shape (n,)."""
    share = SHARE
    for _ in range(rounds):
        prior = np.log(share / (1.0 - share))
        likely = 1.0 / (1.0 + np.exp(-np.clip(log_odds + prior, -MOST_LOG_ODDS, MOST_LOG_ODDS)))
        share = (likely.sum() + BELIEF * SHARE) / (len(log_odds) + BELIEF)
        share = float(np.clip(share, *SHARE_BOUNDS))
    return float(np.log(share / (1.0 - share)))


def basebands(
    x: np.ndarray, fs: float, f0_hz: float, count: int
) -> tuple[np.ndarray, float, float]:
    """Return partials 1 to ``count`` moved to 0 Hz, the noise power in such a band, the rate.

    A band's window in frequency is a cosine's upper half, so its neighbours are cut off softly.
    """
    size = next_fast_len(len(x))
    spectrum = rfft(x - x.mean(), size) / size
    half = int(min(BAND_SHARE * f0_hz, WIDEST_HZ) * size / fs)
    window = np.cos(0.5 * np.pi * np.arange(-half, half + 1) / (half + 1)) ** 0.5
    rate = (2 * half + 1) * fs / size
    keep = int(len(x) / size * (2 * half + 1))
    trim = max(1, keep // 25)
    padded = np.pad(spectrum, (half + 1, 2 * half + 2))
    rows = []
    for k in range(1, count + 1):
        centre = round(k * f0_hz * size / fs)
        piece = padded[centre + 1 : centre + 2 * half + 2] * window
        band = ifft(np.fft.ifftshift(piece))[:keep] * (2 * half + 1)
        shift_hz = k * f0_hz - centre * fs / size
        band *= np.exp(-2j * np.pi * shift_hz * np.arange(keep) / rate)
        rows.append(band[trim : keep - trim])
    return np.array(rows), _noise_power(spectrum, fs / size, f0_hz, window), rate


def _noise_power(spectrum: np.ndarray, bin_hz: float, f0_hz: float, window: np.ndarray) -> float:
    """Return the noise power in a baseband, from the bins half way between partials."""
    width = max(2, int(NOISE_SHARE * f0_hz / bin_hz))
    centres = [int((k + 0.5) * f0_hz / bin_hz) for k in range(1, NOISE_BETWEEN + 1)]
    power = [np.abs(spectrum[max(0, c - width) : c + width]) ** 2 for c in centres]
    usable = [p.mean() for p in power if len(p)]
    return float(np.median(usable) * (window**2).sum()) + 1e-16


def steadied(bands: np.ndarray, rate: float, f0_hz: float) -> np.ndarray:
    """Return basebands turned back by the pitch the odd partials follow."""
    odd = bands[0::2]
    k = np.arange(1, len(bands) + 1, 2)[:, None]
    step = odd[:, 1:] * odd[:, :-1].conj()
    weight = np.abs(step) * k
    off_hz = (weight * np.angle(step)).sum(axis=0) / ((weight * k).sum(axis=0) + 1e-30)
    off_hz *= rate / (2.0 * np.pi)
    smooth = np.hanning(max(3, int(SMOOTH_S * rate) | 1) + 2)[1:-1]
    padded = np.pad(off_hz, len(smooth) // 2, mode="edge")
    off_hz = np.convolve(padded, smooth / smooth.sum(), "valid")
    limit = SWING * f0_hz
    phase = 2.0 * np.pi * np.cumsum(np.clip(off_hz, -limit, limit)) / rate
    phase = np.append(phase, phase[-1:])[: bands.shape[1]]
    return bands * np.exp(-1j * np.arange(1, len(bands) + 1)[:, None] * phase)


def _split(
    bands: np.ndarray, rate: float, f0_hz: float, noise: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return what even partials show more than odd ones, per δ: dB (K/2, D) and nats (D,)."""
    count, n = bands.shape
    span_s = n / rate
    spectrum, hz = _spectra(bands, rate)
    carrier = np.maximum(spectrum[:, np.abs(hz) < 1.0 / span_s].max(axis=1), 1e-20)
    ground = 2.0 * noise / n
    db = np.zeros((count // 2, len(OFFSETS_CENTS)))
    nats = np.zeros(len(OFFSETS_CENTS))
    for row, k in enumerate(range(2, count + 1, 2)):
        at = k * f0_hz * (as_ratio(OFFSETS_CENTS) - 1.0)
        width = max(1.0 / span_s, k * f0_hz * WANDER_CENTS * RELATIVE_PER_CENT)
        around = at + np.linspace(-width, width, RESOLUTION)[:, None]  # (RESOLUTION, D)
        here = np.interp(around, hz, spectrum[k - 1]).mean(axis=0)
        beside = [
            np.interp(side * around, hz, spectrum[q - 1]).max(axis=0) / carrier[q - 1]
            for q in (k - 1, k + 1)
            for side in (1.0, -1.0)
            if q <= count
        ]
        usual = np.max(beside, axis=0) * carrier[k - 1]
        told = np.clip(np.abs(at) * span_s - 1.0, 0.0, 1.0)  # nearer, the two lines are one
        told *= (np.abs(at) < APART_SHARE * f0_hz) & (np.abs(at) < INSIDE_SHARE * rate)
        more = 10.0 * np.log10((here + ground) / (usual + 2.0 * ground))
        db[row] = np.clip(more, *CLIP_DB) * told
        least = usual + 2.0 * ground + CARRIER_SHARE * carrier[k - 1]
        nats += told * np.log1p(here / least)
    return db, nats


def _spectra(bands: np.ndarray, rate: float) -> tuple[np.ndarray, np.ndarray]:
    """Return Hann power spectra of basebands, (K, bins), and their frequencies, ascending."""
    n = bands.shape[1]
    window = np.hanning(n + 2)[1:-1]
    window /= np.sqrt(n * (window**2).sum())
    size = next_fast_len(4 * n)
    power = np.abs(fft(bands * window, size, axis=1)) ** 2
    return fftshift(power, axes=1), fftshift(fftfreq(size, 1.0 / rate))


def _unrest(bands: np.ndarray, noise: float) -> float:
    """Return how much of the even basebands changes, less the same of the odd ones (log ratio)."""
    n = bands.shape[1]
    t = np.linspace(-1.0, 1.0, n)
    still = np.linalg.qr(np.stack([np.ones(n), t, t * t], axis=1))[0]
    rest = bands - (bands @ still) @ still.T
    power = (np.abs(bands) ** 2).mean(axis=1)
    left = np.maximum((np.abs(rest) ** 2).mean(axis=1) - noise, 0.0)
    change = left / (power + 1e-20) + STILL
    heard = power > HEARD * noise
    odd, even = np.log(change[0::2]), np.log(change[1::2])
    odd, even = odd[heard[0::2]], even[heard[1::2]]
    if not len(odd) or not len(even):
        return 0.0
    return float(np.median(even[:FIRST]) - np.median(odd[:FIRST]))


def _excess(level: np.ndarray, noise: float) -> np.ndarray:
    """Return how much louder each even partial is than its odd neighbours, dB, shape (K/2,)."""
    db = 10.0 * np.log10(np.maximum(level - noise, NOISE_LEFT * noise) + 1e-16)
    odd, even = db[0::2], db[1::2]
    after = np.append(odd[1:], odd[-1])[: len(even)]
    return np.clip(even - 0.5 * (odd[: len(even)] + after), *EXCESS_DB)


def reread(
    soundings: Sequence[Sounding],
    fits: Sequence[EventFit],
    measure: Callable[[Sounding], EventFit],
) -> tuple[list[Sounding], list[EventFit]]:
    """Replace readings an octave too low where the sound and the neighbours agree on it."""
    kept, measured = list(soundings), list(fits)
    for number, sounding in enumerate(soundings):
        if len(sounding.voices) != 2:
            continue
        around = [
            voice.f0_hz
            for other in (
                *soundings[max(0, number - BEFORE) : number],
                *soundings[number + 1 : number + 1 + AFTER],
            )
            for voice in other.voices
        ]
        other = _an_octave_up(sounding, around)
        if other is None:
            continue
        fit = measure(other)
        if _lock(fit) > _lock(measured[number]):
            kept[number], measured[number] = other, fit
    return kept, measured


def _heard(f0_hz: float, around: Sequence[float]) -> bool:
    return any(abs(in_cents(f0_hz / other)) <= SAME_CENTS for other in around)


def _an_octave_up(sounding: Sounding, around: Sequence[float]) -> Sounding | None:
    """The sounding with its unfamiliar lower note an octave higher, if that is familiar."""
    low, high = sounding.voices
    raised = replace(low, f0_hz=2.0 * low.f0_hz)
    if _heard(low.f0_hz, around) or not _heard(raised.f0_hz, around):
        return None
    if not _heard(high.f0_hz, around) or abs(in_cents(raised.f0_hz / high.f0_hz)) < SAME_CENTS:
        return None
    voices = tuple(sorted((raised, high), key=lambda voice: voice.f0_hz))
    was = tuple(voice.f0_hz for voice in sounding.voices)
    return replace(sounding, voices=voices, alternatives=(was, *sounding.alternatives))


def _lock(fit: EventFit) -> float:
    return min((interval.lock for interval in fit.intervals), default=0.0)


def with_octaves(sound: Sound, events: list[Event], top_hz: float) -> list[Event]:
    """Decide every possible octave: upper notes added, refuted or left open (``doubt``)."""
    asked = [e for e in events if _may_be_octave(e, top_hz)]
    found = [(e, octave_signs(sound, e.start_s, e.end_s, float(e.f0_hz[0]))) for e in asked]
    told = [(e, signs, _evidence(e, signs, events)) for e, signs in found if signs is not None]
    prior = prior_log_odds(np.array([log_odds for _, _, log_odds in told]))
    for event, signs, log_odds in told:
        _decide_octave(event, signs, probability(log_odds + prior))
    return events


def _may_be_octave(event: Event, top_hz: float) -> bool:
    if len(event.f0_hz) == 1:
        return bool(2.0 * event.f0_hz[0] < top_hz)
    return len(event.f0_hz) == 2 and is_octave(event.f0_hz)


def is_octave(f0_hz: np.ndarray) -> bool:
    """Say whether two voices are near enough an octave to be tested as one."""
    return bool(abs(in_cents(f0_hz[1] / f0_hz[0]) - OCTAVE_CENTS) < OCTAVE_WITHIN_CENTS)


def _evidence(event: Event, signs: OctaveSigns, events: list[Event]) -> float:
    """Log-odds of an octave, with what else speaks for one.

    Where the peaks already show two notes, that counts; so does that both notes were just played,
    one after the other or as an octave: separately, then together, again and again, is how
    octaves are practised.
    """
    shown = PEAKS_SHOW * (len(event.f0_hz) == 2)
    return signs.log_odds + shown + JUST_BROKEN * _just_broken(event, events)


def _just_broken(event: Event, events: list[Event]) -> bool:
    lower = event.f0_hz[0]
    before = [e.f0_hz for e in events if 0.0 < event.start_s - e.start_s < BROKEN_WITHIN_S]
    if any(len(f0) == 2 and is_octave(f0) and has_note(f0[:1], lower) for f0 in before):
        return True
    singles = np.array([f0[0] for f0 in before if len(f0) == 1])
    if not len(singles):
        return False
    return has_note(singles, lower) and has_note(singles, 2.0 * lower)


def _decide_octave(event: Event, signs: OctaveSigns, chance: float) -> None:
    lower = float(event.f0_hz[0])
    both = event.f0_hz
    if len(both) == 1:
        both = np.array([lower, 2.0 * lower * as_ratio(signs.offset_cents)])
    elif signs.values[EXCESS] > GHOST_DB:
        event.f0_hz = both[1:]
        return
    if chance >= SURE:
        event.alternatives.insert(0, (lower,))
        event.f0_hz, event.margin = both, chance_margin(chance)
        return
    event.f0_hz = both[:1]
    event.margin = min(event.margin, chance_margin(1.0 - chance))
    if chance >= OPEN:
        event.alternatives.insert(0, tuple(float(f) for f in both))
        event.doubt = "octave_or_single"
