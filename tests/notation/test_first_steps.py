"""Exercises for beginners; the notes and fingers expected are common practice, no source."""

import re

import pytest

from studio.notation import Request, Score, generate
from studio.notation.engraving import engrave
from studio.notation.musicxml import read_musicxml, to_musicxml
from studio.notation.request import FIRST_STEPS
from studio.theory import ALL_KEYS


def made(pattern: str, **asked: object) -> Score:
    return generate(Request(pattern=pattern, **{"manner": "together", **asked}))


@pytest.mark.parametrize(
    ("pattern", "asked", "notes", "fingers"),
    [
        ("drone_above", {"strings": (3, 2)}, "E4+A4 F#4+A4 G4+A4 A4+A4", "10 20 30 40"),
        ("drone_below", {"strings": (3, 2)}, "D4+B4 D4+C5 D4+D5 D4+E5", "01 02 03 04"),
        ("fourth_finger_check", {}, "D4+D4 A4+A4 E5+E5", "40 40 40"),
        ("third_finger_check", {}, "G3+G4 D4+D5 A4+A5", "03 03 03"),
        ("first_octaves", {"strings": (4, 3)}, "G3+G4 A3+A4 G3+G4", "03 14 03"),
    ],
)
def test_an_exercise_goes_by_steps_against_an_open_string(pattern, asked, notes, fingers):
    score = made(pattern, key="G major", direction="up", **asked)
    assert " ".join("+".join(map(str, item.pitches)) for item in score.written) == notes
    assert " ".join("".join(map(str, item.fingers)) for item in score.written) == fingers
    assert {item.position for item in score.written} == {1}


@pytest.mark.parametrize("instrument", ["violin", "viola"])
@pytest.mark.parametrize("key", [str(key) for key in ALL_KEYS])
def test_every_key_has_every_exercise(key, instrument):
    for pattern in FIRST_STEPS:
        assert made(pattern, key=key, instrument=instrument).written


@pytest.mark.parametrize("pattern", FIRST_STEPS)
def test_it_is_set_out_large_and_stays_so(pattern):
    score = made(pattern, key="D major")
    assert score.large
    assert read_musicxml(to_musicxml(score).encode()).score == score
    assert Score.from_dict(score.to_dict()) == score
    large, usual = (
        float(re.search(r'viewBox="0 0 (\d+)', engrave(each)[0])[1])
        for each in (score, generate(Request()))
    )
    assert large < 0.75 * usual
