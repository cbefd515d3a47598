"""Double stops, single notes and controls: what is heard is what was played."""

from itertools import pairwise

import numpy as np
import pytest

from studio.intonation.detection import find_soundings
from tests.intonation import synth
from tests.intonation.detection import measure, scenes
from tests.intonation.detection.measure import Tally, pooled
from tests.intonation.detection.scenes import Conditions
from tests.intonation.synth import SR, Note

QUIET = Conditions(t60_s=0.4, snr_db=30.0)
REAL = Conditions(t60_s=0.4, snr_db=25.0, real=True)


def tally_of(scene, where: Conditions, seed: int, clips: int, *args: object) -> dict[str, Tally]:
    made = (scene(np.random.default_rng([seed, n]), where, *args) for n in range(clips))
    return pooled(measure.measure(made))


@pytest.mark.parametrize("where", [QUIET, REAL], ids=["made", "real notes"])
def test_double_stops_are_heard_as_the_two_notes_played(where: Conditions) -> None:
    t = tally_of(scenes.pairs, where, 4100, 5)["other sizes"]
    assert t.truths >= 20
    assert t.right / t.truths >= 0.95
    assert np.percentile(t.voice_cents, 95) < 15.0


def test_octaves_more_than_four_cents_off_are_heard() -> None:
    t = tally_of(scenes.octaves, QUIET, 4200, 5)["octave beyond 4 c"]
    assert t.truths >= 15
    assert t.right / t.truths >= 0.8


def test_single_notes_stay_single() -> None:
    t = tally_of(scenes.line, REAL, 4300, 5)["single"]
    assert t.truths == 40
    assert t.false_pairs <= 2  # holds what is reached; the aim is 1 in 100
    assert t.right / t.truths >= 0.9


def test_repeats_of_a_double_stop_are_separate_soundings() -> None:
    t = tally_of(scenes.repeats, QUIET, 4400, 4)["repeat"]
    assert t.right / t.truths >= 0.9
    assert measure.within(t.onset_s) >= 0.9
    assert measure.within(t.offset_s) >= 0.8


def test_a_held_double_stop_that_slides_or_shakes_is_not_cut() -> None:
    t = tally_of(scenes.held, QUIET, 4500, 4)["held"]
    assert t.truths == 8
    assert t.split <= 2


def test_a_note_that_joins_makes_a_double_stop_after_the_single_one() -> None:
    found = tally_of(scenes.joining, QUIET, 4600, 4)
    assert found["single"].right / found["single"].truths >= 0.9
    assert found["other sizes"].right / found["other sizes"].truths >= 0.9
    assert measure.within(found["other sizes"].onset_s) >= 0.8


def test_talk_struck_strings_and_noise_hold_hardly_a_double_stop() -> None:
    heard = measure.measure_controls(4900, 3)  # 24 s of each
    assert sum(heard.values()) <= 1


def test_a_metronome_and_silence_hold_no_notes() -> None:
    rng = np.random.default_rng(4700)
    clicks = scenes.as_recorded(rng, synth.metronome(rng, 4.0), QUIET)
    assert not [s for s in find_soundings(clicks, SR) if len(s.voices) > 1]
    assert find_soundings(np.zeros(2 * SR), SR) == []


def a_sixth(sr: float = SR, seed: int = 5) -> np.ndarray:
    rng = np.random.default_rng(seed)
    notes = [Note(0.3, 1.5, 220.0), Note(0.3, 1.5, 220.0 * 5.0 / 3.0)]
    return 0.5 * synth.mix(rng, notes, sr=sr) / 0.3


@pytest.mark.parametrize("sr", [16000, 22050, 44056, 48000, 96000])
def test_pitch_does_not_depend_on_the_sample_rate(sr: int) -> None:
    (stop,) = find_soundings(a_sixth(sr), sr)
    for voice, f0 in zip(stop.voices, (220.0, 220.0 * 5.0 / 3.0), strict=True):
        assert abs(synth.cents(voice.f0_hz / f0)) < 8.0
    assert stop.start_s == pytest.approx(0.3, abs=0.05)
    assert stop.end_s == pytest.approx(1.5, abs=0.06)


def test_gain_polarity_and_dc_change_nothing() -> None:
    y = a_sixth()
    plain = find_soundings(y, SR)
    for other in (0.05 * y, -y, y + 0.2):
        (stop,) = find_soundings(other, SR)
        for a, b in zip(stop.voices, plain[0].voices, strict=True):
            assert abs(synth.cents(a.f0_hz / b.f0_hz)) < 1.0


def test_clipping_is_said_and_survived() -> None:
    y = np.clip(2.0 * a_sixth(), -1.0, 1.0)
    (stop,) = find_soundings(y, SR)
    assert stop.clipped
    assert len(stop.voices) == 2


def test_soundings_are_in_order_and_do_not_overlap() -> None:
    scene = scenes.scale(np.random.default_rng(4800), QUIET)
    found = find_soundings(scene.y, SR)
    assert len(found) >= 8
    for a, b in pairwise(found):
        assert a.start_s < a.end_s <= b.start_s
    for s in found:
        assert 0.0 <= s.confidence <= 1.0
        assert [v.f0_hz for v in s.voices] == sorted(v.f0_hz for v in s.voices)


@pytest.mark.parametrize("length", [0, 1, 100, 4095])
def test_a_clip_too_short_for_a_note_holds_none(length: int) -> None:
    assert find_soundings(np.full(length, 0.1), SR) == []


@pytest.mark.parametrize(
    ("y", "sr", "says"),
    [
        (np.array([0.0, np.nan, 0.0]), SR, r"y\[1\] is nan"),
        (np.array([0.0, np.inf]), SR, r"y\[1\] is inf"),
        (np.zeros((2, 9)), SR, r"shape \(2, 9\)"),
        (np.zeros(9, np.int16), SR, "int16"),
        (np.zeros(9), 4000, "sr is 4000"),
    ],
)
def test_sound_that_cannot_be_heard_is_refused_by_name(y: np.ndarray, sr: int, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        find_soundings(y, sr)


def test_an_empty_pitch_range_is_refused() -> None:
    with pytest.raises(ValueError, match="floor_hz is 500"):
        find_soundings(np.zeros(9), SR, floor_hz=500.0, top_hz=300.0)
