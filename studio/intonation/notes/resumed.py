"""One long double stop heard in pieces: asked as a whole.

Conventions: events as in ``events``; log-odds as in ``voicing``; times in seconds.

Method
------
Wide vibrato and slides smear the upper partials of both notes over each other, and for some
tenths of a second one note is heard, or three. Where the same pair is heard before and after,
without a new stroke, ``voicing`` is asked whether both its notes were there all the while. What
sounds on both sides is likelier to sound between (the argument of every hidden Markov model), so
less is asked of the sound than of a pair that is new; a note that really stopped is far below even
that.
"""

import numpy as np

from studio.intonation.notes import voicing
from studio.intonation.notes.audio import Sound
from studio.intonation.notes.events import Event, has_note, is_unison, same_notes

BETWEEN_S = 1.1  # the longest moment asked about
GAP_S = 0.3  # of it in which nothing was heard
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
    for later in range(n + 1, min(n + 2 + MOST_BETWEEN, len(events))):
        event, before = events[later], events[later - 1]
        late = event.start_s - pair.end_s > BETWEEN_S
        if late or event.new_stroke or event.start_s - before.end_s > GAP_S:
            return None
        if same_notes(event.f0_hz, pair.f0_hz):
            asked = later > n + 1 and _sounds_between(sound, pair, event)
            return later if asked else None
        if not any(has_note(event.f0_hz, f) for f in pair.f0_hz):
            return None
    return None


def _sounds_between(sound: Sound, before: Event, after: Event) -> bool:
    f0_hz = np.sqrt(before.f0_hz * after.f0_hz)
    signs = voicing.voice_signs(sound, before.end_s, after.start_s, f0_hz)
    odds = voicing.log_odds(signs)
    return bool(not np.isnan(odds).any() and odds.min() > LEAST_ODDS)


def _continue(event: Event, after: Event) -> None:
    if after.length_s > event.length_s:
        event.f0_hz, event.alternatives = after.f0_hz, after.alternatives
        event.snr_db, event.doubt = after.snr_db, after.doubt
    event.margin = min(event.margin, after.margin)
    event.end_s, event.voice_end_s = after.end_s, after.voice_end_s
