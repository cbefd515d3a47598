"""What a drill should sound like: its frequencies in each tuning, and the tones themselves.

Conventions
-----------
* Frequencies in Hz, cents positive upwards, sound as float samples from -1 to 1.
* The sizes of intervals come from :mod:`studio.theory` alone. A double stop is built from one
  note, its *anchor*, which stands in a melodic scale from A4; the other lies exactly the tuning's
  interval away. The anchor is the lower note, unless only the upper one is an open string, which
  cannot move.
* The melodic scale is equal for ``equal``, and a chain of pure fifths from A4 for ``pythagorean``
  and ``just``: open strings are tuned in pure fifths, so that anchors which are open strings sound
  as the pupil's own do (common practice, no source).
* A chord is built pair by pair from its lowest open string, else its lowest note: every
  neighbouring pair is exact, the outer notes follow.
* An interval without a just ratio (a diminished fourth) sounds in its Pythagorean size, and one
  without a spelled name in its equal size.

The tone is what the page plays too: all partials, their amplitude falling as 1/k as those of a
bowed string do (Helmholtz motion: Fletcher & Rossing, *The Physics of Musical Instruments*, chapter
on bowed strings), faded out between 4 and 8 kHz, without vibrato or noise. The script in
``static/tones`` computes the same; a test compares them.
"""

import itertools
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from studio.notation.naming import short_name
from studio.notation.score import Score, Written
from studio.theory import (
    A4_HZ,
    OCTAVE_CENTS,
    TUNINGS,
    Interval,
    Pitch,
    as_ratio,
    has_agreed_target,
    interval_between,
    interval_of_semitones,
    just_ratio,
    openness,
    size_cents,
)
from studio.theory.tunings import require_tuning

FADE_HZ = (4000.0, 8000.0)  # chosen: bright enough to beat, dull enough to listen to for long
ATTACK_S, RELEASE_S = 0.08, 0.15  # chosen: no click, and no swell either
SHORTEST_S = ATTACK_S + RELEASE_S
LONGEST_S = 600.0
# Partial sums of sin(kx)/k never exceed Si(pi) = 1.852 (the Gibbs constant; DLMF 6.16), and fading
# keeps below that. A voice peaks at most at VOICE_PEAK, so that four voices stay under 1.
GIBBS = 1.8519370519824663
VOICE_PEAK = 0.2
A4_HZ_BOUNDS = (380.0, 480.0)  # from low old pitch to far above any studio's
MISTUNING_CENTS = 50.0
HIGHEST_DRONE_MIDI = 88  # E6: higher ones are unpleasant to hold
_A4 = Pitch.parse("A4")


def frequencies_of(score: Score, tuning: str, a4_hz: float = A4_HZ) -> dict[str, tuple[float, ...]]:
    """The frequencies of everything written, by its id, from low to high.

    A note written separately sounds as it will in the double stop that follows in its bar.

    Parameters
    ----------
    score : the drill
    tuning : just, pythagorean or equal
    a4_hz : the pupil's A4, 380 to 480

    Raises
    ------
    ValueError
        For an unknown tuning or an A4 out of bounds.
    """
    found = {}
    for item, whole, voice in _with_wholes(score):
        hz = held_hz(whole.pitches, tuning, a4_hz, open_voices=_open_voices(whole, score))
        found[item.id] = hz if voice is None else (hz[voice],)
    return found


def scale_hz(pitch: Pitch, tuning: str, a4_hz: float = A4_HZ) -> float:
    """Frequency of a note by itself: equal, or by pure fifths from A4.

    >>> round(scale_hz(Pitch.parse("G3"), "just"), 3)  # two pure fifths and an octave below A4
    195.556
    """
    require_tuning(tuning)
    low, high = A4_HZ_BOUNDS
    if not low <= a4_hz <= high:
        raise ValueError(f"A4 at {a4_hz} Hz is outside {low:g} to {high:g} Hz; 440 is usual")
    if tuning == "equal":
        return pitch.frequency(a4_hz)
    near = Pitch(pitch.step, pitch.alter, _A4.octave)
    up = near.diatonic >= _A4.diatonic
    interval = interval_between(_A4, near) if up else interval_between(near, _A4)
    cents = _cents(interval, "pythagorean")
    octaves = pitch.octave - near.octave
    return float(a4_hz * as_ratio((cents if up else -cents) + OCTAVE_CENTS * octaves))


def held_hz(
    pitches: Sequence[Pitch],
    tuning: str,
    a4_hz: float = A4_HZ,
    *,
    open_voices: Sequence[int] = (),
) -> tuple[float, ...]:
    """Frequencies of notes held together, low to high; ``open_voices`` are open strings.

    >>> low, high = held_hz([Pitch.parse("A3"), Pitch.parse("F#4")], "just")
    >>> round(high / low, 6)  # 5/3
    1.666667
    """
    anchor = min(open_voices, default=0)
    anchor_hz = scale_hz(pitches[anchor], tuning, a4_hz)
    places = [0.0]
    for low, high in itertools.pairwise(pitches):
        places.append(places[-1] + _cents(_interval(low, high), tuning))
    return tuple(anchor_hz * as_ratio(place - places[anchor]) for place in places)


def mistuned(hz: Sequence[float], cents: float, moves: int = 1) -> tuple[float, ...]:
    """Two notes with their interval made wider (positive) or narrower, by moving one of them.

    >>> [round(f, 2) for f in mistuned((220.0, 440.0), 10.0)]
    [220.0, 442.55]
    """
    if abs(cents) > MISTUNING_CENTS:
        raise ValueError(f"a mistuning of {cents} cents is outside ±{MISTUNING_CENTS:g}")
    low, high = hz
    if moves == 0:
        return low * as_ratio(-cents), high
    return low, high * as_ratio(cents)


def partials(f0_hz: float) -> np.ndarray:
    """Amplitudes of the partials 1, 2, 3 ... of a tone, shape (K,); K is at least 1.

    The amplitude is cos²-faded 1/k: 1/k up to 4 kHz, nothing from 8 kHz on.
    """
    start, end = FADE_HZ
    k = np.arange(1, max(1, math.ceil(end / f0_hz) - 1) + 1)
    fade = np.clip((k * f0_hz - start) / (end - start), 0.0, 1.0)
    return np.cos(0.5 * np.pi * fade) ** 2 / k


def render_hz(hz: Sequence[float], seconds: float, sr: int = 44100) -> np.ndarray:
    """Steady tones of these frequencies together.

    Parameters
    ----------
    hz : 1 to 4 frequencies, each above 0 and below 4000 Hz
    seconds : length with attack and release, 0.23 to 600
    sr : samples per second, at least 16000

    Returns
    -------
    np.ndarray, shape (n,)
        -0.8 to 0.8 at most, beginning and ending in silence.

    Raises
    ------
    ValueError
        Naming the value and the bound.
    """
    if not 1 <= len(hz) <= 4 or not all(0.0 < f0 < FADE_HZ[0] for f0 in hz):
        raise ValueError(f"{list(hz)} Hz cannot be rendered; give 1 to 4 above 0 and below 4000 Hz")
    if not SHORTEST_S <= seconds <= LONGEST_S:
        raise ValueError(f"{seconds} s is outside {SHORTEST_S:g} to {LONGEST_S:g} s")
    if sr < 2 * FADE_HZ[1]:
        raise ValueError(f"{sr} samples per second cannot carry 8 kHz; use 16000 or more")
    t = np.arange(round(seconds * sr)) / sr
    y = np.zeros(len(t))
    for f0 in hz:
        for k, amplitude in enumerate(partials(f0), start=1):
            y += amplitude * np.sin(2.0 * np.pi * k * f0 * t)
    return VOICE_PEAK / GIBBS * y * _envelope(t, seconds)


def render(
    notes: Sequence[Pitch],
    tuning: str = "just",
    a4_hz: float = A4_HZ,
    seconds: float = 2.0,
    sr: int = 44100,
    *,
    mistuning_cents: float = 0.0,
) -> np.ndarray:
    """Notes held together, in tune or with two of them mistuned. See :func:`render_hz`."""
    hz = held_hz(notes, tuning, a4_hz)
    return render_hz(mistuned(hz, mistuning_cents) if mistuning_cents else hz, seconds, sr)


def hearing(score: Score, *, tuning: str = "just", a4_hz: float | None = None) -> dict[str, Any]:
    """What ``drills/hear.html`` needs of a drill, as plain values for JSON.

    Parameters
    ----------
    score : the drill
    tuning : the one that is chosen at first
    a4_hz : the pupil's A4, 380 to 480; 440 when ``None``
    """
    require_tuning(tuning)
    a4_hz = a4_hz or A4_HZ
    hz = {name: frequencies_of(score, name, a4_hz) for name in TUNINGS}
    steps: dict[str, dict[str, Any]] = {}
    for item, whole, voice in _with_wholes(score):
        if whole.id not in steps:
            sizes = {name: _rounded(hz[name][whole.id]) for name in TUNINGS}
            steps[whole.id] = _step(whole, score) | {"hz": sizes}
        if voice is not None:
            steps[whole.id]["parts"][item.id] = voice
    return {
        "a4_hz": a4_hz,
        "a4_bounds": list(A4_HZ_BOUNDS),
        "tuning": tuning,
        "steps": list(steps.values()),
        "drones": _drones(score, a4_hz),
    }


# -- parts of a drill ----------------------------------------------------------------------------


def _with_wholes(score: Score) -> list[tuple[Written, Written, int | None]]:
    """Everything written; what it sounds with; and its voice there (``None`` for the whole)."""
    found: list[tuple[Written, Written, int | None]] = []
    for _, group in itertools.groupby(score.written, key=lambda item: item.bar):
        bar = list(group)
        for place, item in enumerate(bar):
            near = (*bar[place:], *reversed(bar[:place]))
            whole = next((it for it in near if _belongs(item, it)), item)
            voice = None if whole is item else whole.pitches.index(item.pitches[0])
            found.append((item, whole, voice))
    return found


def _belongs(item: Written, whole: Written) -> bool:
    separate = item.manner == "separate" and len(item.pitches) == 1
    return separate and len(whole.pitches) > 1 and item.pitches[0] in whole.pitches


def _open_voices(item: Written, score: Score) -> list[int]:
    """The voices that are open strings: as fingered, else where nothing else is possible."""
    if len(item.pitches) == 2 and None in item.fingers:
        low, high = item.midi
        said = openness(low, high, score.player.open_strings)
        return [voice for voice in (0, 1) if said[voice] == "open"]
    return [voice for voice, finger in enumerate(item.fingers) if finger == 0]


def _step(item: Written, score: Score) -> dict[str, Any]:
    pair = len(item.pitches) == 2
    interval = _interval(*item.pitches) if pair else None
    agreed = interval is not None and has_agreed_target(interval)
    opened = _open_voices(item, score)
    return {
        "ref": item.id,
        "bar": item.bar,
        "name": short_name(item),
        "notes": [pitch.pretty for pitch in item.pitches],
        "interval": interval.everyday if interval else "",
        # Where both are open strings the page still lets one be mistuned: to hear it.
        "moves": 0 if opened == [1] else 1,
        "ratio": list(just_ratio(interval) or ()) if interval else [],
        # Only agreed sizes have beats that can be heard (as theory.beat_hz has it).
        "beats": agreed,
        "cents": {name: round(_cents(interval, name), 1) for name in TUNINGS} if interval else {},
        "parts": {},
    }


def _drones(score: Score, a4_hz: float) -> list[dict[str, Any]]:
    """The open strings, then the key's notes from the lowest string to the drill's highest note."""
    strings = score.player.open_strings
    rows = [(pitch, True) for pitch in strings]
    rows += [(pitch, False) for pitch in _scale_notes(score)]
    return [
        {
            "name": str(pitch),
            "label": pitch.pretty,
            "open": is_open,
            "hz": {name: round(scale_hz(pitch, name, a4_hz), 6) for name in TUNINGS},
        }
        for pitch, is_open in rows
    ]


def _scale_notes(score: Score) -> list[Pitch]:
    key, strings = score.spelled_key, score.player.open_strings
    written = {pitch for item in score.written for pitch in item.pitches}
    if key is None:
        return sorted(written, key=lambda pitch: (pitch.midi, pitch.diatonic))
    lowest = strings[0].midi
    highest = max(lowest + 12, *(pitch.midi for pitch in written))
    notes = [key.spell(midi) for midi in range(lowest, min(highest, HIGHEST_DRONE_MIDI) + 1)]
    return [pitch for pitch in notes if key.contains(pitch)]


# -- arithmetic ----------------------------------------------------------------------------------


def _interval(low: Pitch, high: Pitch) -> Interval:
    """As spelled; by its size where the spelling has no name."""
    try:
        return interval_between(low, high)
    except ValueError:
        return interval_of_semitones(high.midi - low.midi)


def _cents(interval: Interval, tuning: str) -> float:
    for name in (tuning, "pythagorean", "equal"):
        cents = size_cents(interval, name)
        if cents is not None:
            return cents
    raise ValueError(f"{interval} has no size")  # the equal one is always there


def _rounded(hz: Sequence[float]) -> list[float]:
    return [round(f0, 6) for f0 in hz]


def _envelope(t: np.ndarray, seconds: float) -> np.ndarray:
    """Raised-cosine attack and release."""
    rise = np.clip(t / ATTACK_S, 0.0, 1.0)
    fall = np.clip((seconds - t) / RELEASE_S, 0.0, 1.0)
    return np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2
