"""How loud each voice is, moment by moment, told from the partials that are its own.

Conventions
-----------
* An :class:`Envelopes` covers a span in steps of about 6 ms; ``db`` has shape (V, m), one row per
  voice, in dB re full scale, the median over the voice's partials.
* A partial is *own* when it lies at least ``CLEAR_HZ`` from every partial of every other note that
  sounds in the span or just beside it.

Method
------
A short Hann window (46 ms) makes the times sharp; its main lobe is about 86 Hz wide, so own
partials must be that clear of others. The median over partials ignores the beats and room
interference that make single partials flutter: a bow change lowers all of them at once.
"""

from collections import OrderedDict
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from scipy.fft import rfft
from scipy.ndimage import uniform_filter1d

from studio.intonation.detection.resampling import Sound
from studio.intonation.percentiles import median, percentile
from studio.theory import in_cents

# Chosen on made clips and recorded notes:
WINDOW = 1024  # samples at the analysis rate, 46 ms: shorter is sharper in time, wider in frequency
HOP = 128  # samples, about 6 ms
CLEAR_HZ = 55.0  # from others' partials: beyond half the window's main lobe ...
NEARLY_HZ = 25.0  # ... and where too few are that clear
ENOUGH_CLEAR = 2  # partials, whose median already steadies
NUMBERED = 16  # partials looked at
LOWEST_HZ, HIGHEST_HZ = 150.0, 4500.0  # of own partials: below is hum, above bow noise
MOST_PARTIALS = 9  # the lowest ones: of more the median changes little
OTHER_CENTS = 70.0  # nearer, a note beside is the voice itself
TOGETHER_HZ = 5000.0  # partials that show a bow change, up to here
TOGETHER_LEAST = 1.1  # times the lowest partial, where even that lies higher
BLOCK_FRAMES = 512  # of the short-time power kept, about 3 s
BLOCKS_KEPT = 32  # about 90 s, 17 MB: neighbours and the next step ask for them again
BINS = 256  # up to 5.5 kHz at the analysis rate: above ``TOGETHER_HZ``
SWING = 0.02  # vibrato and slides of 35 cents move a partial by this share of its frequency
LOUD_PERCENTILE, USUAL_PERCENTILE = 90, 60  # of a partial's levels: when it sounds; together
FAINT = 1e-3  # of power: partials 30 dB below the voice's loudest are noise
FAINT_TOGETHER = 3e-4  # the same, 35 dB, of the partials of all voices
LEAST_SHARE, LEAST_DB = 1e-3, -18.0  # of its usual level: what one partial may lower the mean by
# A Hann window whose sum is 1, by definition: a sinusoid keeps its level.
_HANN = np.hanning(WINDOW + 1)[:-1].astype(np.float32)
_HANN /= _HANN.sum()


@dataclass(slots=True)
class Envelopes:
    """Levels over time: ``time_s`` (m,), ``db`` (V, m), and ``own`` (V,) own partials found."""

    time_s: np.ndarray
    db: np.ndarray
    own: np.ndarray

    def between(self, start_s: float, end_s: float) -> slice:
        """Return the indices of a span, at least one."""
        return _between(self.time_s, start_s, end_s)


@dataclass(slots=True)
class Strokes:
    """Level (m,) of everything the voices sound, all together, in dB re its usual level.

    ``time_s`` (m,); ``voices`` is how many they are.
    """

    time_s: np.ndarray
    db: np.ndarray
    voices: int

    def between(self, start_s: float, end_s: float) -> slice:
        """Return the indices of a span, at least one."""
        return _between(self.time_s, start_s, end_s)


def _between(time_s: np.ndarray, start_s: float, end_s: float) -> slice:
    lo = int(np.searchsorted(time_s, start_s))
    hi = int(np.searchsorted(time_s, end_s))
    lo = min(lo, len(time_s) - 1)
    return slice(lo, max(lo + 1, hi))


def envelopes(
    sound: Sound, start_s: float, end_s: float, f0_hz: np.ndarray, beside_hz: np.ndarray
) -> Envelopes:
    """Return the envelopes of voices ``f0_hz`` (V,) over a span.

    ``beside_hz``: fundamentals of other notes whose partials must be kept clear of.
    """
    time_s, power = _span_power(sound, start_s, end_s)
    bin_hz = sound.fs / WINDOW
    rows, found = [], []
    for v, f0 in enumerate(f0_hz):
        others = np.concatenate([np.delete(f0_hz, v), beside_hz])
        partials = own_partials(f0, others)
        rows.append(_median_level(power, partials, bin_hz))
        found.append(len(partials))
    return Envelopes(time_s, np.array(rows), np.array(found))


def strokes(sound: Sound, start_s: float, end_s: float, f0_hz: np.ndarray) -> Strokes:
    """Return how loud the voices ``f0_hz`` (V,) are together over a span."""
    time_s, power = _span_power(sound, start_s, end_s)
    return Strokes(time_s, _together(power, f0_hz, sound.fs / WINDOW), len(f0_hz))


def _span_power(sound: Sound, start_s: float, end_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the times (m,) of the frames of a span, and their power (m, bins)."""
    first = int(np.floor(start_s * sound.fs / HOP))
    count = max(1, int((end_s - start_s) * sound.fs) // HOP)
    return HOP * np.arange(first, first + count) / sound.fs, short_time_power(sound, first, count)


def short_time_power(sound: Sound, first: int, count: int) -> np.ndarray:
    """Return power (count, bins) of the frames centred at ``first`` * HOP, one HOP apart.

    One event is asked again and again, and neighbours share most of their span: a clip's frames
    are made once, a block at a time, and the last few blocks are kept.
    """
    blocks = _kept_blocks.setdefault(sound, OrderedDict())
    parts, at = [], first
    while at < first + count:
        number = at // BLOCK_FRAMES
        if number not in blocks:
            if len(blocks) >= BLOCKS_KEPT:
                blocks.popitem(last=False)
            blocks[number] = _block_power(sound, number * BLOCK_FRAMES)
        blocks.move_to_end(number)
        until = min(first + count, (number + 1) * BLOCK_FRAMES)
        parts.append(blocks[number][at % BLOCK_FRAMES : at % BLOCK_FRAMES + until - at])
        at = until
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


def _block_power(sound: Sound, first: int) -> np.ndarray:
    x = sound.read(first * HOP - WINDOW // 2, (BLOCK_FRAMES - 1) * HOP + WINDOW)
    pieces = np.lib.stride_tricks.sliding_window_view(x, WINDOW)[::HOP]
    spectrum = rfft(pieces * _HANN, axis=1)[:, :BINS]
    return spectrum.real**2 + spectrum.imag**2


_kept_blocks: WeakKeyDictionary[Sound, OrderedDict[int, np.ndarray]] = WeakKeyDictionary()


def own_partials(f0: float, others_hz: np.ndarray) -> np.ndarray:
    """Return the partials (Hz) of ``f0`` that lie clear of the others; if none, the clearest."""
    hz = f0 * np.arange(1, NUMBERED + 1)
    hz = hz[(hz > LOWEST_HZ) & (hz < HIGHEST_HZ)]
    if not len(hz):
        hz = np.array([f0])
    others = others_hz[np.abs(in_cents(others_hz / f0)) > OTHER_CENTS]
    if not len(others):
        return hz[:MOST_PARTIALS]
    near = np.abs(hz[:, None] - np.maximum(1.0, np.rint(hz[:, None] / others)) * others).min(axis=1)
    for clear in (CLEAR_HZ, NEARLY_HZ):
        if (near > clear).sum() >= ENOUGH_CLEAR:
            return hz[near > clear][:MOST_PARTIALS]
    return hz[np.argsort(-near)[:ENOUGH_CLEAR]]


def _median_level(power: np.ndarray, partials_hz: np.ndarray, bin_hz: float) -> np.ndarray:
    at = np.rint(partials_hz / bin_hz).astype(int)
    level = np.maximum(np.maximum(power[:, at - 1], power[:, at]), power[:, at + 1])
    loud = percentile(level, LOUD_PERCENTILE, axis=0)
    strong = loud > loud.max() * FAINT
    db = 10.0 * np.log10(level[:, strong] + 1e-14)
    db -= 10.0 * np.log10(loud[strong])
    held = median(db, axis=1) + 10.0 * np.log10(loud[strong].mean() + 1e-14)
    return uniform_filter1d(held, 3)


def _together(power: np.ndarray, f0_hz: np.ndarray, bin_hz: float) -> np.ndarray:
    """Return the mean of all partials' levels, each in dB re its own median.

    None counts for less than ``LEAST_DB``.
    A mean over many partials is steady where each flutters: only what lowers all of them shows.
    """
    hz = np.sort(np.concatenate([f0 * np.arange(1, NUMBERED + 1) for f0 in f0_hz]))
    hz = hz[(hz > LOWEST_HZ) & (hz < max(TOGETHER_HZ, TOGETHER_LEAST * hz[0]))]
    apart = np.concatenate([[True], np.diff(hz) > bin_hz]) if len(hz) else np.zeros(0, bool)
    at = np.rint(hz[apart] / bin_hz).astype(int) if len(hz) else np.array([3])
    level, reach = power[:, at].copy(), 1.0 + SWING * at
    for shift in range(1, int(reach.max()) + 1):
        far = reach >= shift
        wide = np.maximum(power[:, at[far] - shift], power[:, at[far] + shift])
        level[:, far] = np.maximum(level[:, far], wide)
    usual = percentile(level, USUAL_PERCENTILE, axis=0)
    strong = usual > usual.max() * FAINT_TOGETHER
    db = 10.0 * np.log10(level[:, strong] / usual[strong] + LEAST_SHARE)
    return np.maximum(db, LEAST_DB).mean(axis=1)
