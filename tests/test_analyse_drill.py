"""The command with a drill in hand: bar and note, what was missed, the fingering."""

import json

import numpy as np
import pytest
import soundfile
from jsonschema import Draft202012Validator

from studio.intonation import load_schema
from studio.notation import Request, generate
from studio.notation.musicxml import to_musicxml
from tests.analysed import SR, run, tone


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    """E flat alone, then with C, 24 cents above equal: a sixth 39.6 cents wide."""
    quiet = np.zeros(int(0.3 * SR))
    sixth = tone("Eb4", 1.3) + tone("C5", 1.3, 24.0)
    y = np.concatenate([quiet, tone("Eb4", 0.9), quiet, sixth, quiet])
    y += 0.001 * np.random.default_rng(1).standard_normal(len(y))
    path = tmp_path_factory.mktemp("analyse") / "sixth.wav"
    soundfile.write(path, 0.2 * y, SR)
    return path


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """Sixths in E flat, one octave: its first bar is the recording's."""
    score = generate(Request(interval="sixths", key="Eb major", direction="up", start=1))
    path = tmp_path_factory.mktemp("drill") / "sixths.musicxml"
    path.write_text(to_musicxml(score), encoding="utf-8")
    first = next(item for item in score.written if len(item.pitches) == 2)
    assert [str(pitch) for pitch in first.pitches] == ["Eb4", "C5"]
    return path, first


def test_with_a_drill_the_table_says_bar_and_note_and_what_was_not_played(capsys, recording, page):
    path, first = page
    code, out, err = run(capsys, recording, "--drill", path)
    assert (code, err) == (0, "")
    [row] = [line for line in out.splitlines() if "major sixth" in line and "0:0" in line]
    assert row.startswith(f"{first.bar} {first.id} ")
    assert "Note by note" in out
    assert "Not played: 21 of 24 notes" in out


def test_with_a_drill_json_holds_the_following_and_the_fingering(capsys, recording, page):
    path, first = page
    code, out, _ = run(capsys, recording, "--json", "--drill", path)
    assert code == 0
    document = json.loads(out, parse_constant=pytest.fail)
    Draft202012Validator(load_schema()).validate(document)
    judgement = document["judgement"]
    assert judgement["policy"]["key"] == "Eb major"
    [row] = judgement["intervals"]
    assert row["score_ref"] == first.id
    [note] = [note for note in judgement["following"]["notes"] if note["ref"] == first.id]
    assert (note["state"], note["bar"], len(note["playings"])) == ("played", first.bar, 1)
    assert note["last_cents"] == pytest.approx(39.6, abs=0.5)
    voices = document["events"][-1]["voices"]
    assert [voice["finger"] for voice in voices] == list(first.fingers)
    assert [voice["string"] for voice in voices] == list(first.strings)


def test_without_a_drill_nothing_is_said_of_one(capsys, recording):
    _, out, _ = run(capsys, recording, "--json")
    assert "following" not in json.loads(out)["judgement"]
    _, out, _ = run(capsys, recording)
    assert "drill" not in out
    assert "bar note" not in out
