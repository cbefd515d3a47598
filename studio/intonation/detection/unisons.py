"""One note, or the same note on two strings? Beats tell.

Conventions
-----------
* ``f0_hz`` is the pitch heard as one note; two voices of a unison lie Δ Hz apart, 4 to 62 cents.
* A *baseband* is one partial moved to 0 Hz, complex, at a low rate (see ``octaves``).

Method
------
Two strings Δ Hz apart sound as one note whose partial k beats k·Δ times a second (Helmholtz, *On
the Sensations of Tone*, ch. VIII): twice as fast in the second partial as in the first. Nothing
that happens to a single note does that. Vibrato, through the slopes of the body's and the
room's resonances, and the bow's unsteadiness make every partial louder and softer too, but
all of them at the same few rates.

1. The power of each baseband, relative to its slow course (a parabola), is its *modulation*. The
   pitch itself may wander: the power does not see what both voices do together.
2. For each Δ the modulation of partial k at the rate k·Δ (*depth*) is held against that of the
   other partials at this same rate (median): the log ratio is the *gain*. Rates that the event is
   too short to resolve (less than 1.5 turns) do not count.
3. The best Δ is that of the largest sum over the partials, lower ones counting more, because
   the wander of two strings blurs the beats of high partials first.
4. It is a unison where the mean gain is far above what single notes show. On 749 single notes
   and octaves, made and real, it stayed below 0.72; on 59 unisons of 10 to 50 cents above 0.94.
   The mean over the odd partials must be as large: an octave's even partials beat as well.
5. The voices are then placed where two still lines explain most of the low partials, by least
   squares over their places near Δ: of the power of baseband b, lines with the normalised
   responses p1, p2 and the inner product g explain (|p1|² + |p2|² - 2·Re(p1*·p2·g)) / (1 - |g|²).
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.fft import fft, fftfreq, fftshift, next_fast_len, rfft

from studio.intonation.detection.octaves import basebands
from studio.intonation.detection.resampling import Sound
from studio.intonation.detection.segments import HELD_ON_S, SAME_CENTS, Event, same_notes
from studio.theory import as_ratio, in_cents

# Chosen on made and recorded single notes, octaves and unisons; GAIN on the 808 of point 4 above.
PARTIALS, HIGHEST_HZ = 8, 4500.0  # at most, and of a partial: high ones' beats are blurred
LEAST_CENTS, MOST_CENTS = 4.0, 62.0  # Δ: nearer beats too slowly, wider is found as two notes
WIDEST_CENTS = 70.0  # as placed; nearer voices are proposed nowhere else
LONGEST_S, SHORTEST_S = 1.6, 0.3  # of an event's middle: more tells little more, less too little
TRIM_S = 0.03  # off each end, which is attack or release
TAIL_SHARE = 0.2  # of the usual power: less at the ends is attack or tail
USUAL_PERCENTILE = 75  # of power: the usual one
AUDIBLE_DB = 8.0  # over the noise: partials asked
FEWEST_TURNS = 1.5  # of a partial's beat, or it is a swell
FEWEST_PARTIALS = 3  # that must agree
DELTA_STEP = 0.03  # of Δ
WANDER = 0.08  # of a rate: two strings do not keep their distance exactly
TREND_LEAST = 0.3  # of the mean power: a bound to what the slow course is divided by
# The next partial's beats lie at the edge of a band, and beyond it nothing is known.
RATE_SHARE, F0_SHARE = 0.4, 0.85
HERE_LEAST, OTHERS_LEAST = 0.05, 0.08  # modulation added, so that faint beats gain nothing
# What a partial is worth at a Δ: its gain and how deep it beats (log), from no help to a bound.
DEPTH_WORTH, DEPTH_MOST, DEPTH_LEAST = 0.8, 1.2, 0.1
WORTH_MOST = 1.5  # of one partial, so that none speaks for all
GAIN = 0.8  # log ratio above which it is two strings
SURE_MARGIN = 8.0  # log-odds of two strings for each unit of gain above
DEPTH = 0.2  # mean modulation; a voice 15 dB below the other still gives 0.35
LINE_PARTIALS = 4  # lowest ones, by which the two lines are placed
LINE_STEP = 0.5  # of a line's width
LINE_FROM, LINE_TO = -1.25, 0.25  # of Δ, where the lower line is looked for
APART_FROM, APART_TO = 0.75, 1.3  # of Δ, how far above it the upper one
LEAST_APART = 0.05  # 1 - |g|²: closer lines cannot be told from one
LEAST_LEFT = 0.02  # share of power left unexplained, at least: no fit is that good


@dataclass(frozen=True, slots=True)
class Beats:
    """The best Δ (Hz), the mean gain (log ratio) and the mean depth over the partials."""

    delta_hz: float
    gain: float
    depth: float

    @property
    def are_two_strings(self) -> bool:
        return self.gain > GAIN and self.depth > DEPTH


def unison(sound: Sound, start_s: float, end_s: float, f0_hz: float) -> tuple[Beats, np.ndarray]:
    """Return the beats over a span and the two voices (Hz, ascending) they would mean."""
    length_s = min(end_s - start_s - 2.0 * TRIM_S, LONGEST_S)
    if length_s < SHORTEST_S:
        return Beats(0.0, 0.0, 0.0), np.array([f0_hz, f0_hz])
    first = int((0.5 * (start_s + end_s) - 0.5 * length_s) * sound.fs)
    count = int(np.clip(HIGHEST_HZ / f0_hz, 3, PARTIALS))
    x = sound.read(first, int(length_s * sound.fs))
    bands, noise, rate = basebands(x, sound.fs, f0_hz, count)
    bands = _held_part(bands)
    if bands.shape[1] < SHORTEST_S * rate:
        return Beats(0.0, 0.0, 0.0), np.array([f0_hz, f0_hz])
    heard = 10.0 * np.log10((np.abs(bands) ** 2).mean(axis=1) / noise) > AUDIBLE_DB
    number = np.flatnonzero(heard) + 1
    found = beats(bands[heard], number, rate, f0_hz)
    if not found.are_two_strings:
        return found, np.array([f0_hz, f0_hz])
    return found, f0_hz + _lines(bands[heard], number, rate, found.delta_hz)


def _held_part(bands: np.ndarray) -> np.ndarray:
    """Return basebands without the attack and the room's tail at their ends."""
    power = np.abs(bands) ** 2
    total = (power / power.mean(axis=1, keepdims=True)).mean(axis=0)
    loud = np.flatnonzero(total > TAIL_SHARE * np.percentile(total, USUAL_PERCENTILE))
    return bands[:, loud[0] : loud[-1] + 1]


def beats(bands: np.ndarray, number: np.ndarray, rate: float, f0_hz: float) -> Beats:
    """Return the beats that basebands (K, n) of partials ``number`` (K,) have in common."""
    span_s = bands.shape[1] / rate
    low = max(0.5 * FEWEST_TURNS / span_s, f0_hz * (as_ratio(LEAST_CENTS) - 1.0))
    high = f0_hz * (as_ratio(MOST_CENTS) - 1.0)
    if len(number) < FEWEST_PARTIALS or high <= low:
        return Beats(0.0, 0.0, 0.0)
    delta = np.geomspace(low, high, max(8, int(np.log(high / low) / DELTA_STEP)))
    spectrum, step_hz = _modulation(bands, rate)
    at_hz = number[:, None] * delta  # (K, D)
    shown = _around(spectrum, step_hz, at_hz, span_s)  # (K partials, K rates, D)
    same = np.eye(len(number), dtype=bool)
    here = shown[same]
    others = shown.transpose(1, 0, 2)[~same].reshape(len(number), len(number) - 1, -1)
    known = at_hz < min(RATE_SHARE * rate, F0_SHARE * f0_hz)
    counts = (at_hz * span_s > FEWEST_TURNS) & known
    gain = np.log((here + HERE_LEAST) / (np.median(others, axis=1) + OTHERS_LEAST))
    deep = np.log(np.minimum(here, DEPTH_MOST) + DEPTH_LEAST)
    worth = np.minimum(gain + DEPTH_WORTH * deep + 1.0, WORTH_MOST)
    best = int(np.argmax((counts * worth / np.sqrt(number)[:, None]).sum(axis=0)))
    used = counts[:, best]
    if used.sum() < FEWEST_PARTIALS:
        return Beats(0.0, 0.0, 0.0)
    odd = used & (number % 2 == 1)  # an octave's even partials beat as well, its odd ones do not
    shared = min(gain[used, best].mean(), gain[odd, best].mean() if odd.any() else 0.0)
    return Beats(float(delta[best]), float(shared), float(here[used, best].mean()))


def _modulation(bands: np.ndarray, rate: float) -> tuple[np.ndarray, float]:
    """Return the amplitude of each band's relative power over rate, (K, R), and the step in Hz."""
    power = np.abs(bands) ** 2
    n = power.shape[1]
    t = np.linspace(-1.0, 1.0, n)
    slow = np.linalg.qr(np.stack([np.ones(n), t, t * t], axis=1))[0]
    trend = np.maximum((power @ slow) @ slow.T, TREND_LEAST * power.mean(axis=1, keepdims=True))
    window = np.hanning(n + 2)[1:-1]
    size = next_fast_len(4 * n, real=True)
    modulation = (power / trend - 1.0) * window
    return np.abs(rfft(modulation, size, axis=1)) * 2.0 / window.sum(), rate / size


def _around(spectrum: np.ndarray, step_hz: float, at_hz: np.ndarray, span_s: float) -> np.ndarray:
    """Return the largest of each spectrum (K) near each rate (K', D): (K, K', D)."""
    reach = np.maximum(0.5 / span_s, WANDER * at_hz)
    places = at_hz + reach * np.array([-1.0, 0.0, 1.0])[:, None, None]
    bins = np.clip(np.rint(places / step_hz).astype(int), 0, spectrum.shape[1] - 1)
    return spectrum[:, bins].max(axis=1)


def _lines(bands: np.ndarray, number: np.ndarray, rate: float, delta_hz: float) -> np.ndarray:
    """Return where two lines Δ apart explain the low partials best, Hz re f0, shape (2,)."""
    n = bands.shape[1]
    window = np.hanning(n + 2)[1:-1]
    size = next_fast_len(8 * n)
    low = number <= LINE_PARTIALS
    k = number[low] if low.sum() >= 2 else number
    rows = bands[np.isin(number, k)]
    hz = fftshift(fftfreq(size, 1.0 / rate))
    response = fftshift(fft(rows * window, size, axis=1), axes=1) / np.sqrt(window.sum())
    kernel = fftshift(fft(window / window.sum(), size))
    step_hz = LINE_STEP * rate / (n * float(k.max()))  # a share of the highest line's width
    first = np.arange(LINE_FROM * delta_hz, LINE_TO * delta_hz, step_hz)[:, None]
    apart = np.arange(APART_FROM * delta_hz, APART_TO * delta_hz + step_hz, step_hz)
    total = np.zeros((len(first), len(apart)))
    for row, power, q in zip(response, (np.abs(rows) ** 2) @ window, k, strict=True):
        p1, p2 = _at(row, hz, q * first), _at(row, hz, q * (first + apart))
        g = _at(kernel, hz, q * apart + 0.0 * first)
        both = np.abs(p1) ** 2 + np.abs(p2) ** 2 - 2.0 * (p1.conj() * p2 * g.conj()).real
        share = both / np.maximum(1.0 - np.abs(g) ** 2, LEAST_APART) / power
        total -= np.log(np.maximum(1.0 - share, LEAST_LEFT))
    best = np.unravel_index(int(np.argmax(total)), total.shape)
    start = float(first[best[0], 0])
    return np.array([start, start + float(apart[best[1]])])


def _at(row: np.ndarray, hz: np.ndarray, where_hz: np.ndarray) -> np.ndarray:
    index = np.rint((where_hz - hz[0]) / (hz[1] - hz[0])).astype(int)
    return row[np.clip(index, 0, len(row) - 1)]


def with_unisons(sound: Sound, events: list[Event]) -> list[Event]:
    """Return events with one note on two strings heard as two voices where their beats tell.

    Slow beats lower all partials at times, as a new stroke does: pieces of one note that touch
    are also asked together, unless each tells by itself.
    """
    out: list[Event] = []
    for event in events:
        if _is_one_series(event.f0_hz):
            _hear_unison(sound, event)
        last = out[-1] if out else None
        if last is not None and _is_piece_of(last, event):
            whole = replace(last, end_s=event.end_s, f0_hz=last.f0_hz[:1])
            if _hear_unison(sound, whole):
                out[-1] = whole
                continue
        out.append(event)
    return out


def _hear_unison(sound: Sound, event: Event) -> bool:
    beats, both = unison(sound, event.start_s, event.end_s, float(event.f0_hz[0]))
    if not beats.are_two_strings:
        return False
    event.alternatives = [tuple(float(f) for f in event.f0_hz), *event.alternatives]
    event.f0_hz, event.doubt = both, None
    event.margin = SURE_MARGIN * (beats.gain - GAIN)
    return True


def _is_piece_of(last: Event, event: Event) -> bool:
    """Say whether two events that touch may be one note cut by its own beats."""
    told = [is_unison(e.f0_hz) for e in (last, event)]
    series = [_is_one_series(e.f0_hz) or t for e, t in zip((last, event), told, strict=True)]
    touch = event.new_stroke and event.start_s - last.end_s < HELD_ON_S
    same = same_notes(last.f0_hz[:1], event.f0_hz[:1])
    return touch and same and all(series) and not all(told)


def is_unison(f0_hz: np.ndarray) -> bool:
    """Say whether two voices are one note on two strings."""
    return len(f0_hz) == 2 and bool(in_cents(f0_hz[1] / f0_hz[0]) < WIDEST_CENTS)


def _is_one_series(f0_hz: np.ndarray) -> bool:
    """Say whether all voices lie near multiples of the lowest: one note, or read as partials."""
    number = np.rint(f0_hz / f0_hz[0])
    if (number[1:] < 2.0).any():
        return False
    return bool((np.abs(in_cents(f0_hz / f0_hz[0] / number)) < SAME_CENTS).all())
