"""Mending one playing that was heard in pieces.

Conventions: times in seconds of the clip; pitches in Hz.

A held double stop is now and then heard as itself, then for a moment as something unlikely (a
strong partial taken for a note), then as itself again, without a gap. A note that really came
between would be heard clearly and lie within reach of the hand; where it does not, the pieces
are one playing. So are a playing and a short fragment of the same notes that touches it: nobody
plays a double stop again for a third of a second without lifting the sound. And so is the first
moment of a playing, while the bow grips and its pitch is not steady, heard as an unlikely chord.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from studio.intonation.model.runs import is_unlikely
from studio.intonation.model.sounding import EventFit, Sounding, SoundingVoice
from studio.theory import Pitch, in_cents, midi_of_frequency

SAME_CENTS = 35.0
GAP_S = 0.06
FRAGMENT_S = 0.4
GRIP_S = 0.25
RESTING_S, RESTING_GAP_S = 0.4, 0.12
# A new playing has a breath before it, or the fingers moved. (Longest gap in s, furthest move of
# a voice in cents): in less time, or with less movement, it is the bow that changed.
SAME_PLACING = ((0.05, 12.0), (0.12, 4.0), (0.2, 0.8))
LONGEST_S = 0.7  # of the moment between
CLEARLY_HEARD = 0.7  # confidence


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
