"""The sample clips sound as their truth says; the figures come from outside the maker."""

import json
from pathlib import Path

import numpy as np
import pytest

from sample_media import make
from sample_media.bowing import SR, bowed, perform
from sample_media.drawing import strings_and_stops
from sample_media.plans import JUST, Pitch, Plan, Step, perform_plan, scale, truth
from studio.media import hear_file, probe

SHORT = make.COMMITTED / "short-octaves.mp4"

# Just sizes in cents: Ellis, in Helmholtz, On the Sensations of Tone, 2nd ed. 1885, App. XX.
ELLIS_CENTS = {
    "P1": 0.0,
    "m3": 315.641,
    "M3": 386.314,
    "P4": 498.045,
    "P5": 701.955,
    "m6": 813.686,
    "M6": 884.359,
    "P8": 1200.0,
    "m10": 1515.641,
    "M10": 1586.314,
}


@pytest.fixture(scope="module")
def short() -> tuple[np.ndarray, dict]:
    y, sr, _, _ = hear_file(SHORT)
    assert sr == SR
    return y, make.read_truth(SHORT)


def spectrum(y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    n = 1 << 20
    return np.fft.rfftfreq(n, 1 / SR), np.abs(np.fft.rfft(y * np.hanning(len(y)), n))


def interior(y: np.ndarray, event: dict) -> np.ndarray:
    return y[round((event["start_s"] + 0.25) * SR) : round((event["end_s"] - 0.05) * SR)]


def median_pitch_hz(y: np.ndarray, near_hz: float) -> float:
    """Median over eight partials of the strongest line within 40 cents, as a fundamental."""
    f, size = spectrum(y)
    found = []
    for k in range(1, 9):
        band = np.abs(1200 * np.log2(np.maximum(f, 1) / (k * near_hz))) < 40
        found.append(f[band][size[band].argmax()] / k)
    return float(np.median(found))


def cents(one_hz: float, other_hz: float) -> float:
    return 1200 * float(np.log2(one_hz / other_hz))


def test_just_sizes_are_the_published_ones() -> None:
    for name, ratio in JUST.values():
        assert 1200 * np.log2(float(ratio)) == pytest.approx(ELLIS_CENTS[name], abs=5e-4)


@pytest.mark.parametrize("f0_hz", [196.0, 233.1, 277.2, 349.2, 440.0, 523.3, 784.0, 1174.7])
def test_bowed_note_has_the_pitch_asked_for(f0_hz: float) -> None:
    y = bowed(f0_hz, 2.0, np.random.default_rng(1))
    assert cents(median_pitch_hz(y, f0_hz), f0_hz) == pytest.approx(0.0, abs=1.5)


def test_committed_truth_is_what_the_plan_gives() -> None:
    plan = make.PLANS["short-octaves"]
    assert truth(plan, perform_plan(plan), SHORT.name) == make.read_truth(SHORT)


def test_committed_clip_is_small_and_plays_as_long_as_its_truth() -> None:
    info = probe(SHORT)
    assert SHORT.stat().st_size < 400_000
    assert (info.video_codec, info.audio_codec) == ("h264", "aac")
    assert info.duration_s == pytest.approx(make.read_truth(SHORT)["duration_s"], abs=0.1)


def test_single_notes_sound_at_their_pitch(short: tuple[np.ndarray, dict]) -> None:
    y, told = short
    singles = [event for event in told["events"] if event["kind"] == "single"]
    assert len(singles) == 4
    for event in singles:
        heard_hz = median_pitch_hz(interior(y, event), event["f0_hz"][0])
        assert cents(heard_hz, event["f0_hz"][0]) == pytest.approx(0.0, abs=2.0)


def test_wide_octave_shows_pairs_of_lines_as_far_apart_as_its_cents_say(
    short: tuple[np.ndarray, dict],
) -> None:
    """Partial 2k of the low note and k of the high one lie k·(f_high − 2·f_low) apart, and beat."""
    y, told = short
    wide = [event for event in told["events"] if abs(event.get("deviation_cents", 0)) > 20]
    assert len(wide) == 2
    for event in wide:
        low_hz, high_hz = event["f0_hz"]
        f, size = spectrum(interior(y, event))

        def line_hz(near_hz: float, f: np.ndarray = f, size: np.ndarray = size) -> float:
            band = np.abs(f - near_hz) < 3.5
            return float(f[band][size[band].argmax()])

        apart = [(line_hz(k * high_hz) - line_hz(2 * k * low_hz)) / k for k in range(1, 7)]
        assert np.median(apart) == pytest.approx(high_hz - 2 * low_hz, abs=0.5)


def test_events_begin_where_the_truth_says(short: tuple[np.ndarray, dict]) -> None:
    y, told = short
    first = told["events"][0]
    level = np.sqrt(np.convolve(np.square(y), np.ones(441) / 441, "same"))
    full = np.median(level[round((first["start_s"] + 0.2) * SR) : round(first["end_s"] * SR)])
    heard_s = np.flatnonzero(level > full / 4)[0] / SR
    assert heard_s == pytest.approx(first["start_s"], abs=0.05)


@pytest.mark.parametrize("name", sorted(make.PLANS))
def test_every_run_is_clearly_in_tune_or_clearly_not(name: str) -> None:
    plan = make.PLANS[name]
    told = truth(plan, perform_plan(plan), "clip")
    assert (told["runs"] == []) is (name == "single-notes")
    for run in told["runs"]:
        tolerance = told["tolerance_cents"][run["interval"]]
        assert tolerance == (15 if run["interval"][0] == "P" else 18)
        assert run["mark_expected"] is (abs(run["last_cents"]) > tolerance + 5)
        assert run["mark_expected"] or abs(run["last_cents"]) <= 8
    for event in told["events"]:
        assert 0 < event["start_s"] < event["end_s"] < told["duration_s"]
    ends = [event["end_s"] for event in told["events"]]
    assert all(a < e["start_s"] for a, e in zip(ends, told["events"][1:], strict=False))


def test_octave_clip_climbs_an_octave_and_a_half() -> None:
    plan = make.PLANS["octaves-in-b-flat"]
    lows = [step.low for step in plan.steps]
    assert lows == ["Bb3", "C4", "D4", "Eb4", "F4", "G4", "A4", "Bb4", "C5", "D5", "Eb5", "F5"]
    assert all(Pitch.parse(s.high).midi - Pitch.parse(s.low).midi == 12 for s in plan.steps)


def test_spelling_follows_the_key() -> None:
    assert [str(p) for p in scale("E major", 4, 4)] == ["E4", "F#4", "G#4", "A4"]
    assert [str(p) for p in scale("C minor", 4, 4)] == ["C4", "D4", "Eb4", "F4"]


def test_double_stops_lie_on_neighbouring_strings() -> None:
    assert strings_and_stops([58, 70]) == [(0, 3), (1, 8)]
    assert strings_and_stops([57, 64]) == [(0, 2), (1, 2)]
    assert strings_and_stops([62]) == [(1, 0)]


def test_turned_clip_stands_upright_and_sound_alone_has_no_picture(tmp_path: Path) -> None:
    steps = (Step("Eb4", "G4", (1.0,), single_s=0.5, together_s=0.8),)
    turned = make.build_plan(Plan("t", "turned", ".mov", steps, 1, turned_deg=90), tmp_path)
    info = probe(turned)
    assert (info.rotation_deg, info.width, info.height) == (90, 640, 360)
    alone = make.build_plan(Plan("s", "sound", ".m4a", steps, 1, picture=False), tmp_path)
    assert not probe(alone).has_video
    webm = make.build_plan(Plan("w", "webm", ".webm", steps, 1), tmp_path)
    assert "webm" in probe(webm).container


def test_same_seed_gives_the_same_take(tmp_path: Path) -> None:
    settings = {"interval": "sixths", "key": "G major", "degrees": 2, "suffix": ".m4a"}
    takes = [
        make.build_variation(seed, tmp_path / folder, **settings)
        for seed, folder in ((3, "a"), (3, "b"), (4, "c"))
    ]
    told = [make.truth_path(take).read_text(encoding="utf-8") for take in takes]
    assert told[0] == told[1]
    assert json.loads(told[0])["events"] != json.loads(told[2])["events"]


@pytest.mark.parametrize(("skill", "faults"), [(0.0, 4), (0.5, 2), (1.0, 0)])
def test_skill_decides_how_many_degrees_end_out_of_tune(
    tmp_path: Path, skill: float, faults: int
) -> None:
    take = make.build_variation(5, tmp_path, skill=skill, level="advanced", suffix=".m4a")
    runs = make.read_truth(take)["runs"]
    assert sum(run["mark_expected"] for run in runs) == faults


def test_a_clip_already_built_is_left_alone() -> None:
    before = SHORT.stat().st_mtime_ns
    assert make.build("short-octaves") == SHORT
    assert SHORT.stat().st_mtime_ns == before


def test_bad_wishes_are_named(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="no clip is called 'x'; choose from octaves"):
        make.build("x", tmp_path)
    with pytest.raises(ValueError, match="skill is 2"):
        make.build_variation(1, tmp_path, skill=2)
    with pytest.raises(ValueError, match="no agreed just size"):
        perform_plan(Plan("x", "x", ".wav", (Step("C4", "F#4", (0.0,)),), 1))
    with pytest.raises(ValueError, match=r"ends \+19 cents off, which is unclear"):
        perform_plan(Plan("x", "x", ".wav", (Step("C4", "C5", (19.0,)),), 1))
    with pytest.raises(ValueError, match="gives at most"):
        bowed(440.0, 60.0, np.random.default_rng(1))


def test_noise_lies_as_far_below_as_asked() -> None:
    plan = Plan("x", "x", ".wav", (Step("A4", single_s=2.0),), 1)
    made = perform_plan(plan)
    loud, quiet = (perform(made.strokes, 5.0, snr_db, 1) for snr_db in (20.0, 40.0))
    before = slice(0, round(0.8 * SR))
    drop_db = 20 * np.log10(np.std(loud[before]) / np.std(quiet[before]))
    assert drop_db == pytest.approx(20.0, abs=0.5)
