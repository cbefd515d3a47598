"""Is every voice of a double stop there, and held by a bow?

Conventions
-----------
* A voice's *own* partials lie clear of those of the other voices of the event; only they are
  asked. A voice that has none, or whose place is an octave above another, is not judged here.
* A *baseband* is one partial moved to 0 Hz, complex, at a low rate (see ``octaves``).
* Signs are numbers, one row a voice, in the order of ``SIGNS``; log-odds are for a voice that is
  there against one that is not.

Method
------
What passes for a second note and is none (talk, struck strings, noise, the scrape of an attack,
a note an octave too low) shows at its partials, once they are looked at one by one over the time
of the event. Each partial is cut out of one FFT. The voice's pitch is followed by the
amplitude-weighted mean of its partials' phase steps, each divided by its number (the
maximum-likelihood combination for a harmonic source), and the partials are turned back by it.
Then

* it is clear of the noise (*snr*) and most of its partials are there (*found*);
* a bowed string is periodic: turned back, its partials stand still (*unrest* is low), and
  partial k stands at k·f0 exactly. A struck string's stands at k·f0·sqrt(1 + B·k²), which is
  k·f0 + f0·B·k³/2 for small B (Fletcher & Rossing, *The Physics of Musical Instruments*):
  *stretch* is the least-squares B, *stretched* the same in standard errors;
* it sounds as long as the bow moves: *presence* is the share of the time in which it is near its
  usual level, *fading* the slope of that level, *drop* how far it goes. A talker's gliding pitch
  passes through the places of two notes one after the other: *alternation* is how far one
  voice falls as the other rises;
* it keeps its pitch: *drift* is how far the straight line through the pitch goes.

A logistic function joins these. Its coefficients were fitted on voices heard in made and real
double stops, in talk, struck strings and noise (``tests/intonation/detection/fit_voicing.py``).

A low voice, a man's above all, has its fundamental below the lowest string, and its second and
third partials look like a fifth in tune. The partials between them (1, 5, 7 ...) tell.
"""

from dataclasses import dataclass

import numpy as np
from scipy.fft import ifft, ifftshift, next_fast_len, rfft

from studio.intonation.detection.resampling import Sound
from studio.intonation.percentiles import percentile
from studio.theory import OCTAVE_CENTS, in_cents

# Chosen; what the weights below were fitted to. Changing one asks for a new fit.
PARTIALS = 10  # asked of a voice
LOWEST_HZ, HIGHEST_HZ = 90.0, 5000.0  # of its partials: below is hum, above bow noise
WIDEST_HZ = 64.0  # half a baseband; the rate is twice that
RATE_HZ = 2.0 * WIDEST_HZ  # by definition, see above
NARROWEST_HZ = 14.0  # half a baseband: slow changes of level must pass
HALF_HZ = 12.0  # half a baseband at 0 Hz, beside SWING
CLEAR_HZ, NEARLY_HZ = 36.0, 24.0  # from the other voices' partials
CLEAR_OF_OWN = 0.9  # of f0: how far a partial is from the voice's own others, for its band's sake
BAND_SHARE = 0.55  # of the distance to the next partial, that half a band may take
ENOUGH_OWN = 3  # clear partials; with fewer those nearly clear are asked
SWING = 0.02  # vibrato and slides of 35 cents move a partial by this share of its frequency
LONGEST_S, SHORTEST_S = 1.0, 0.09  # of an event's middle: more tells little more, less too little
SHORTEST_LOOSE_S = 0.15  # the same where the edges are not placed
TRIM_S, TRIM_SHARE = 0.06, 0.15  # of an event's edges, which are not placed yet
BLOCK_S, TAIL_DB = 0.02, 7.0  # what is further below the usual level at the ends is tail
USUAL_PERCENTILE = 75  # of levels: the usual one
AUDIBLE_DB = 9.0  # over the noise: partials that count as there
NOISE_PERCENTILE = 10.0  # of the bins around a partial ...
PERCENTILE_SHARE = -np.log(1.0 - NOISE_PERCENTILE / 100.0)  # ... of their mean (exponential)
NOISE_AROUND_HZ = 220.0  # each way: about the distance of a low voice's partials
LEAST_POWER = 1e-3  # re the noise, added before the logarithm: silence is -30 dB
NEAR_LEVEL_DB = 8.0  # below its usual level a voice is near it
COURSE_S, PITCH_S = 0.04, 0.05  # over which level and pitch are smoothed
OCTAVE_WITHIN_CENTS = 75.0  # a size this near 1200 cents is an octave, as in ``octaves``
SIGNS = (
    *("snr", "found", "unrest", "unrest_by_length", "presence", "fading", "drop"),
    *("alternation", "drift", "stretch", "stretched", "length"),
)
# Bounds of what is read, as they were when the weights were fitted: what is further off tells no
# more.
SNR_DB, FOLLOW_SNR_DB, LEVEL_SNR_DB = (0.0, 30.0), (0.5, 25.0), (1.0, 30.0)  # as sign, as weights
FADING_LEVEL_DB, ALTERNATION_LEVEL_DB = -25.0, -20.0  # re the usual level
PRESENCE, FADING_DB_PER_S, DROP_DB = (0.85, 1.0), (-30.0, 0.0), (0.0, 20.0)
PER_10_DB = 10.0  # a covariance's unit of level, dB
LEAST_ALTERNATION = -1.5  # 10 dB²
STRETCH_PER, STRETCH, STRETCHED = 1e4, (0.0, 20.0), (0.0, 6.0)  # B in 1e-4; standard errors
LEAST_UNREST = 0.01  # share of power that even a still partial's noise leaves
LEAST_RATIO = 0.5  # of pitch, before its logarithm is taken
FOUND_AMONG = 6  # lowest own partials, most of which a string has
LINE_WIDTH_SHARE = 0.25  # no line is placed better than a quarter of its width
# Fitted by tests/intonation/detection/fit_voicing.py; in the order of SIGNS:
WEIGHTS = np.array(
    [0.13, 6.819, -1.6, -0.816, 27.104, 0.174, -0.191, 5.119, -0.527, 0.222, -1.368, 3.094]
)
BIAS = -29.686  # log-odds
# Chosen on made and recorded double stops, talk, struck strings and noise; log-odds. A lower one
# lets talk and rings through, a higher one loses short and soft notes.
REFUSED = -1.5  # below which a voice is taken out
SURE, REFUSED_BESIDE = 2.0, -4.0  # beside a voice above the first
SURELY_REFUSED = -2.0  # the same before the edges are placed
# Chosen: what is assumed of a voice whose edges are not placed, that its level is held.
HELD = {"presence": 1.0, "fading": 0.0, "drop": 0.0, "alternation": 0.0}
# Chosen, for one low voice heard as two:
MOSTLY_FOUND = 0.45  # share of its partials with which a refused voice was there after all
LOW_RATIOS = ((3, 2), (4, 3), (5, 3), (5, 4), (5, 2))  # of a pair that may be one low voice
LOW_HZ = (60.0, 125.0)  # its pitch: a man's voice, below a viola's C3
LOW_CENTS, LOW_PARTIALS, LOW_BAND_HZ = 35.0, 13, 20.0  # off the ratio; asked; half a band
LOW_SHARE = 0.6  # of the partials between, that must be there ...
LOW_BELOW_DB = 15.0  # ... and no further below the pair's


@dataclass(frozen=True, slots=True)
class _Piece:
    """The spectrum of a piece of sound: amplitude per bin, Hz per bin, share not padded."""

    spectrum: np.ndarray
    bin_hz: float
    filled: float
    length_s: float


@dataclass(frozen=True, slots=True)
class _Voice:
    """A voice's own partials: number (K,), basebands (K, n), level over the noise in dB (K,)."""

    f0_hz: float
    number: np.ndarray
    bands: np.ndarray
    snr_db: np.ndarray


def held_voices(
    sound: Sound, start_s: float, end_s: float, f0_hz: np.ndarray, *, placed: bool
) -> np.ndarray:
    """Return the voices of ``f0_hz`` (V,) that are there, taking out the unlikeliest one by one.

    A voice that is not there takes own partials from the others, so all are judged again
    without it. One voice is always left. ``placed`` says that the span's edges are exact: before,
    a room's tail may be in it, and only what is surely no voice goes.
    """
    piece = _piece(sound, start_s, end_s)
    if piece is None or (not placed and piece.length_s < SHORTEST_LOOSE_S):
        return f0_hz
    while len(f0_hz) > 1:
        signs = _all_signs(piece, f0_hz)
        odds = log_odds(signs if placed else _but_for_edges(signs))
        if np.isnan(odds).all() or np.nanmin(odds) > _refused_below(odds, placed):
            break
        f0_hz = np.delete(f0_hz, _to_take_out(f0_hz, signs, int(np.nanargmin(odds))))
    if len(f0_hz) == 2 and is_one_low_voice(piece, f0_hz):
        return f0_hz[:1]
    return f0_hz


def _refused_below(odds: np.ndarray, placed: bool) -> float:
    """Return the log-odds below which the unlikeliest voice goes.

    Where a bow surely holds another string, a second one beside it is likelier than in talk.
    """
    if len(odds) == 2 and np.nanmax(odds) > SURE:
        return REFUSED_BESIDE
    return REFUSED if placed else SURELY_REFUSED


def _but_for_edges(signs: np.ndarray) -> np.ndarray:
    """Return signs (V, S) as if the level were held: a room's tail in the span would say no."""
    held = signs.copy()
    for name, value in HELD.items():
        held[:, SIGNS.index(name)] = value
    return held + 0.0 * signs[:, :1]  # what was not judged stays so


def _to_take_out(f0_hz: np.ndarray, signs: np.ndarray, worst: int) -> int:
    """Return which voice goes when one is refused.

    An octave above it was not judged. Where the refused voice's own partials are missing, it was
    an octave too low; where they are there, all was one sound, and the octave is its partials.
    """
    upper = [n for n in range(len(f0_hz)) if _is_octave(f0_hz[worst], f0_hz[n])]
    there = signs[worst, SIGNS.index("found")] > MOSTLY_FOUND
    return upper[0] if upper and there else worst


def voice_signs(sound: Sound, start_s: float, end_s: float, f0_hz: np.ndarray) -> np.ndarray:
    """Return the signs of every voice over a span: (V, len(SIGNS)); NaN where not judged."""
    piece = _piece(sound, start_s, end_s)
    if piece is None:
        return np.full((len(f0_hz), len(SIGNS)), np.nan)
    return _all_signs(piece, f0_hz)


def log_odds(signs: np.ndarray) -> np.ndarray:
    """Return the log-odds of voices, shape (V,), NaN where not judged."""
    return signs @ WEIGHTS + BIAS


def is_one_low_voice(piece: _Piece, f0_hz: np.ndarray) -> bool:
    """Say whether a pair is two partials of one voice below the range of the instrument.

    Its other partials must be as loud as those of the pair, about: a microphone that clips adds
    combination tones at the same places, far below.
    """
    for p, q in LOW_RATIOS:
        low = float(f0_hz[0]) / q
        off = in_cents(f0_hz[1] / f0_hz[0] * q / p)
        if not LOW_HZ[0] < low < LOW_HZ[1] or abs(off) > LOW_CENTS:
            continue
        number = np.array([k for k in range(1, LOW_PARTIALS + 1) if k * low > LOWEST_HZ])
        bands, snr_db = _basebands(piece, number * low, np.full(len(number), LOW_BAND_HZ))
        level_db = 10.0 * np.log10((np.abs(bands) ** 2).mean(axis=1) + 1e-16)
        between = (number % p > 0) & (number % q > 0)
        loud = np.median(level_db[between]) > np.median(level_db[~between]) - LOW_BELOW_DB
        if loud and (snr_db[between] > AUDIBLE_DB).mean() >= LOW_SHARE:
            return True
    return False


def _piece(sound: Sound, start_s: float, end_s: float) -> _Piece | None:
    trim_s = min(TRIM_S, TRIM_SHARE * (end_s - start_s))
    length_s = min(end_s - start_s - 2.0 * trim_s, LONGEST_S)
    if length_s < SHORTEST_S:
        return None
    first = int((0.5 * (start_s + end_s) - 0.5 * length_s) * sound.fs)
    x = _held_part(sound.read(first, int(length_s * sound.fs)).astype(float), sound.fs)
    length_s = len(x) / sound.fs
    if length_s < SHORTEST_S:
        return None
    size = next_fast_len(len(x))
    return _Piece(rfft(x - x.mean(), size) / size, sound.fs / size, len(x) / size, length_s)


def _held_part(x: np.ndarray, fs: float) -> np.ndarray:
    """Return a piece of sound without the attack and the room's tail that may be at its ends."""
    block = int(BLOCK_S * fs)
    power = (x[: len(x) // block * block].reshape(-1, block) ** 2).mean(axis=1)
    loud = np.flatnonzero(power > percentile(power, USUAL_PERCENTILE) * 10.0 ** (-TAIL_DB / 10.0))
    return x[loud[0] * block : (loud[-1] + 1) * block] if len(loud) else x[:0]


def _all_signs(piece: _Piece, f0_hz: np.ndarray) -> np.ndarray:
    out = np.full((len(f0_hz), len(SIGNS)), np.nan)
    voices = [_voice(piece, v, f0_hz) for v in range(len(f0_hz))]
    courses = [None if voice is None else _course(voice) for voice in voices]
    for n, (voice, course) in enumerate(zip(voices, courses, strict=True)):
        if voice is not None and course is not None and not _is_upper_octave(f0_hz, n):
            others = [c for m, c in enumerate(courses) if m != n and c is not None]
            out[n] = _signs(voice, course, others, piece.length_s)
    return out


def _is_upper_octave(f0_hz: np.ndarray, v: int) -> bool:
    return any(_is_octave(f0, f0_hz[v]) for f0 in f0_hz)


def _is_octave(low_hz: float, high_hz: float) -> bool:
    return bool(abs(in_cents(high_hz / low_hz) - OCTAVE_CENTS) < OCTAVE_WITHIN_CENTS)


def _voice(piece: _Piece, v: int, f0_hz: np.ndarray) -> _Voice | None:
    f0 = float(f0_hz[v])
    number, half_hz = _own_partials(f0, np.delete(f0_hz, v))
    if not len(number):
        return None
    return _Voice(f0, number, *_basebands(piece, number * f0, half_hz))


def _own_partials(f0: float, others: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the numbers of the partials clear of the others', and the half width of each, Hz."""
    hz = f0 * np.arange(1, PARTIALS + 1)
    apart = np.full(len(hz), CLEAR_OF_OWN * f0)
    for other in others:
        apart = np.minimum(apart, np.abs(hz - np.maximum(1.0, np.rint(hz / other)) * other))
    inside = (hz > LOWEST_HZ) & (hz < HIGHEST_HZ)
    own = inside & (apart > CLEAR_HZ)
    if own.sum() < ENOUGH_OWN:
        own = inside & (apart > NEARLY_HZ)
    half = np.clip(SWING * hz + HALF_HZ, NARROWEST_HZ, WIDEST_HZ)
    return np.flatnonzero(own) + 1, np.minimum(half, BAND_SHARE * apart)[own]


def _basebands(piece: _Piece, hz: np.ndarray, half_hz: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return what lies around each ``hz`` (N,) moved to 0 Hz, (N, n), and its level over the noise.

    ``half_hz`` (N,) is half the width of each.
    """
    half = int(WIDEST_HZ / piece.bin_hz)
    count = 2 * half + 1
    keep = int(piece.filled * count)
    offset, centre = np.arange(-half, half + 1), np.rint(hz / piece.bin_hz).astype(int)
    wide = np.maximum(2.0, half_hz / piece.bin_hz)[:, None]
    window = np.cos(0.5 * np.pi * np.clip(offset / (wide + 1.0), -1.0, 1.0)) ** 0.5
    at = centre[:, None] + offset
    inside = (at >= 0) & (at < len(piece.spectrum))
    cut = np.where(inside, piece.spectrum[np.clip(at, 0, len(piece.spectrum) - 1)], 0.0) * window
    away = (hz / piece.bin_hz - centre)[:, None]
    turn = np.exp(-2j * np.pi * away * np.arange(keep) / count)
    trim = max(1, keep // 25)
    band = (ifft(ifftshift(cut, axes=1), axis=1)[:, :keep] * count * turn)[:, trim : keep - trim]
    noise = np.array([_noise(piece, at) for at in centre])
    power = (np.abs(band) ** 2).mean(axis=1)
    over = power / (noise * (window**2).sum(axis=1) + 1e-16)
    return band, 10.0 * np.log10(over + LEAST_POWER)


def _noise(piece: _Piece, centre: int) -> float:
    """Return the power of a bin of noise around ``centre``."""
    reach = max(20, int(NOISE_AROUND_HZ / piece.bin_hz))
    around = np.abs(piece.spectrum[max(1, centre - reach) : centre + reach]) ** 2
    return float(percentile(around, NOISE_PERCENTILE)) / PERCENTILE_SHARE if len(around) else 0.0


def _course(voice: _Voice) -> np.ndarray:
    """Return the voice's level over time in dB re its usual level, shape (n,)."""
    power = np.abs(voice.bands) ** 2
    usual = percentile(power, USUAL_PERCENTILE, axis=1)
    weight = np.clip(voice.snr_db, *LEVEL_SNR_DB) / (usual + 1e-16)
    db = _smoothed(10.0 * np.log10(weight @ power / len(weight) + 1e-9), COURSE_S)
    return db - percentile(db, USUAL_PERCENTILE)


def _smoothed(values: np.ndarray, width_s: float) -> np.ndarray:
    width = max(3, int(width_s * RATE_HZ) | 1)
    shape = np.hanning(width + 2)[1:-1]
    return np.convolve(np.pad(values, width // 2, mode="edge"), shape / shape.sum(), "valid")


def _signs(
    voice: _Voice, course: np.ndarray, others: list[np.ndarray], length_s: float
) -> np.ndarray:
    radians, still = _followed(voice)
    cents = in_cents(np.maximum(LEAST_RATIO, 1.0 + radians * RATE_HZ / (2.0 * np.pi * voice.f0_hz)))
    t = np.linspace(-0.5, 0.5, len(cents))
    drift = abs(float((t * cents).sum() / (t * t).sum()))
    unrest = _unrest(voice, still)
    stretch, stretched = _stretch(voice, still)
    t = np.linspace(-0.5, 0.5, len(course)) * len(course) / RATE_HZ
    fading = float((t * np.maximum(course, FADING_LEVEL_DB)).sum() / (t * t).sum())
    values = {
        "snr": np.clip(np.sort(voice.snr_db)[-3:].mean(), *SNR_DB),
        "found": (voice.snr_db[:FOUND_AMONG] > AUDIBLE_DB).mean(),
        "unrest": unrest,
        "unrest_by_length": unrest * np.log(length_s),
        "presence": np.clip((course > -NEAR_LEVEL_DB).mean(), *PRESENCE),
        "fading": np.clip(fading, *FADING_DB_PER_S),
        "drop": np.clip(-fading * length_s, *DROP_DB),
        "alternation": _alternation(course, others),
        "drift": np.log1p(drift),
        "stretch": np.log1p(np.clip(stretch * STRETCH_PER, *STRETCH)),
        "stretched": np.log1p(np.clip(stretched, *STRETCHED)),
        "length": np.log(length_s),
    }
    return np.array([float(values[name]) for name in SIGNS])


def _followed(voice: _Voice) -> tuple[np.ndarray, np.ndarray]:
    """Return how the fundamental turns, radians a step (n - 1,), and the bands turned back."""
    k = voice.number[:, None].astype(float)
    step = voice.bands[:, 1:] * voice.bands[:, :-1].conj()
    weight = np.abs(step) / (np.abs(step).mean(axis=1, keepdims=True) + 1e-20)
    # A phase step divided by k has a variance that falls as 1/k²: hence the weight k².
    weight *= k * k * np.clip(voice.snr_db, *FOLLOW_SNR_DB)[:, None]
    radians = (weight * np.angle(step) / k).sum(axis=0) / weight.sum(axis=0)
    radians = _smoothed(radians, PITCH_S)
    phase = np.concatenate([[0.0], np.cumsum(radians)])
    return radians, voice.bands * np.exp(-1j * k * phase)


def _unrest(voice: _Voice, still: np.ndarray) -> float:
    """Return the log of the share of the partials' power that a slow parabola leaves."""
    t = np.linspace(-1.0, 1.0, still.shape[1])
    slow = np.linalg.qr(np.stack([np.ones(len(t)), t, t * t], axis=1))[0]
    rest = still - (still @ slow) @ slow.T
    share = (np.abs(rest) ** 2).sum(axis=1) / ((np.abs(still) ** 2).sum(axis=1) + 1e-20)
    trust = np.clip(voice.snr_db, *FOLLOW_SNR_DB)
    return float((trust * np.log(share + LEAST_UNREST)).sum() / trust.sum())


def _alternation(course: np.ndarray, others: list[np.ndarray]) -> float:
    """Return the least covariance (in 10 dB²) of the voice's level with another's, at most 0."""
    least = 0.0
    for other in others:
        pair = np.maximum(np.stack([course, other]), ALTERNATION_LEVEL_DB)
        least = min(least, float(np.cov(pair)[0, 1]) / PER_10_DB)
    return max(least, LEAST_ALTERNATION)


def _stretch(voice: _Voice, still: np.ndarray) -> tuple[float, float]:
    """Return the stiffness B and how many standard errors it stands above 0.

    Least squares of what the partials still turn by, in Hz: a·k + b·k³, where B = 2·b/f0.
    """
    good = voice.snr_db > AUDIBLE_DB
    if good.sum() < 3:
        return 0.0, 0.0
    turns = (still[good, 1:] * still[good, :-1].conj()).sum(axis=1)
    hz = np.angle(turns) * RATE_HZ / (2.0 * np.pi)
    k = voice.number[good].astype(float)
    weight = np.clip(voice.snr_db[good], *LEVEL_SNR_DB) / k
    model = np.stack([k, k**3], axis=1)
    solve = np.linalg.pinv(model * weight[:, None])
    a, b = solve @ (hz * weight)
    rest = (hz - model @ np.array([a, b])) * weight
    least = LINE_WIDTH_SHARE * RATE_HZ / still.shape[1]
    variance = (rest**2).sum() / max(1, len(k) - 2) + (least * weight.mean()) ** 2
    error = np.sqrt(variance * (solve[1] ** 2).sum())
    return float(2.0 * b / voice.f0_hz), float(b / error)
