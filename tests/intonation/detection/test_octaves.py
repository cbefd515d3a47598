"""A note read an octave too low is read again, where neighbours and sound agree."""

import numpy as np
import pytest

from studio.intonation.detection.octaves import reread
from studio.intonation.model.sounding import (
    EventFit,
    IntervalFit,
    Sounding,
    SoundingVoice,
    VoiceFit,
)
from studio.theory import Pitch


def heard(names, start_s):
    voices = tuple(
        SoundingVoice(Pitch.parse(name).frequency(), start_s, start_s + 0.9)
        for name in names.split()
    )
    return Sounding(start_s, start_s + 0.9, voices, 0.95)


def fitted(sounding, lock):
    nothing = np.zeros(0)
    voices = tuple(
        VoiceFit(v.f0_hz, 0.3, None, -20.0, None, None, None, nothing, nothing)
        for v in sounding.voices
    )
    intervals = (IntervalFit(0, 1, 0.0, 0.3, None, lock),) if len(voices) > 1 else ()
    return EventFit(voices, intervals)


def names_after(*names, lock, other_lock):
    soundings = [heard(n, float(i)) for i, n in enumerate(names)]
    fits = [fitted(s, lock) for s in soundings]
    kept, measured = reread(soundings, fits, lambda s: fitted(s, other_lock))
    for sounding, fit in zip(kept, measured, strict=True):
        assert [v.f0_hz for v in sounding.voices] == [v.f0_hz for v in fit.voices]
    hz = [[voice.f0_hz for voice in sounding.voices] for sounding in kept]
    return [" ".join(_name(f) for f in row) for row in hz], kept


def _name(f0_hz):
    candidates = [f"{step}{octave}" for octave in range(3, 7) for step in "CDEFGAB"]
    return min(candidates, key=lambda name: abs(np.log2(Pitch.parse(name).frequency() / f0_hz)))


def test_a_low_reading_gives_way_to_the_one_that_explains_more():
    names, kept = names_after("E4", "B4", "B3 E4", "E4 B4", lock=0.5, other_lock=0.6)
    assert names[2] == "E4 B4"
    assert kept[2].alternatives[0] == pytest.approx(
        [Pitch.parse("B3").frequency(), Pitch.parse("E4").frequency()]
    )


def test_it_stays_where_the_sound_does_not_agree():
    names, _ = names_after("E4", "B4", "B3 E4", "E4 B4", lock=0.6, other_lock=0.5)
    assert names[2] == "B3 E4"


@pytest.mark.parametrize(
    "played",
    [
        ("B3", "B4", "B3 E4", "E4 B4"),  # the low note was played by itself
        ("E4", "G4", "B3 E4", "G4"),  # its octave was not
        ("D4", "B4", "B3 E4", "B4"),  # the other note was not
    ],
)
def test_it_stays_where_the_neighbours_do_not_agree(played):
    names, _ = names_after(*played, lock=0.5, other_lock=0.9)
    assert names[2] == "B3 E4"


def test_an_octave_is_not_made_a_unison():
    names, _ = names_after("E5", "E5", "E4 E5", "E5", lock=0.5, other_lock=0.9)
    assert names[2] == "E4 E5"
