"""Intervals of steady double stops, at known sizes, in a room at 30 dB."""

import numpy as np
import pytest

from studio.intonation.estimation import measure_sounding, measure_soundings
from tests.intonation.estimation import tones

# Just sizes in cents (Ellis, in Helmholtz, On the Sensations of Tone, 1885, App. XX).
JUST = {
    "second": 203.910,
    "minor_third": 315.641,
    "major_third": 386.314,
    "fourth": 498.045,
    "tritone": 590.224,
    "fifth": 701.955,
    "minor_sixth": 813.686,
    "major_sixth": 884.359,
    "seventh": 1017.596,
    "octave": 1200.0,
    "tenth": 1586.314,
    "twelfth": 1901.955,
}


def measured(event: tones.Mix, seed: int):
    return measure_sounding(
        event.y, event.sr, tones.coarse(np.random.default_rng(seed), event)
    ).intervals[0]


@pytest.mark.parametrize("off", [-20, 0, 9], ids=lambda c: f"{c:+d}c")
@pytest.mark.parametrize("name", JUST)
def test_a_steady_interval_is_right_within_half_a_cent(name, off):
    event = tones.pair(50 + off, JUST[name] + off)
    # nothing but the beat tells a pure octave or twelfth from one a cent off
    within = 1.5 if name in ("octave", "twelfth") and off == 0 else 0.5
    tones.assert_cents(measured(event, 3).size_cents, tones.true_size(event), within=within)


def test_the_median_error_of_steady_intervals_is_a_tenth_of_a_cent():
    errors = []
    for seed in range(24):
        size = list(JUST.values())[seed % len(JUST)] + 3 * (seed % 7 - 3)
        event = tones.pair(100 + seed, size, low_hz=180 * 1.05 ** (seed % 20))
        errors.append(measured(event, seed).size_cents - tones.true_size(event))
    tones.assert_cents(float(np.median(np.abs(errors))), 0.0, within=0.15)


@pytest.mark.parametrize("balance", [-12.0, 12.0], ids=lambda b: f"{b:+.0f}dB")
def test_a_weak_voice_is_measured(balance):
    rng = np.random.default_rng(5)
    voices = [tones.bowed_tone(rng, f, 1.2) for f in (293.3, 293.3 * 5 / 3)]
    event = tones.mix(rng, voices, balance_db=(0.0, balance))
    tones.assert_cents(measured(event, 1).size_cents, tones.true_size(event), within=0.5)


def test_a_wide_interval_on_the_lowest_viola_string_is_measured():
    event = tones.pair(4, JUST["fifth"] - 7, low_hz=130.8)
    tones.assert_cents(measured(event, 1).size_cents, tones.true_size(event), within=0.5)


@pytest.mark.parametrize("seed", range(3))
def test_a_chord_of_three_notes_is_measured_pair_by_pair(seed):
    rng = np.random.default_rng(seed)
    f0 = [196.0, 196.0 * 1.503, 196.0 * 2.497]
    event = tones.mix(rng, [tones.bowed_tone(rng, f, 1.2) for f in f0])
    fit = measure_sounding(event.y, event.sr, tones.coarse(rng, event))
    assert [(i.low, i.high) for i in fit.intervals] == [(0, 1), (0, 2), (1, 2)]
    for i in fit.intervals:
        tones.assert_cents(i.size_cents, tones.true_size(event, i.low, i.high), within=0.7)


def test_a_long_note_costs_little_more_than_a_short_one_and_is_as_right():
    event = tones.pair(8, 702.0, duration_s=9.0)
    tones.assert_cents(measured(event, 1).size_cents, tones.true_size(event), within=0.4)


def test_soundings_of_a_clip_come_back_in_order():
    event = tones.pair(9, 386.3)
    sounding = tones.coarse(np.random.default_rng(1), event)
    fits = measure_soundings(event.y, event.sr, [sounding, sounding])
    assert fits[0].intervals == fits[1].intervals
