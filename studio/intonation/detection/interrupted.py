"""One long double stop heard in pieces: asked as a whole.

Conventions: events as in ``segments``; log-odds as in ``voicing``; times in seconds.

Method
------
Wide vibrato and slides smear the upper partials of both notes over each other, and for some
tenths of a second one note is heard, or three. Where the same pair is heard before and after,
without a new stroke, ``voicing`` is asked whether both its notes were there all the while. What
sounds on both sides is likelier to sound between (the argument of every hidden Markov model), so
less is asked of the sound than of a pair that is new; a note that really stopped is far below even
that.

An octave's upper note has no partial of its own to be asked: there the lower note tells, and the
level, which must not fall between. What then follows of an octave as its lower note alone, under
the same stroke and shorter than the octave was, is the octave still: it hides its upper note.
"""

import numpy as np

from studio.intonation.detection import voicing
from studio.intonation.detection.resampling import Sound
from studio.intonation.detection.segments import Event, has_note, is_octave, is_unison, same_notes

BETWEEN_S = 1.1  # the longest moment asked about
GAP_S = 0.3  # of it in which nothing was heard
GAP_OCTAVE_S = 0.5
ABOUT_S = 0.06
HELD_DB = 6.0  # the level between the pieces of an octave falls no further
BLOCK_S = 0.03
ADJOIN_S = 0.1
LEAST_ODDS = -4.0
MOST_BETWEEN = 4  # pieces


def resumed(sound: Sound, events: list[Event]) -> list[Event]:
    """Return events with the pieces of one held double stop made one event."""
    out: list[Event] = []
    n = 0
    while n < len(events):
        event = events[n]
        after = _resumes_at(sound, events, n) if _is_pair(event) else None
        while after is not None:
            _continue(event, events[after])
            n = after
            events[n] = event
            after = _resumes_at(sound, events, n)
        out.append(event)
        n += 1
    return out


def _is_pair(event: Event) -> bool:
    return len(event.f0_hz) == 2 and not is_unison(event.f0_hz)


def _resumes_at(sound: Sound, events: list[Event], n: int) -> int | None:
    """Return the index of the event in which the pair of event n goes on, or None."""
    pair = events[n]
    octave = is_octave(pair.f0_hz)
    for later in range(n + 1, min(n + 2 + MOST_BETWEEN, len(events))):
        event, before = events[later], events[later - 1]
        late = event.start_s - pair.end_s > BETWEEN_S
        if late or event.start_s - before.end_s > (GAP_OCTAVE_S if octave else GAP_S):
            return None
        if event.new_stroke and not (octave and _level_holds(sound, pair, event)):
            return None
        if _same_pair(pair, event, octave):
            asked = later > n + 1 or octave
            return later if asked and _sounds_between(sound, pair, event) else None
        if later == n + 1 and octave and _is_its_end(pair, event):
            return later
        if not any(has_note(event.f0_hz, f) for f in pair.f0_hz):
            return None
    return None


def _same_pair(pair: Event, event: Event, octave: bool) -> bool:
    """Say whether it is the same pair; an octave's upper note is not placed well yet."""
    if octave and _is_pair(event) and is_octave(event.f0_hz):
        return has_note(event.f0_hz[:1], pair.f0_hz[0])
    return same_notes(event.f0_hz, pair.f0_hz)


def _is_its_end(pair: Event, event: Event) -> bool:
    adjoins = event.start_s - pair.end_s < ADJOIN_S and event.length_s < pair.length_s
    return adjoins and len(event.f0_hz) == 1 and has_note(event.f0_hz, pair.f0_hz[0])


def _sounds_between(sound: Sound, before: Event, after: Event) -> bool:
    f0_hz = np.sqrt(before.f0_hz * after.f0_hz)
    signs = voicing.voice_signs(sound, before.end_s, after.start_s, f0_hz)
    odds = voicing.log_odds(signs)
    if is_octave(f0_hz):
        lower_there = np.isnan(odds[0]) or odds[0] > LEAST_ODDS  # too short a moment tells nothing
        return bool(lower_there) and _level_holds(sound, before, after)
    return bool(not np.isnan(odds).any() and odds.min() > LEAST_ODDS)


def _level_holds(sound: Sound, before: Event, after: Event) -> bool:
    """Say whether the quietest moment between is about as loud as what is around it."""
    spans = ((before.start_s, before.end_s), (after.start_s, after.end_s))
    around = min(np.median(_levels_db(sound, *span)) for span in spans)
    between = _levels_db(sound, before.end_s - ABOUT_S, after.start_s + ABOUT_S)
    return bool(len(between) and between.min() > around - HELD_DB)


def _levels_db(sound: Sound, start_s: float, end_s: float) -> np.ndarray:
    """Return the level of each block of ``BLOCK_S``, in dB."""
    block = int(BLOCK_S * sound.fs)
    x = sound.read(int(start_s * sound.fs), int((end_s - start_s) * sound.fs)).astype(float)
    blocks = x[: len(x) // block * block].reshape(-1, block)
    return np.asarray(10.0 * np.log10((blocks**2).mean(axis=1) + 1e-14))


def _continue(event: Event, after: Event) -> None:
    if after.length_s > event.length_s and len(after.f0_hz) == len(event.f0_hz):
        event.f0_hz, event.alternatives = after.f0_hz, after.alternatives
        event.snr_db, event.doubt = after.snr_db, after.doubt
    event.margin = min(event.margin, after.margin)
    event.end_s = after.end_s
    event.voice_end_s = after.voice_end_s * (len(event.f0_hz) // len(after.f0_hz))
