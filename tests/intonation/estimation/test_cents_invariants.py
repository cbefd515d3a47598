"""What must not change a measurement, and what must change it exactly."""

import numpy as np
import pytest
from scipy import signal

from studio.intonation.estimation import measure_sounding
from studio.intonation.model.sounding import Sounding, SoundingVoice
from tests.intonation.estimation import tones


@pytest.fixture(scope="module", params=[702.0, 1187.0], ids=["fifth", "octave-13c"])
def event(request) -> tones.Mix:
    return tones.pair(31, request.param, sr=44100)


def measured(y: np.ndarray, sr: int, event: tones.Mix, shift_s: float = 0.0, ratio: float = 1.0):
    start, end = event.start_s + shift_s, event.end_s + shift_s
    voices = tuple(SoundingVoice(v.f0_hz * ratio, start, end) for v in event.voices)
    return measure_sounding(y, sr, Sounding(start, end, voices, 1.0))


def test_gain_and_polarity_change_nothing(event):
    plain = measured(event.y, event.sr, event).intervals[0].size_cents
    for gain in (-1.0, 0.01):
        tones.assert_cents(
            measured(gain * event.y, event.sr, event).intervals[0].size_cents, plain, within=0.02
        )


def test_a_shift_in_time_changes_nothing(event):
    plain = measured(event.y, event.sr, event).intervals[0].size_cents
    y = np.concatenate([np.zeros(int(0.7371 * event.sr)), event.y])
    shifted = measured(y, event.sr, event, shift_s=0.7371).intervals[0].size_cents
    tones.assert_cents(shifted, plain, within=0.05)


@pytest.mark.parametrize("sr", [16000, 22050, 48000])
def test_the_sampling_rate_changes_nothing(event, sr):
    plain = measured(event.y, event.sr, event).intervals[0].size_cents
    y = signal.resample_poly(event.y, sr // 50, event.sr // 50)
    tones.assert_cents(measured(y, sr, event).intervals[0].size_cents, plain, within=0.3)


def test_transposing_by_resampling_moves_pitches_exactly_and_intervals_not_at_all(event):
    plain = measured(event.y, event.sr, event)
    moved = measured(event.y, 46200, Slow(event, 44100 / 46200), ratio=46200 / 44100)
    rise = 1200 * np.log2(46200 / 44100)
    size = moved.intervals[0].size_cents
    tones.assert_cents(size, plain.intervals[0].size_cents, within=0.3)
    for a, b in zip(plain.voices, moved.voices, strict=True):
        tones.assert_cents(1200 * np.log2(b.f0_hz / a.f0_hz), rise, within=0.3)


class Slow:
    """The same event when its samples are read at another rate."""

    def __init__(self, event: tones.Mix, stretch: float) -> None:
        self.start_s, self.end_s = event.start_s * stretch, event.end_s * stretch
        self.voices = event.voices


def test_silence_is_not_separable(event):
    interval = measured(np.zeros(len(event.y)), event.sr, event).intervals[0]
    assert interval.uncertainty_cents is None
    assert interval.unsure_reason == "not_separable"


def test_a_note_too_short_to_measure_says_so(event):
    voices = tuple(SoundingVoice(v.f0_hz, 0.3, 0.4) for v in event.voices)
    fit = measure_sounding(event.y, event.sr, Sounding(0.3, 0.4, voices, 1.0))
    assert fit.intervals[0].unsure_reason == "too_short"


def test_a_sounding_without_voices_is_refused():
    with pytest.raises(ValueError, match="at least one voice"):
        measure_sounding(np.zeros(22050), 22050, Sounding(0.0, 1.0, (), 1.0))


def test_a_sampling_rate_too_low_is_refused():
    voice = SoundingVoice(440.0, 0.0, 1.0)
    with pytest.raises(ValueError, match="8000"):
        measure_sounding(np.zeros(4000), 4000, Sounding(0.0, 1.0, (voice,), 1.0))


def test_samples_that_are_not_numbers_are_refused(event):
    y = event.y.copy()
    y[len(y) // 2] = np.nan
    with pytest.raises(ValueError, match="not finite"):
        measured(y, event.sr, event)


def test_a_pitch_too_high_for_the_sampling_rate_is_not_separable():
    voices = tuple(SoundingVoice(f, 0.0, 1.0) for f in (3900.0, 4200.0))
    rng = np.random.default_rng(0)
    fit = measure_sounding(rng.standard_normal(8000), 8000, Sounding(0.0, 1.0, voices, 1.0))
    assert fit.intervals[0].unsure_reason == "not_separable"


def test_clipping_moves_an_interval_by_less_than_a_cent(event):
    plain = measured(event.y, event.sr, event).intervals[0].size_cents
    level = np.percentile(np.abs(event.y), 90)
    clipped = np.clip(event.y, -level, level)
    size = measured(clipped, event.sr, event).intervals[0].size_cents
    tones.assert_cents(size, plain, within=1.0)
