"""The clip's A4: from a reference tone, from the open strings, from all notes.

Conventions: A4 in Hz; spans are (start, end) in seconds of the clip.

From what was played (:func:`estimate`)
---------------------------------------
1. *From all notes.* Every note's distance from equal temperament at 440 Hz, modulo a semitone,
   is a point on a circle of 100 cents. The densest place on it (a kernel of 6 cents) is where
   the player's notes lie; the weighted median around it is the first estimate. Notes played
   badly fall outside and do not pull.
2. *From open strings.* A note is likely an open string where it can hardly be anything else:
   the lowest string's own pitch, a note whose partner needs the neighbouring string, or either
   note of a fifth between two open strings. It counts as one when it comes back after other
   notes and keeps its pitch within 3 cents, as an open string does. Without such a neighbour it
   has to come back at least four times within 1.5 cents and without vibrato.
   Strings tuned in pure fifths lie up to 6 cents from equal temperament, so A counts most.
   A stopped note that keeps its pitch passes for an open string, and a string that its player
   takes for tuned may be a little off: so strings and notes are pooled, each with its standard
   deviation, and only where they contradict each other are the strings alone believed.
3. A string that disagrees with everything else is mistuned and is left out of the reference.

A clip a semitone away (A4 = 415 Hz) cannot be told from one at 440 that is played in another
key: give A4 then.

From a reference tone (:func:`from_tone`)
-----------------------------------------
A fork, a tuner's tone or the open A, sounding alone. A tone of a known pitch class fixes A4
whatever its octave. The strongest line of the span's spectrum that lies, octaves aside, where that
class can be (A4 between 380 and 480 Hz) is brought down to 0 Hz and its phase differentiated (the
instantaneous frequency; Boashash 1992, *Proc. IEEE* 80(4), 520-538). No other of a tone's first six
partials falls there: the third lies 702 cents and the fifth 386 cents above a multiple of two. A
fork or a tuner gives a single partial, which the fit of a voice does not take for a note; hence a
way of its own. The uncertainty is the standard error of the pitch of the span's quarters.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np
from scipy.signal import resample_poly

from studio.intonation.model.measurement import OpenString, Reference
from studio.intonation.model.options import A4_HZ_BOUNDS, LONGEST_TONE_S, Options
from studio.intonation.model.runs import A4_CENTS, cents_of
from studio.theory import A4_HZ, SEMITONE_CENTS, Pitch, as_ratio, in_cents, openness

# From notes and strings. Chosen on simulated and made scales
# (tests/intonation/estimation/test_reference_pitch.py), unless a line says otherwise:
KERNEL_CENTS = 6.0  # of the density of notes: about what a pupil's good notes err by
KERNELS = 4.0  # around the densest place, within which notes count
GRID_CENTS = 0.5  # of the density; the median is finer
NOTES_FLOOR_CENTS = 1.6  # however many notes: players' scales lean to one side by as much
# A median errs 1.25 times as much as a mean; the rest makes up for misplayed intervals. With it
# the truth lies within one uncertainty for 68 % of simulated scales whose degrees err by 6 cents.
MEDIAN_FACTOR = 1.6
MEDIAN_ERROR = 1.25  # sqrt(pi / 2): a median's error re a mean's, of a normal law
MAD_TO_SD = 1.4826  # from median absolute deviation to standard deviation, of a normal law
UNSURE_CENTS = 5.0  # uncertainty of a note of which none is stated, and at which one counts half
STRING_FLOOR_CENTS = 0.3  # an open string is not known better: it gives way under the bow
STRING_REACH_CENTS = 45.0  # from its place at the clip's pitch: nearly to the next name
STRING_SD_CENTS = 2.0  # of a string whose uncertainty is not stated
SAME_STRING_CENTS = 1.5  # between soundings of an open string
RETURNS = 4  # of a pitch, before it is taken for an open string on that alone
RETURNS_SHARE = 0.7  # of the notes near a string's pitch, that must agree then
KEEPS_CENTS = 3.0  # spread of an open string's soundings
SPREAD_PERCENTILES = [10.0, 90.0]  # between which a spread is taken: one in five may be off
RETURNS_WHERE_LIKELY = 2  # the same where it can hardly be stopped
DISAGREES_CENTS = 10.0  # from everything else: a mistuned string
MANY_PITCHES = 4  # heard, from which on notes can speak against strings
LONGEST_S = 2.0  # a longer note says no more about the reference
# How far a well-tuned string may be from its place, in cents, by fifths from A: pure fifths
# (3:2) and equal temperament differ by 2 cents for each; half of that is taken as expected.
FIFTH_CENTS = 1.955
TUNED_CENTS = 1.2  # how far off a string may be that its player takes for tuned (chosen)
LEAN_CENTS = 3.0  # all a player's stopped notes may lean to one side by as much (chosen)
CONFLICT = 2.5  # standard deviations apart from which the open strings alone are believed
HALF_NAME_CENTS = SEMITONE_CENTS / 2  # halfway to the next name, by definition
# From a reference tone. Chosen, unless a line says otherwise:
RATE_HZ = 22050  # as in ``resampling``
LOWEST_HZ, HIGHEST_HZ = 100.0, 4000.0  # where a reference tone's strongest line may lie
CLEAR_DB = 15.0  # the line above the middle of the spectrum; noise has lines of up to 13 dB
LEAST_SHARE = 0.25  # of the strongest line: third partials of other notes fall where A can be
QUARTERS = 4  # parts of the span that must agree
MOST_APART_CENTS = 10.0  # standard deviation between them; more is no tone that is held
BLOCK_S = 0.02  # of the line brought down to 0 Hz, averaged: a band of 50 Hz
FLOOR_CENTS = 0.3  # a tone is not trusted further: forks warm up, strings are bowed harder


@dataclass(frozen=True, slots=True)
class HeardNote:
    """One voice of one event, as the reference needs it. ``partners`` are the other f0s."""

    event: int
    voice: int
    f0_hz: float
    uncertainty_cents: float | None
    heard_s: float
    vibrato: bool
    partners: tuple[float, ...] = ()

    @property
    def weight(self) -> float:
        """Longer and surer notes count more."""
        doubt = UNSURE_CENTS if self.uncertainty_cents is None else self.uncertainty_cents
        return min(self.heard_s, LONGEST_S) / (1.0 + (doubt / UNSURE_CENTS) ** 2)


def estimate(
    notes: Sequence[HeardNote], options: Options, tone: Reference | None = None
) -> tuple[Reference, tuple[OpenString, ...]]:
    """Estimate A4 and find the open strings.

    Returns
    -------
    (Reference, open strings from low to high)
        ``Reference.source``: given (in the options), tone, open_strings, notes, or assumed when
        nothing was heard (A4 = 440 Hz, uncertainty unknown).

    ``tone`` is what a reference tone said (:func:`from_tone`); one that could not be measured is
    passed over.
    """
    known = _known(options, tone)
    if not notes:
        return known or Reference(), ()
    offset, doubt = (cents_of(known.a4_hz, A4_HZ) - A4_CENTS, 0.0) if known else _from_notes(notes)
    strings = _open_strings(notes, options, offset)
    reference = known or _combined(notes, strings, offset, doubt)
    return reference, tuple(_against(string, reference) for string in strings)


def _known(options: Options, tone: Reference | None) -> Reference | None:
    """The reference that need not be estimated from what was played."""
    if options.a4_hz:
        return Reference(options.a4_hz, 0.0, "given")
    return tone if tone is not None and tone.source == "tone" else None


def _combined(
    notes: Sequence[HeardNote], strings: list[OpenString], offset: float, doubt: float
) -> Reference:
    kept = _agreeing(strings, offset, _pitches_heard(notes, offset))
    if not kept:
        return Reference(_a4(offset), doubt, "notes")
    mean, sd = _pooled([(_a4_offset(string), _sd(string)) for string in kept])
    by_notes = (offset, max(doubt, LEAN_CENTS))
    enough = _pitches_heard(notes, offset) >= MANY_PITCHES
    if enough and abs(mean - offset) < CONFLICT * math.hypot(sd, by_notes[1]):
        mean, sd = _pooled([(mean, sd), by_notes])
    return Reference(_a4(mean), sd, "open_strings")


def _pooled(claims: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The mean of (value, sd) claims weighted by 1 / sd^2, and its sd.

    Where the claims disagree by more than their sd allow, all of them are taken to be that much
    less sure (Birge 1932, *Phys. Rev.* 40, 207-227).
    """
    weights = [1.0 / sd**2 for _, sd in claims]
    mean = sum(w * at for w, (at, _) in zip(weights, claims, strict=True)) / sum(weights)
    excess = sum(w * (at - mean) ** 2 for w, (at, _) in zip(weights, claims, strict=True))
    ratio = math.sqrt(excess / max(len(claims) - 1, 1))
    return mean, max(1.0, ratio) / math.sqrt(sum(weights))


def _a4(offset_cents: float) -> float:
    return float(A4_HZ * as_ratio(offset_cents))


def _wrapped(cents: np.ndarray) -> np.ndarray:
    """Into -50..50 cents."""
    return (cents + HALF_NAME_CENTS) % SEMITONE_CENTS - HALF_NAME_CENTS


def _from_notes(notes: Sequence[HeardNote]) -> tuple[float, float]:
    """(offset of A4 from 440 Hz in cents, its uncertainty) from everything heard."""
    cents = np.array([cents_of(note.f0_hz, A4_HZ) for note in notes])
    weights = np.array([note.weight for note in notes])
    grid = np.arange(-HALF_NAME_CENTS, HALF_NAME_CENTS, GRID_CENTS)
    apart = _wrapped(cents[None, :] - grid[:, None])
    density = np.exp(-0.5 * (apart / KERNEL_CENTS) ** 2) @ weights
    mode = float(grid[int(np.argmax(density))])
    rest = _wrapped(cents - mode)
    near = np.abs(rest) <= KERNELS * KERNEL_CENTS
    middle = _weighted_median(rest[near], weights[near])
    spread = MAD_TO_SD * _weighted_median(np.abs(rest[near] - middle), weights[near])
    offset = float(_wrapped(np.array(mode + middle)))
    pitches = _pitches_heard(notes, offset)
    doubt = MEDIAN_FACTOR * max(spread, KERNEL_CENTS / 2.0) / math.sqrt(max(pitches, 1))
    return offset, max(doubt, NOTES_FLOOR_CENTS)


def _pitches_heard(notes: Sequence[HeardNote], offset: float) -> int:
    return len({round((cents_of(note.f0_hz, A4_HZ) - offset) / SEMITONE_CENTS) for note in notes})


def _weighted_median(values: np.ndarray, weights: np.ndarray) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][int(np.searchsorted(total, total[-1] / 2.0))])


def _nominal(f0_hz: float, offset: float) -> int:
    return round((cents_of(f0_hz, A4_HZ) - offset) / SEMITONE_CENTS)


def _open_strings(notes: Sequence[HeardNote], options: Options, offset: float) -> list[OpenString]:
    strings = options.strings
    found = []
    for index, pitch in enumerate(strings):
        near = [
            note
            for note in notes
            if abs(cents_of(note.f0_hz, A4_HZ) - offset - SEMITONE_CENTS * pitch.midi)
            <= STRING_REACH_CENTS
        ]
        likely = [n for n in near if index == 0 or _hardly_stopped(n, pitch, strings, offset)]
        kept = _kept(likely, near) or _returning(near)
        if kept:
            found.append(_string(pitch, kept, near))
    return found


def _hardly_stopped(
    note: HeardNote, pitch: Pitch, strings: tuple[Pitch, ...], offset: float
) -> bool:
    """Whether its partner leaves it only the open string, or is the next open string itself."""
    if len(note.partners) != 1 or note.vibrato:
        return False
    other = _nominal(note.partners[0], offset)
    if abs(other - pitch.midi) == 7 and any(string.midi == other for string in strings):
        return True
    if other < pitch.midi:
        return openness(other, pitch.midi, strings)[1] == "open"
    return openness(pitch.midi, other, strings)[0] == "open"


def _kept(likely: list[HeardNote], near: list[HeardNote]) -> list[HeardNote]:
    """The notes at the likely open string's pitch, where that pitch is kept, or nothing."""
    if not likely or _spread(likely) > KEEPS_CENTS:
        return []
    middle = float(np.median([cents_of(note.f0_hz, A4_HZ) for note in likely]))
    same = [
        note
        for note in near
        if not note.vibrato and abs(cents_of(note.f0_hz, A4_HZ) - middle) <= KEEPS_CENTS
    ]
    return same if _returns(same) >= RETURNS_WHERE_LIKELY else []


def _returning(near: list[HeardNote]) -> list[HeardNote]:
    """The notes of a pitch that returns unchanged again and again, or nothing."""
    steady = sorted((note for note in near if not note.vibrato), key=lambda note: note.f0_hz)
    best: list[HeardNote] = []
    for first in steady:
        same = [n for n in steady if 0.0 <= _apart(first, n) <= SAME_STRING_CENTS]
        if len(same) > len(best):
            best = same
    enough = len(best) >= RETURNS_SHARE * len(near) and _returns(best) >= RETURNS
    return best if enough else []


def _returns(notes: list[HeardNote]) -> int:
    """How often the note was come back to: soundings in a row count once."""
    events = sorted({note.event for note in notes})
    return (1 if events else 0) + sum(b - a > 1 for a, b in pairwise(events))


def _spread(notes: list[HeardNote]) -> float:
    """Cents between the lowest and the highest of the notes, leaving out one in five."""
    cents = np.array([cents_of(note.f0_hz, A4_HZ) for note in notes])
    low, high = np.percentile(cents, SPREAD_PERCENTILES)
    return float(high - low)


def _apart(low: HeardNote, high: HeardNote) -> float:
    return in_cents(high.f0_hz / low.f0_hz)


def _string(pitch: Pitch, kept: list[HeardNote], near: list[HeardNote]) -> OpenString:
    cents = np.array([cents_of(note.f0_hz, A4_HZ) for note in kept])
    weights = np.array([note.weight for note in kept])
    middle = _weighted_median(cents, weights)
    spread = MAD_TO_SD * _weighted_median(np.abs(cents - middle), weights)
    own = [n.uncertainty_cents for n in kept if n.uncertainty_cents is not None]
    if not own:
        doubt = None
    else:
        doubt = max(
            STRING_FLOOR_CENTS,
            MEDIAN_ERROR * max(spread, float(np.median(own))) / math.sqrt(len(kept)),
        )
    heard = [n for n in near if abs(cents_of(n.f0_hz, A4_HZ) - middle) <= 2.0 * SAME_STRING_CENTS]
    f0_hz = float(A4_HZ * as_ratio(middle - A4_CENTS))
    return OpenString(str(pitch), f0_hz, 0.0, doubt, float(sum(n.heard_s for n in heard)))


def _fifths_from_a(string: OpenString) -> int:
    return Pitch.parse(string.pitch).fifths - Pitch.parse("A4").fifths


def _a4_offset(string: OpenString) -> float:
    """The offset of A4 from 440 Hz that this string speaks for."""
    pitch = Pitch.parse(string.pitch)
    off = cents_of(string.f0_hz, A4_HZ) - SEMITONE_CENTS * pitch.midi
    return off - 0.5 * FIFTH_CENTS * _fifths_from_a(string)


def _sd(string: OpenString) -> float:
    tuning = TUNED_CENTS + 0.5 * FIFTH_CENTS * abs(_fifths_from_a(string))
    return math.hypot(tuning, string.uncertainty_cents or STRING_SD_CENTS)


def _agreeing(strings: list[OpenString], offset: float, pitches: int) -> list[OpenString]:
    """The strings that agree with one another or with the notes."""
    if not strings:
        return []
    if len(strings) == 1:
        trusted = pitches < MANY_PITCHES
        near = abs(_a4_offset(strings[0]) - offset) <= DISAGREES_CENTS
        return strings if trusted or near else []
    places = [_a4_offset(string) for string in strings]
    middle = float(np.median([*places, offset]))
    return [
        s
        for s, place in zip(strings, places, strict=True)
        if abs(place - middle) <= DISAGREES_CENTS
    ]


def _against(string: OpenString, reference: Reference) -> OpenString:
    off = cents_of(string.f0_hz, reference.a4_hz) - SEMITONE_CENTS * Pitch.parse(string.pitch).midi
    return OpenString(string.pitch, string.f0_hz, off, string.uncertainty_cents, string.heard_s)


def require_within(span_s: tuple[float, float], length_s: float) -> None:
    """Refuse a span that ends after a clip of ``length_s`` seconds, by ``ValueError``."""
    if span_s[1] > length_s:
        raise ValueError(
            f"the reference tone's span ends at {span_s[1]:g} s; "
            f"the clip is {length_s:.1f} s long: choose a span within it"
        )


def from_tone(y: np.ndarray, sr: float, span_s: tuple[float, float], pitch: str) -> Reference:
    """A4 from the tone in ``span_s``, or the ``assumed`` reference where none can be measured.

    Parameters
    ----------
    y : np.ndarray, shape (n,)
        The clip, mono, -1..1.
    sr : float
        Samples per second.
    span_s : (start, end)
        Seconds; of a span longer than ``LONGEST_TONE_S`` the rest is not listened to.
    pitch : str
        The tone's pitch; its octave does not matter.

    Raises
    ------
    ValueError
        When the span does not lie within the clip.
    """
    require_within(span_s, len(y) / float(sr))
    start_s, end_s = span_s[0], min(span_s[1], span_s[0] + LONGEST_TONE_S)
    ratio = Fraction(RATE_HZ / float(sr)).limit_denominator(1000)
    piece = np.asarray(y[int(start_s * sr) : int(end_s * sr)], dtype=np.float64)
    piece = resample_poly(piece, ratio.numerator, ratio.denominator)
    rate = round(sr * ratio.numerator / ratio.denominator)
    line_hz = _strongest(piece, rate, Pitch.parse(pitch))
    if line_hz is None:
        return Reference()
    quarters = _quarters(piece, rate, line_hz)
    cents = in_cents(quarters / line_hz)
    apart = float(np.std(cents, ddof=1))
    if not apart < MOST_APART_CENTS:
        return Reference()
    tone_hz = np.array(line_hz * as_ratio(np.mean(cents)))
    a4_hz = float(_as_a4(tone_hz, Pitch.parse(pitch)))
    return Reference(a4_hz, math.hypot(apart / math.sqrt(QUARTERS), FLOOR_CENTS), "tone")


def _quarters(piece: np.ndarray, rate: int, line_hz: float) -> np.ndarray:
    """Mean frequency of the line at ``line_hz`` in each quarter of the piece, Hz, shape (4,)."""
    width = round(BLOCK_S * rate)
    turned = piece * np.exp(-2j * np.pi * line_hz * np.arange(len(piece)) / rate)
    line = turned[: len(piece) // width * width].reshape(-1, width).mean(axis=1)
    turns = line[1:] * line[:-1].conj()  # its angle is 2 pi (f - line_hz) a block
    sums = np.array([part.sum() for part in np.array_split(turns, QUARTERS)])
    return line_hz + np.angle(sums) / (2.0 * np.pi * width / rate)


def _as_a4(f_hz: np.ndarray, pitch: Pitch) -> np.ndarray:
    """The A4 that a tone of this pitch class speaks for, octaves folded away around 440 Hz."""
    octaves = np.log2(f_hz / pitch.frequency(A4_HZ))
    low = math.log2(A4_HZ_BOUNDS[0] / A4_HZ)
    return np.asarray(A4_HZ * 2.0 ** ((octaves - low) % 1.0 + low))


def _strongest(piece: np.ndarray, rate: int, pitch: Pitch) -> float | None:
    """The strongest line where the pitch class can be, in Hz; ``None`` where nothing stands out."""
    power = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), 2 * len(piece))) ** 2
    hz = np.fft.rfftfreq(2 * len(piece), 1.0 / rate)
    heard = (hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ)
    hz, power = hz[heard], power[heard]
    allowed = _as_a4(hz, pitch) <= A4_HZ_BOUNDS[1]
    if not allowed.any():
        return None
    best = int(np.argmax(np.where(allowed, power, 0.0)))
    least = max(10.0 ** (CLEAR_DB / 10.0) * np.median(power), LEAST_SHARE * power.max())
    return float(hz[best]) if power[best] > least else None
