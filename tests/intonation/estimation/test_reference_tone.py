"""A4 from a reference tone that sounds alone in a span of the clip."""

import math

import numpy as np
import pytest

from studio.intonation import Options, analyse, listen
from studio.intonation.estimation.reference_pitch import from_tone
from studio.intonation.model.measurement import Measurement
from studio.theory import Pitch

SR = 22050


def tone(f0_hz, length_s=2.0, partials=10):
    t = np.arange(int(length_s * SR)) / SR
    y = sum(np.sin(2 * np.pi * k * f0_hz * t + k * k) / k for k in range(1, partials + 1))
    return 0.2 * y * np.minimum(1.0, np.minimum(t, t[::-1]) / 0.03)


def clip(f0_hz, partials=10, noise=0.002):
    """A silence, a tone from 0.5 to 2.5 s, a silence, and two notes a major sixth apart."""
    quiet = np.zeros(SR // 2)
    sixth = tone(Pitch.parse("Eb4").frequency(440.0)) + tone(Pitch.parse("C5").frequency(440.0))
    y = np.concatenate([quiet, tone(f0_hz, partials=partials), quiet, sixth, quiet])
    return y + noise * np.random.default_rng(2).standard_normal(len(y))


def off_cents(a4_hz, expected_hz):
    return abs(1200.0 * math.log2(a4_hz / expected_hz))


@pytest.mark.parametrize("partials", [1, 2, 10], ids=["sine", "fork", "string"])
@pytest.mark.parametrize("f0_hz", [415.3, 437.2, 442.0, 466.1, 221.0, 884.0])
def test_a4_is_that_of_the_tone_whatever_its_octave(f0_hz, partials):
    found = from_tone(clip(f0_hz, partials), SR, (0.6, 2.4), "A4")
    a4_hz = f0_hz * {221.0: 2.0, 884.0: 0.5}.get(f0_hz, 1.0)
    assert found.source == "tone"
    assert off_cents(found.a4_hz, a4_hz) < 0.3
    assert 0.3 <= found.uncertainty_cents < 1.5


def test_a_tone_of_another_pitch_is_named_by_the_options():
    d_hz = Pitch.parse("D4").frequency(443.0)
    found = from_tone(clip(d_hz), SR, (0.6, 2.4), "D4")
    assert off_cents(found.a4_hz, 443.0) < 0.3


@pytest.mark.parametrize(
    "y",
    [
        np.zeros(3 * SR),
        0.1 * np.random.default_rng(3).standard_normal(3 * SR),
        tone(Pitch.parse("D#4").frequency(440.0), 3.0),
    ],
    ids=["silence", "noise", "a tone of another pitch"],
)
def test_where_no_such_tone_sounds_nothing_is_claimed(y):
    assert from_tone(y, SR, (0.5, 2.5), "A4").source == "assumed"


def test_the_clip_is_heard_against_the_tone_and_keeps_it_when_stored():
    y = clip(446.0)
    told = listen(y, SR, Options(reference_tone_s=(0.6, 2.4)))
    assert (told.reference.source, round(told.reference.a4_hz, 1)) == ("tone", 446.0)
    untold = listen(y, SR, Options())
    assert untold.reference.source == "notes"
    assert Measurement.from_dict(told.to_dict()) == told
    sizes = [[i.size_cents for e in m.events for i in e.intervals] for m in (told, untold)]
    assert sizes[0] == sizes[1]


def test_a_span_beyond_the_clip_is_refused():
    with pytest.raises(ValueError, match=r"ends at 9 s; the clip is 5.5 s long"):
        analyse(clip(440.0), SR, Options(reference_tone_s=(7.0, 9.0)))


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"reference_tone_s": (1.0, 1.2)}, "not a span of at least 0.3 s; try 0.5 to 2.5"),
        ({"reference_tone_s": (-1.0, 1.2)}, "from -1 to 1.2 s is not a span"),
        ({"reference_tone_s": (2.0, float("nan"))}, "not a span"),
        ({"reference_tone_s": (1.0, 2.0), "a4_hz": 440.0}, "cannot both be given; leave out one"),
        ({"reference_tone_pitch": "H4"}, "'H4' is not a pitch name"),
    ],
)
def test_wrong_spans_are_refused(fields, message):
    with pytest.raises(ValueError, match=message):
        Options(**fields)
