"""What must not change a measurement, for double stops of any size and pitch."""

import functools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from studio.intonation.estimation import measure_sounding
from studio.intonation.model.sounding import EventFit, Sounding, SoundingVoice
from tests.intonation.estimation import tones

SR = 44100
SIZES = st.sampled_from([315.6, 498.0, 702.0, 884.4, 1193.0, 1215.0, 1586.3])
LOW_HZ = st.sampled_from([146.8, 233.1, 392.0, 587.3])
EXAMPLES = settings(max_examples=8, derandomize=True)


@functools.cache
def event(size_cents: float, low_hz: float) -> tones.Mix:
    return tones.pair(17, size_cents, low_hz=low_hz, sr=SR)


def measured(
    y: np.ndarray, sr: int, mix: tones.Mix, shift_s: float = 0.0, speed: float = 1.0
) -> EventFit:
    """The fit of ``mix`` when ``y`` holds it ``shift_s`` later and ``speed`` times as fast."""
    start, end = mix.start_s / speed + shift_s, mix.end_s / speed + shift_s
    voices = tuple(SoundingVoice(v.f0_hz * speed, start, end) for v in mix.voices)
    return measure_sounding(y, sr, Sounding(start, end, voices, 1.0))


@functools.cache
def plain(size_cents: float, low_hz: float) -> EventFit:
    mix = event(size_cents, low_hz)
    return measured(mix.y, SR, mix)


def assert_same(fit: EventFit, reference: EventFit, rise_cents: float = 0.0) -> None:
    for new, old in zip(fit.voices, reference.voices, strict=True):
        tones.assert_cents(1200 * np.log2(new.f0_hz / old.f0_hz), rise_cents, within=0.3)
    tones.assert_cents(fit.intervals[0].size_cents, reference.intervals[0].size_cents, within=0.3)


@EXAMPLES
@given(SIZES, LOW_HZ, st.floats(-60.0, 0.0), st.booleans())
def test_gain_and_polarity_do_not_change_cents(size_cents, low_hz, gain_db, upside_down):
    mix = event(size_cents, low_hz)
    gain = 10 ** (gain_db / 20) * (-1 if upside_down else 1)
    assert_same(measured(gain * mix.y, SR, mix), plain(size_cents, low_hz))


@EXAMPLES
@given(SIZES, LOW_HZ, st.integers(1, 60_000))
def test_a_shift_in_time_does_not_change_cents(size_cents, low_hz, samples):
    mix = event(size_cents, low_hz)
    y = np.concatenate([np.zeros(samples), mix.y])
    assert_same(measured(y, SR, mix, shift_s=samples / SR), plain(size_cents, low_hz))


@EXAMPLES
@given(SIZES, LOW_HZ, st.sampled_from([16000, 22050, 32000, 48000]))
def test_the_sampling_rate_does_not_change_cents(size_cents, low_hz, sr):
    mix = event(size_cents, low_hz)
    y = signal.resample_poly(mix.y, sr // 50, SR // 50)
    assert_same(measured(y, sr, mix), plain(size_cents, low_hz))


@EXAMPLES
@given(SIZES, LOW_HZ, st.integers(41_000, 48_000))
def test_resampling_transposes_pitches_exactly_and_intervals_not_at_all(size_cents, low_hz, sr):
    mix = event(size_cents, low_hz)
    fit = measured(mix.y, sr, mix, speed=sr / SR)
    assert_same(fit, plain(size_cents, low_hz), rise_cents=1200 * np.log2(sr / SR))
