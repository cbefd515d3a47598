"""The patterns that a teacher writes, by hand-worked examples, and a random part of all of them.

What each is called and how it is played is common practice, no source.
"""

import random

import pytest

from studio.notation import Infeasible, Request, Score, generate, is_feasible
from studio.theory import ALL_KEYS
from tests.notation.patterns_read import every_pattern, faults_of_drill, overlaid

DRILLS = 14


def drill(pattern: str, **asked: object) -> Score:
    usual = {"key": "C major", "direction": "up", "manner": "together"}
    return generate(Request(pattern=pattern, **{**usual, **asked}))


def pitches(score: Score) -> list[str]:
    return [
        " | ".join("+".join(p.pretty for p in item.pitches) for item in bar) for bar in score.bars
    ]


def fingers(score: Score) -> list[str]:
    return ["".join(map(str, item.fingers)) for item in score.written]


def test_drills_of_every_kind_are_in_key_playable_signed_and_read_back_the_same():
    seed = random.SystemRandom().randrange(10**6)
    chance = random.Random(seed)
    asked = chance.sample(list(every_pattern()), DRILLS)
    for request in overlaid(asked, chance):
        playable = request if is_feasible(request) else nearest(request)
        assert faults_of_drill(playable, generate(playable)) == [], (seed, playable)


def nearest(request: Request) -> Request:
    with pytest.raises(Infeasible) as refused:
        generate(request)
    assert refused.value.nearest is not None, request
    return refused.value.nearest


@pytest.mark.parametrize(
    ("resolution", "first"),
    [
        ("tritone_third", "B3+F4 | C4+E4"),
        ("tritone_sixth", "F4+B4 | E4+C5"),
        ("sixth_octave", "D4+B4 | C4+C5"),
        ("suspension", "D4+C5 | D4+B4 | C4+C5"),
        ("cadence_thirds", "C4+E4 | C4+F4 | B3+F4 | C4+E4"),
        ("cadence_sixths", "E4+C5 | F4+C5 | F4+B4 | E4+C5"),
    ],
)
def test_a_resolution_is_led_as_harmony_books_have_it(resolution, first):
    """The leading note rises, the fourth degree falls (common practice, no source)."""
    assert first in pitches(drill("resolutions", resolution=resolution))


def test_in_minor_a_resolution_has_the_leading_note():
    assert "B3+F4 | C4+E♭4" in pitches(drill("resolutions", key="C minor"))


def test_mixed_intervals_stand_on_each_step_in_turn():
    score = drill("mixed", mixed=("thirds", "sixths"), key="D major", interval="sixths")
    assert pitches(score)[:2] == ["D4+F♯4 | D4+B4", "E4+G4 | E4+C♯5"]
    assert len(score.bars) == 8


@pytest.mark.parametrize(
    ("interval", "chord", "first"),
    [
        ("thirds", "tonic", ["C4+E4", "E4+G4", "G4+C5", "C5+E5"]),
        ("sixths", "tonic", ["C4+G4", "E4+C5", "G4+E5", "C5+G5"]),
        ("octaves", "tonic", ["C4+C5", "E4+E5", "G4+G5", "C5+C6"]),
        ("thirds", "dominant_seventh", ["G4+B4", "B4+D5", "D5+F5", "F5+G5", "G5+B5"]),
    ],
)
def test_an_arpeggio_goes_through_its_chord(interval, chord, first):
    assert pitches(drill("arpeggio", interval=interval, chord=chord)) == first


def test_a_chromatic_scale_is_raised_going_up_and_lowered_coming_down():
    score = drill("chromatic", interval="octaves", key="D major", direction="up_and_down")
    lower = [item.pitches[0].pretty[:-1] for item in score.written]
    assert lower[:13] == ["D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B", "C", "C♯", "D"]
    assert lower[13:] == ["C♯", "C", "B", "B♭", "A", "A♭", "G", "F♯", "F", "E", "E♭", "D"]


@pytest.mark.parametrize("key", [str(key) for key in ALL_KEYS])
def test_a_chromatic_scale_has_no_double_signs(key):
    for interval in ("thirds", "sixths", "octaves"):
        score = drill("chromatic", interval=interval, key=key)
        signs = [pitch.alter for item in score.written for pitch in item.pitches]
        assert max(map(abs, signs[2:-2])) == 1


def test_a_shift_is_led_by_a_guide_note_and_comes_home():
    score = drill("shifting", interval="octaves", key="G major", strings=(4, 3))
    assert pitches(score)[:3] == ["A3+A4", "B3 | B3+B4", "A3 | A3+A4"]
    guides = [item for item in score.written if item.guide]
    assert all(item.fingers == (1,) and item.manner == "separate" for item in guides)
    assert {tuple(f) for f in fingers(score) if len(f) == 2} == {("1", "4")}
    assert [item.position for item in guides] == [2, 1, 3, 1, 4, 1, 5, 1, 6, 1, 7, 1, 8, 1]
    assert [item.shift for item in score.written[1:3]] == [True, False]


def test_fingered_octaves_take_two_steps_in_each_position():
    score = drill("fingered_octaves", key="C major")
    assert fingers(score) == ["13", "24"] * 4
    assert [item.position for item in score.written][:4] == [3, 3, 5, 5]


def test_a_scale_on_one_string_shifts_to_the_first_finger():
    score = drill("one_string", key="G major", string=3)
    assert fingers(score) == list("12121234")
    assert [item.position for item in score.written] == [3, 3, 5, 5, 7, 7, 7, 7]
    assert {item.strings for item in score.written} == {(3,)}
    assert {item.manner for item in score.written} == {"alone"}


def test_ringing_octaves_are_stopped_by_third_second_and_first_finger():
    score = drill("ringing_octaves", instrument="viola")
    assert pitches(score) == ["C3+C4", "G3+G4", "D4+D5"] * 3
    assert fingers(score) == ["03"] * 3 + ["02"] * 3 + ["01"] * 3
    assert [item.position for item in score.written] == [1] * 3 + [2] * 3 + [3] * 3


@pytest.mark.parametrize("instrument", ["violin", "viola"])
@pytest.mark.parametrize("parts", [3, 4])
@pytest.mark.parametrize("key", [str(key) for key in ALL_KEYS])
def test_chords_begin_at_the_tonic_and_the_crossing_is_written(key, parts, instrument):
    for pattern in ("chords", "inversions"):
        asked = Request(pattern=pattern, key=key, parts=parts, instrument=instrument)
        if parts == 4 and not is_feasible(asked):
            continue
        score = generate(asked)
        assert score.written[0].pitches[0].pitch_class_name == score.spelled_key.tonic
        for lower, upper in score.bars:
            assert lower.slurred
            assert not upper.slurred
            assert upper.strings[0] == lower.strings[1] - (parts == 4)
            assert upper.tied == (parts == 3, False)
            if parts == 3:
                assert (lower.pitches[1], lower.fingers[1]) == (upper.pitches[0], upper.fingers[0])


def test_a_chord_has_all_its_inversions():
    score = drill("inversions", key="G major")
    lowest = [lower.pitches[0].pretty for lower, _ in score.bars]
    assert lowest == ["G3", "B3", "D4", "G4"]
    for lower, upper in score.bars:
        names = {pitch.pitch_class_name for pitch in (*lower.pitches, *upper.pitches)}
        assert names == {"G", "B", "D"}


def test_what_a_pattern_cannot_be_leads_to_what_it_can():
    for asked in ({"interval": "fifths"}, {"octaves": 3, "interval": "tenths"}):
        with pytest.raises(Infeasible) as refused:
            drill("arpeggio", key="Db major", **asked)
        assert refused.value.nearest.pattern == "arpeggio"
        assert generate(refused.value.nearest).written
