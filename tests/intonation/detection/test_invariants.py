"""What must not change what is heard, whatever the sound; what is no sound gives nothing."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.intonation.detection import find_soundings
from studio.intonation.model.sounding import Sounding
from tests.intonation import synth
from tests.intonation.detection import scenes
from tests.intonation.detection.scenes import Conditions
from tests.intonation.synth import SR

FEW = settings(max_examples=6, derandomize=True)


def a_clip() -> np.ndarray:
    rng = np.random.default_rng(5600)
    y = scenes.pairs(rng, Conditions()).y[: 4 * SR]
    return 0.5 * y / np.max(np.abs(y))


CLIP = a_clip()
HEARD = find_soundings(CLIP, SR)


def assert_same(found: list[Sounding], later_s: float = 0.0) -> None:
    assert [len(s.voices) for s in found] == [len(s.voices) for s in HEARD]
    for a, b in zip(found, HEARD, strict=True):
        assert abs(a.start_s - later_s - b.start_s) < 0.03
        for v, w in zip(a.voices, b.voices, strict=True):
            assert abs(synth.cents(v.f0_hz / w.f0_hz)) < 3.0  # coarse: 20 cents are allowed


def test_the_clip_holds_double_stops() -> None:
    assert sum(len(s.voices) == 2 for s in HEARD) >= 2


@FEW
@given(st.floats(-40.0, 5.0), st.sampled_from([1.0, -1.0]))
def test_gain_and_polarity_change_nothing(gain_db: float, sign: float) -> None:
    assert_same(find_soundings(sign * CLIP * 10.0 ** (gain_db / 20.0), SR))


@FEW
@given(st.floats(-0.3, 0.3))
def test_a_constant_offset_changes_nothing(offset: float) -> None:
    assert_same(find_soundings(CLIP + offset, SR))


@FEW
@given(st.floats(0.0, 2.0))
def test_silence_before_only_moves_the_times(seconds: float) -> None:
    lead = round(seconds * SR)
    assert_same(find_soundings(np.concatenate([np.zeros(lead), CLIP]), SR), lead / SR)


@FEW
@given(st.integers(0, 3 * SR), st.floats(-1.0, 1.0))
def test_a_constant_of_any_length_holds_nothing(length: int, value: float) -> None:
    assert find_soundings(np.full(length, value), SR) == []


@FEW
@given(st.integers(1, 12000), st.floats(0.001, 1.0), st.integers(0, 2**32 - 1))
def test_a_quarter_second_of_anything_gives_finite_spans_in_order(
    length: int, gain: float, seed: int
) -> None:
    y = gain * np.random.default_rng(seed).uniform(-1.0, 1.0, length)
    for s in find_soundings(y, SR):
        assert 0.0 <= s.start_s < s.end_s <= length / SR
        assert all(np.isfinite(v.f0_hz) and v.f0_hz > 0.0 for v in s.voices)
