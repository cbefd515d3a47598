"""The command that hears one file: its table, its JSON, its exit codes."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from jsonschema import Draft202012Validator

from sample_media.make import PLANS, build
from studio.intonation import load_schema
from tests.analysed import SR, run, tone

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    """One note, then a sixth whose upper note is 24 cents above equal: 39.6 cents wide."""
    quiet = np.zeros(int(0.3 * SR))
    sixth = tone("Eb4", 1.3) + tone("C5", 1.3, 24.0)
    y = np.concatenate([quiet, tone("Eb4", 0.9), quiet, sixth, quiet])
    y += 0.001 * np.random.default_rng(1).standard_normal(len(y))
    path = tmp_path_factory.mktemp("analyse") / "sixth.wav"
    soundfile.write(path, 0.2 * y, SR)
    return path


def test_the_table_says_what_was_heard_and_what_to_change(capsys, recording):
    code, out, err = run(capsys, recording)
    assert (code, err) == (0, "")
    assert "E♭4 C5" in out
    assert "major sixth" in out
    assert "What to change" in out
    assert "40 ± 1 cents wide" in out


def test_json_is_one_valid_document_alone_on_standard_output(capsys, recording):
    code, out, err = run(capsys, recording, "--json", "--a4", "440")
    assert (code, err) == (0, "")
    document = json.loads(out, parse_constant=pytest.fail)
    Draft202012Validator(load_schema()).validate(document)
    assert document["reference"] == {"a4_hz": 440.0, "uncertainty_cents": 0.0, "source": "given"}
    [mark] = document["judgement"]["marks"]
    # 924 - 884.359 (5:3, Ellis, in Helmholtz 1885, App. XX) = 39.6 cents.
    assert mark["params"]["deviation_cents"] == pytest.approx(39.641, abs=0.5)


def test_options_reach_the_judgement(capsys, recording):
    given = ["--tuning", "equal", "--tolerance", "30", "--key", "C minor", "--instrument", "viola"]
    code, out, _ = run(capsys, recording, "--json", "--string-length", "365", *given)
    assert code == 0
    document = json.loads(out)
    assert document["options"]["instrument"] == "viola"
    assert document["options"]["string_length_mm"] == 365.0
    policy = document["judgement"]["policy"]
    assert (policy["tuning"], policy["key"]) == ("equal", "C minor")
    assert set(policy["tolerance_cents"].values()) == {30.0}
    assert document["judgement"]["marks"] == []


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--a4", "900"], "A4 of 900.0 Hz is outside 380 to 480 Hz; try 440."),
        (["--tolerance", "0"], "tolerance 0.0 cents"),
        (["--key", "H major"], "'H major' is not a key"),
        (["--string-length", "33"], "string length 33.0 mm is outside 150 to 450 mm"),
        (["--tuning", "meantone"], "invalid choice"),
        (["--instrument", "cello"], "invalid choice"),
        (["--loud"], "unrecognized arguments"),
        (["--drill", "x.musicxml"], "there is no file x.musicxml"),
        (["--drill", __file__], "cannot be read as a drill"),
    ],
)
def test_wrong_use_exits_with_2_and_says_why(capsys, recording, arguments, message):
    code, out, err = run(capsys, recording, *arguments)
    assert (code, out) == (2, "")
    assert message in err


def test_a_missing_file_and_no_file_are_wrong_use(capsys, tmp_path):
    code, out, err = run(capsys, tmp_path / "nothing.wav")
    assert (code, out) == (2, "")
    assert "there is no file" in err
    assert run(capsys)[0] == 2


@pytest.mark.parametrize("content", [b"", b"this is no recording\n" * 50])
def test_what_cannot_be_heard_exits_with_3_and_a_sentence(capsys, tmp_path, content):
    path = tmp_path / "clip.mp4"
    path.write_bytes(content)
    code, out, err = run(capsys, path)
    assert (code, out) == (3, "")
    assert err.startswith("analyse: ")
    assert err.strip().endswith(".")
    assert "Traceback" not in err


def test_silence_is_heard_and_holds_nothing(capsys, tmp_path):
    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros(SR), SR)
    code, out, _ = run(capsys, path, "--json")
    assert code == 0
    document = json.loads(out)
    Draft202012Validator(load_schema()).validate(document)
    assert document["events"] == []
    assert "No notes were heard." in run(capsys, path)[1]


@pytest.mark.sweep(1 / 2)
@pytest.mark.parametrize("name", PLANS)
def test_sample_clips_are_marked_as_their_truth_says_and_nowhere_else(capsys, name):
    clip = build(name)
    truth = json.loads((clip.parent / f"{name}.truth.json").read_text("utf-8"))
    code, out, _ = run(capsys, clip, "--json")
    assert code == 0
    document = json.loads(out)
    Draft202012Validator(load_schema()).validate(document)
    planted = [r for r in truth["runs"] if r["mark_expected"]]
    marks = document["judgement"]["marks"]
    assert [mark["code"] for mark in marks] == [r["code"] for r in planted]
    for mark, planned in zip(marks, planted, strict=True):
        last = next(e for e in truth["events"] if e["id"] == planned["events"][-1])
        assert mark["start_s"] == pytest.approx(last["start_s"], abs=0.1)
        assert mark["end_s"] == pytest.approx(last["end_s"], abs=0.1)
        assert mark["params"]["deviation_cents"] == pytest.approx(planned["last_cents"], abs=5.0)


def test_help_is_for_newcomers(capsys):
    code, out, _ = run(capsys, "--help")
    assert code == 0
    for word in ("examples:", "exit codes:", "--a4", "--tolerance", "--json", "cents"):
        assert word in out


def test_it_runs_as_a_program_without_django_settings(recording):
    program = (
        "import sys\n"
        "from studio.__main__ import main\n"
        "code = main(['analyse', sys.argv[1], '--json'])\n"
        "assert 'django' not in sys.modules, 'django was imported'\n"
        "sys.exit(code)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(recording)],
        cwd=ROOT,
        env={"PATH": "/usr/bin:/bin:/usr/local/bin"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["schema"] == 1


@pytest.fixture(scope="module")
def after_a_fork(tmp_path_factory, recording):
    """A fork at 443 Hz for two seconds, then the recording."""
    y, _ = soundfile.read(recording)
    t = np.arange(2 * SR) / SR
    path = tmp_path_factory.mktemp("analyse") / "fork.wav"
    soundfile.write(path, np.concatenate([0.2 * np.sin(2 * np.pi * 443.0 * t), y]), SR)
    return path


def test_a_reference_tone_sets_a4(capsys, after_a_fork):
    code, out, _ = run(capsys, after_a_fork, "--reference-tone", "0.2-1.8")
    assert code == 0
    assert "A4 = 443.0 Hz ± 0.3 cents, from the reference tone" in out


@pytest.mark.parametrize(
    ("span", "sentence"),
    [
        ("two", "'two' is not a span; give start and end in seconds, such as 0.5-2.5"),
        ("1-1.1", "a reference tone from 1 to 1.1 s is not a span of at least 0.3 s"),
        ("8-99", "ends at 99 s; the clip is 5.1 s long: choose a span within it"),
    ],
)
def test_a_wrong_reference_tone_is_wrong_use(capsys, after_a_fork, span, sentence):
    code, out, err = run(capsys, after_a_fork, "--reference-tone", span)
    assert (code, out) == (2, "")
    assert sentence in err
