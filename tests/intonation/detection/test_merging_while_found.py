"""A held double stop that was heard in pieces is one event; where a voice rested it is not."""

from dataclasses import replace

import numpy as np
import pytest

from studio.intonation.detection.merging import resumed
from studio.intonation.detection.resampling import Sound
from studio.intonation.detection.segments import Event
from tests.intonation.synth import SR, Note, in_room, mix

PAIR = np.array([293.7, 493.9])


def sound_of(notes: list[Note]) -> Sound:
    rng = np.random.default_rng(8)
    return Sound(in_room(rng, mix(rng, notes), 0.4), SR)


def pieces(between: np.ndarray) -> list[Event]:
    """A pair, half a second of something else, the pair again."""
    spans = [(0.2, 1.2, PAIR), (1.2, 1.7, between), (1.7, 2.8, PAIR)]
    return [
        Event(a, b, f, margin=1.0, voice_start_s=[a] * len(f), voice_end_s=[b] * len(f))
        for a, b, f in spans
    ]


@pytest.mark.parametrize("vibrato_cents", [0.0, 25.0])
@pytest.mark.parametrize("between", [PAIR[:1], np.append(PAIR, 990.0)], ids=["one", "three"])
def test_a_held_pair_is_one_event(vibrato_cents, between):
    both = [Note(0.2, 2.8, f, vibrato_cents=vibrato_cents) for f in PAIR]
    (whole,) = resumed(sound_of(both), pieces(between))
    assert (whole.start_s, whole.end_s) == (0.2, 2.8)
    assert whole.voice_end_s == [2.8, 2.8]


def test_a_voice_that_rested_parts_two_pairs():
    low, high = (Note(0.2, 2.8, f) for f in PAIR)
    notes = [low, replace(high, end_s=1.2), replace(high, start_s=1.7)]
    assert len(resumed(sound_of(notes), pieces(PAIR[:1]))) == 3


def test_a_new_stroke_parts_two_pairs():
    events = pieces(PAIR[:1])
    events[2].new_stroke = True
    both = [Note(0.2, 2.8, f) for f in PAIR]
    assert len(resumed(sound_of(both), events)) == 3
