"""Vibrato, landing, drift, dropouts: pitch that moves within a note."""

import numpy as np
import pytest

from studio.intonation.estimation import measure_sounding
from tests.intonation.estimation import tones


def fit_of(event: tones.Mix, seed: int = 1):
    return measure_sounding(event.y, event.sr, tones.coarse(np.random.default_rng(seed), event))


@pytest.mark.parametrize("seed", range(4))
def test_vibrato_is_reported_and_the_interval_is_that_of_the_means(seed):
    event = tones.pair(
        seed, 884.4, duration_s=1.6, vibrato_cents=15.0, vibrato_phase=0.5, wander_cents=0.5
    )
    fit = fit_of(event)
    vibrato = fit.voices[0].vibrato
    assert vibrato is not None
    assert abs(vibrato.rate_hz - 5.5) < 0.6
    tones.assert_cents(vibrato.extent_cents, 15.0, within=6.0)
    tones.assert_cents(fit.intervals[0].size_cents, tones.true_size(event), within=3.0)


def test_a_steady_note_has_no_vibrato():
    fit = fit_of(tones.pair(5, 702.0))
    assert [voice.vibrato for voice in fit.voices] == [None, None]


def test_a_note_that_is_adjusted_is_settled_after_the_slide_and_landed_before_it():
    rng = np.random.default_rng(2)
    low = tones.bowed_tone(rng, 246.9, 2.4, wander_cents=0.5)
    high = tones.bowed_tone(rng, 246.9 * 5 / 3, 2.4, wander_cents=0.5, slide_cents=-35.0)
    event = tones.mix(rng, [low, high])
    interval = fit_of(event).intervals[0]
    tones.assert_cents(interval.size_cents, tones.true_size(event, settle_s=0.8), within=1.0)
    assert interval.landing_size_cents is not None
    tones.assert_cents(interval.landing_size_cents, 884.4 - 34.0, within=4.0)


@pytest.mark.parametrize("slide", [-40.0, 30.0], ids=lambda c: f"{c:+.0f}c")
def test_an_octave_that_is_adjusted_is_settled_after_the_slide(slide):
    rng = np.random.default_rng(4)
    low = tones.bowed_tone(rng, 233.1, 2.4, wander_cents=0.5)
    high = tones.bowed_tone(
        rng, 2 * 233.1 * 2 ** (12 / 1200), 2.4, wander_cents=0.5, slide_cents=slide, slide_s=0.6
    )
    event = tones.mix(rng, [low, high])
    interval = fit_of(event).intervals[0]
    tones.assert_cents(interval.size_cents, tones.true_size(event, settle_s=0.85), within=1.0)
    assert interval.landing_size_cents is not None
    tones.assert_cents(interval.landing_size_cents, 1212.0 + slide, within=6.0)


def test_the_landing_of_a_steady_note_is_its_settled_pitch():
    event = tones.pair(6, 702.0, duration_s=2.5, wander_cents=0.3)
    interval = fit_of(event).intervals[0]
    assert interval.landing_size_cents is not None
    tones.assert_cents(interval.landing_size_cents, interval.size_cents, within=2.0)


def test_a_voice_that_falls_silent_is_noticed():
    rng = np.random.default_rng(7)
    voices = [tones.bowed_tone(rng, f, 2.0) for f in (220.0, 330.6)]
    n = len(voices[1].y)
    voices[1].y[int(0.55 * n) : int(0.7 * n)] = 0.0
    event = tones.mix(rng, voices, rt60_s=0.3)
    fit = fit_of(event)
    assert fit.voices[0].dropouts == ()
    assert len(fit.voices[1].dropouts) == 1
    start, end = fit.voices[1].dropouts[0]
    assert event.start_s + 1.1 - 0.1 < start < end < event.start_s + 1.4 + 0.1


def test_the_track_follows_the_pitch():
    event = tones.pair(8, 702.0, duration_s=2.0)
    voice = fit_of(event).voices[0]
    assert voice.track_s.shape == voice.track_hz.shape
    assert 0.015 < np.median(np.diff(voice.track_s)) < 0.03
    tones.assert_cents(1200 * np.log2(np.median(voice.track_hz) / 233.1), 0.0, within=3.0)


def test_where_a_long_note_ended_is_told_beside_its_mean():
    rng = np.random.default_rng(8)
    event = tones.pair(8, 884.4, duration_s=3.0)
    bent = tones.bowed_tone(rng, event.voices[1].f0_hz, 3.0, wander_cents=0.5)
    rate = 14.0 * np.clip((np.arange(len(bent.y)) / event.sr - 2.0) / 0.4, 0.0, 1.0)
    at = np.cumsum(2.0 ** (rate / 1200.0))
    bent.y = np.interp(at, np.arange(len(bent.y)), bent.y, right=0.0)
    bent.cents = bent.cents + rate
    event = tones.mix(rng, [event.voices[0], bent])
    fit = measure_sounding(event.y, event.sr, tones.coarse(rng, event)).intervals[0]
    tones.assert_cents(fit.size_cents, tones.true_size(event), within=1.5)
    assert fit.end_size_cents is not None
    span = event.end_s - 0.35, event.end_s - 0.05
    low, high = (tones.true_cents(event, voice, *span) for voice in (0, 1))
    tones.assert_cents(fit.end_size_cents, 884.4 + high - low, within=3.0)


def test_a_note_that_stood_still_ended_where_it_was():
    event = tones.pair(9, 884.4, duration_s=3.0)
    rng = np.random.default_rng(9)
    fit = measure_sounding(event.y, event.sr, tones.coarse(rng, event)).intervals[0]
    assert fit.end_size_cents is None or abs(fit.end_size_cents - fit.size_cents) < 1.5
    assert fit.moved_cents < 1.5
