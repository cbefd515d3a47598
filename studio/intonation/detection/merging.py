"""One playing heard in pieces, put together again.

Conventions: times in seconds of the clip; pitches in Hz; events as in ``segments``; log-odds as in
``voicing``.

While the notes are still being found (:func:`resumed`)
-------------------------------------------------------
Wide vibrato and slides smear the upper partials of both notes over each other, and for some
tenths of a second one note is heard, or three. Where the same pair is heard before and after,
without a new stroke, ``voicing`` is asked whether both its notes were there all the while. What
sounds on both sides is likelier to sound between (the argument of every hidden Markov model), so
less is asked of the sound than of a pair that is new; a note that really stopped is far below even
that.

An octave's upper note has no partial of its own to be asked: there the lower note tells, and the
level, which must not fall between. What then follows of an octave as its lower note alone, under
the same stroke and shorter than the octave was, is the octave still: it hides its upper note.

Once all is found (:func:`mended`) and measured (:func:`rejoined`)
------------------------------------------------------------------
A held double stop is now and then heard as itself, then for a moment as something unlikely (a
strong partial taken for a note), then as itself again, without a gap. A note that really came
between would be heard clearly and lie within reach of the hand; where it does not, the pieces
are one playing. So are a playing and a short fragment of the same notes that touches it: nobody
plays a double stop again for a third of a second without lifting the sound. And so is the first
moment of a playing, while the bow grips and its pitch is not steady, heard as an unlikely chord.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from studio.intonation.detection import voicing
from studio.intonation.detection.octaves import is_octave
from studio.intonation.detection.resampling import Sound
from studio.intonation.detection.segments import Event, has_note, same_notes
from studio.intonation.detection.unisons import is_unison
from studio.intonation.model.runs import is_unlikely
from studio.intonation.model.sounding import EventFit, Sounding, SoundingVoice
from studio.theory import Pitch, in_cents, midi_of_frequency

# Chosen on made clips, recorded notes and real playing. Each trades pieces left apart for playings
# made one that were two.
BETWEEN_S = 1.1  # the longest moment asked about
BETWEEN_GAP_S = 0.3  # of it in which nothing was heard
BETWEEN_GAP_OCTAVE_S = 0.5  # the same of an octave, whose beats silence it longer
ABOUT_S = 0.06  # of level taken from each piece beside the moment between
HELD_DB = 6.0  # the level between the pieces of an octave falls no further
BLOCK_S = 0.03  # of which the level is taken: shorter than a new stroke's dip
ADJOIN_S = 0.1  # pieces no further apart touch
LEAST_ODDS = -4.0  # log-odds of a voice between: less than a new one needs, see ``voicing``
MOST_BETWEEN = 4  # pieces
SAME_CENTS = 35.0  # pitches of one note in two pieces: coarse ones err by 20
GAP_S = 0.06  # soundings no further apart touch: edges are right within 50 ms
FRAGMENT_S = 0.4  # shorter, and half the other or less, is a piece of it
GRIP_S = 0.25  # the longest moment in which a bow grips
# Of one voice that rests: how long, and how long before and after it nothing was heard.
RESTING_S, RESTING_GAP_S = 0.4, 0.12
# A new playing has a breath before it, or the fingers moved. (Longest gap in s, furthest move of
# a voice in cents): in less time, or with less movement, it is the bow that changed.
SAME_PLACING = ((0.05, 12.0), (0.12, 4.0), (0.2, 0.8))
LONGEST_S = 0.7  # of the moment between
CLEARLY_HEARD = 0.7  # confidence


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
        if late or event.start_s - before.end_s > (
            BETWEEN_GAP_OCTAVE_S if octave else BETWEEN_GAP_S
        ):
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


def mended(soundings: Sequence[Sounding], strings: tuple[Pitch, ...]) -> list[Sounding]:
    """Join a double stop with its own continuation over an unlikely moment between them."""
    found: list[Sounding] = []
    for sounding in soundings:
        found.append(sounding)
        if len(found) >= 2 and _is_fragment(found[-2], sounding):
            found[-2:] = [_joined(found[-2], sounding)]
        elif len(found) >= 2 and _is_grip(found[-2], sounding):
            found[-2:] = [_begun_at(found[-2].start_s, sounding)]
        while len(found) >= 3:
            before, between, after = found[-3:]
            if not (
                _is_one_playing(before, between, after, strings)
                or _is_one_voice_resting(before, between, after)
            ):
                break
            found[-3:] = [_joined(before, after)]
    return found


def rejoined(
    soundings: Sequence[Sounding],
    fits: Sequence[EventFit],
    measure: Callable[[Sounding], EventFit],
) -> tuple[list[Sounding], list[EventFit]]:
    """Join measured pieces of one double stop whose fingers did not move in between.

    ``measure`` is called for what was joined, over its whole length.
    """
    groups: list[list[int]] = []
    for number in range(len(soundings)):
        last = groups[-1][-1] if groups else None
        if last is not None and _is_same_placing(soundings, fits, last, number):
            groups[-1].append(number)
        else:
            groups.append([number])
    kept, measured = [], []
    for group in groups:
        whole = soundings[group[0]]
        if len(group) > 1:
            whole = _joined(whole, soundings[group[-1]])
        kept.append(whole)
        measured.append(measure(whole) if len(group) > 1 else fits[group[0]])
    return kept, measured


def _is_same_placing(
    soundings: Sequence[Sounding], fits: Sequence[EventFit], first: int, second: int
) -> bool:
    a, b = fits[first].voices, fits[second].voices
    if len(a) < 2 or len(a) != len(b):
        return False
    moved = max(abs(in_cents(y.f0_hz / x.f0_hz)) for x, y in zip(a, b, strict=True))
    gap = soundings[second].start_s - soundings[first].end_s
    return any(gap <= gap_s and moved <= cents for gap_s, cents in SAME_PLACING)


def _is_one_playing(
    before: Sounding, between: Sounding, after: Sounding, strings: tuple[Pitch, ...]
) -> bool:
    return (
        len(before.voices) > 1
        and _same(before, after)
        and between.start_s - before.end_s <= GAP_S
        and after.start_s - between.end_s <= GAP_S
        and between.end_s - between.start_s <= LONGEST_S
        and not _same(before, between)
        and _shares_a_note(before, between)
        and (between.confidence < CLEARLY_HEARD or _out_of_reach(between, strings))
    )


def _is_one_voice_resting(before: Sounding, between: Sounding, after: Sounding) -> bool:
    """Whether a double stop was heard as one of its own notes for a moment."""
    return (
        len(before.voices) > 1
        and len(between.voices) == 1
        and _same(before, after)
        and _shares_a_note(before, between)
        and between.end_s - between.start_s <= RESTING_S
        and between.start_s - before.end_s <= RESTING_GAP_S
        and after.start_s - between.end_s <= RESTING_GAP_S
    )


def _is_fragment(first: Sounding, second: Sounding) -> bool:
    """Whether one of two touching soundings of the same notes is only a piece of the other."""
    short, long = sorted((first.end_s - first.start_s, second.end_s - second.start_s))
    return (
        len(first.voices) > 1
        and short < FRAGMENT_S
        and long >= 2.0 * short
        and second.start_s - first.end_s <= GAP_S
        and _same(first, second)
    )


def _is_grip(first: Sounding, second: Sounding) -> bool:
    """Whether the first is the beginning of the second, heard while the bow gripped."""
    return (
        len(first.voices) > 1 < len(second.voices)
        and first.end_s - first.start_s < GRIP_S
        and second.end_s - second.start_s >= FRAGMENT_S
        and second.start_s - first.end_s <= GAP_S
        and first.confidence < CLEARLY_HEARD
        and _shares_a_note(first, second)
    )


def _begun_at(start_s: float, sounding: Sounding) -> Sounding:
    """The same sounding, begun earlier: voices that began with it do so as well."""
    voices = tuple(
        replace(
            voice, start_s=start_s if voice.start_s - sounding.start_s < GAP_S else voice.start_s
        )
        for voice in sounding.voices
    )
    return replace(sounding, start_s=start_s, voices=voices)


def _apart(a: SoundingVoice, b: SoundingVoice) -> float:
    return abs(in_cents(a.f0_hz / b.f0_hz))


def _same(a: Sounding, b: Sounding) -> bool:
    return len(a.voices) == len(b.voices) and all(
        _apart(x, y) <= SAME_CENTS for x, y in zip(a.voices, b.voices, strict=True)
    )


def _shares_a_note(a: Sounding, b: Sounding) -> bool:
    return any(_apart(x, y) <= SAME_CENTS for x in a.voices for y in b.voices)


def _out_of_reach(sounding: Sounding, strings: tuple[Pitch, ...]) -> bool:
    midi = [round(midi_of_frequency(voice.f0_hz)) for voice in sounding.voices]
    return len(midi) == 2 and is_unlikely(midi[0], midi[1], strings)


def _joined(first: Sounding, last: Sounding) -> Sounding:
    voices = tuple(
        replace(a, end_s=b.end_s) for a, b in zip(first.voices, last.voices, strict=True)
    )
    return replace(
        first,
        end_s=last.end_s,
        voices=voices,
        confidence=min(first.confidence, last.confidence),
        clipped=first.clipped or last.clipped,
        doubt=first.doubt or last.doubt,
    )
