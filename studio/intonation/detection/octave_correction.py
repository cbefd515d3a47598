"""Reading a double stop again where its neighbours say that one note is an octave too low.

A note and the one an octave below share every second partial: B4 beside E4 can pass for B3, whose
odd partials are then missing. Practice repeats itself: the two notes are played separately, then
together. Where a voice was not played by itself just before or after, but its upper octave was,
both readings are measured, and the one that explains more of the sound is kept.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from studio.intonation.model.sounding import EventFit, Sounding
from studio.theory import in_cents

BEFORE, AFTER = 2, 1  # soundings looked at
SAME_CENTS = 60.0


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
