"""The JSON documents: they follow the published schema, hold no NaN, and load back."""

import copy
import json
import math
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator, ValidationError

from studio.intonation import (
    Analysis,
    ExpectedNote,
    Measurement,
    Policy,
    judge,
    load_schema,
)
from studio.intonation.model.measurement import Track, kind_of
from tests.intonation.heard import Clip

STORED = Path(__file__).with_name("stored")
CLIPS = Path(__file__).parents[2] / "sample_media" / "clips"

# A document as other programs know it; the numbers are an octave 18 cents wide.
KNOWN = {
    "schema": 1,
    "engine": "1.0.0",
    "source": {"duration_s": 12.34, "sample_rate_hz": 44100},
    "options": {
        "instrument": "violin",
        "string_length_mm": 328,
        "open_strings": ["G3", "D4", "A4", "E5"],
        "a4_hz": None,
    },
    "reference": {"a4_hz": 441.3, "uncertainty_cents": 0.8, "source": "open_strings"},
    "open_strings": [
        {
            "pitch": "D4",
            "f0_hz": 294.0,
            "deviation_cents": -1.2,
            "uncertainty_cents": 0.6,
            "heard_s": 1.9,
        }
    ],
    "events": [
        {
            "id": 0,
            "kind": "double_stop",
            "start_s": 1.02,
            "end_s": 3.10,
            "confidence": 0.99,
            "alternatives": [],
            "quality": {"snr_db": 24.0, "clipped": False},
            "voices": [
                {
                    "midi": 58,
                    "pitch": "Bb3",
                    "f0_hz": 233.8,
                    "uncertainty_cents": 0.4,
                    "landing_f0_hz": 232.6,
                    "start_s": 1.02,
                    "end_s": 3.10,
                    "level_db": -18.2,
                    "vibrato": None,
                    "string": None,
                    "finger": None,
                },
                {
                    "midi": 70,
                    "pitch": "Bb4",
                    "f0_hz": 472.5,
                    "uncertainty_cents": 0.5,
                    "landing_f0_hz": 476.0,
                    "start_s": 1.10,
                    "end_s": 3.10,
                    "level_db": -21.0,
                    "vibrato": {"rate_hz": 5.4, "extent_cents": 14.0},
                    "string": None,
                    "finger": None,
                },
            ],
            "intervals": [
                {
                    "low": 0,
                    "high": 1,
                    "size_cents": 1218.0,
                    "uncertainty_cents": 0.6,
                    "landing_size_cents": 1239.7,
                    "beat_hz": 4.9,
                }
            ],
        }
    ],
}


@pytest.fixture(scope="module")
def validator():
    Draft202012Validator.check_schema(load_schema())
    return Draft202012Validator(load_schema())


@pytest.fixture
def document():
    measurement = Measurement.from_dict(KNOWN)
    return Analysis(measurement, judge(measurement, Policy())).to_dict()


def test_a_known_document_loads_is_judged_and_follows_the_schema(validator, document):
    validator.validate(document)
    [mark] = document["judgement"]["marks"]
    assert (mark["code"], mark["severity"], mark["basis"]) == ("interval_wide", 1, "settled")
    assert mark["params"]["deviation_cents"] == 18.0
    [run] = document["judgement"]["runs"]
    assert (run["first_cents"], run["last_cents"], run["trend"]) == (39.7, 18.0, "better")


def test_every_known_field_is_kept(document):
    def missing(known, found, path=""):
        if isinstance(known, dict):
            for key, value in known.items():
                if key not in found:
                    yield f"{path}.{key}"
                else:
                    yield from missing(value, found[key], f"{path}.{key}")
        elif isinstance(known, list):
            for number, (a, b) in enumerate(zip(known, found, strict=True)):
                yield from missing(a, b, f"{path}[{number}]")
        elif known != found:
            yield f"{path}: {known} became {found}"

    assert list(missing(KNOWN, document)) == []


def test_a_measurement_loads_back_as_it_was():
    measurement = Measurement.from_dict(KNOWN)
    assert Measurement.from_dict(json.loads(json.dumps(measurement.to_dict()))) == measurement


def test_an_older_measurement_loads_with_defaults_and_without_what_is_unknown():
    older = {
        "engine": "0.3.0",
        "events": [
            {
                "id": 0,
                "kind": "single",
                "start_s": 0.0,
                "end_s": 1.0,
                "voices": [{"midi": 69, "pitch": "A4", "f0_hz": 440.0, "loudness": 3}],
                "colour": "blue",
            }
        ],
        "mood": "good",
    }
    measurement = Measurement.from_dict(older)
    assert measurement.engine == "0.3.0"
    assert measurement.reference.source == "assumed"
    assert measurement.events[0].voices[0].level_db is None
    assert judge(measurement, Policy()).intervals == ()


def test_a_measurement_stored_by_engine_1_0_0_loads_and_is_judged(validator):
    """A listening of the committed sample clip as engine 1.0.0 stored it."""
    stored = json.loads((STORED / "engine-1.0.0.json").read_text(encoding="utf-8"))
    truth = json.loads((CLIPS / "short-octaves.truth.json").read_text(encoding="utf-8"))
    measurement = Measurement.from_dict(stored)
    assert measurement.engine == "1.0.0"
    later = {"end_size_cents": None, "moved_cents": None}  # fields that engine did not know
    for event in stored["events"]:
        event["intervals"] = [interval | later for interval in event["intervals"]]
    assert measurement.to_dict()["events"] == stored["events"]
    judgement = judge(measurement, Policy(key="Bb major"))
    validator.validate(Analysis(measurement, judgement).to_dict())
    expected = [run["code"] for run in truth["runs"] if run["mark_expected"]]
    assert expected
    assert [mark.code for mark in judgement.marks] == expected


def test_a_newer_schema_is_refused():
    with pytest.raises(ValueError, match="schema 2 is newer than 1; upgrade"):
        Measurement.from_dict({"schema": 2})


def test_numbers_that_are_not_finite_become_null(validator):
    measurement = Measurement.from_dict(KNOWN)
    broken = copy.deepcopy(KNOWN)
    broken["events"][0]["quality"]["snr_db"] = math.nan
    broken["events"][0]["voices"][0]["level_db"] = -math.inf
    document = Analysis(Measurement.from_dict(broken), judge(measurement, Policy())).to_dict()
    json.dumps(document, allow_nan=False)
    validator.validate(document)
    assert document["events"][0]["quality"]["snr_db"] is None
    assert document["events"][0]["voices"][0]["level_db"] is None


def test_judgements_of_every_kind_follow_the_schema(validator):
    clip = Clip().pair("Bb3", "Bb4", 40).pair("Bb3", "Bb4", 20, uncertainty=None).note("E4", 30)
    clip.pair("F4", "B4", 3).string("D4", -20).note("D4", -20)
    clip.note("Bb3", doubt="octave_or_single", other=("Bb3", "Bb4"))
    measurement = clip.done()
    for policy in (Policy(), Policy(judge_singles=True, key="Bb", interval="P8", tuning="equal")):
        validator.validate(Analysis(measurement, judge(measurement, policy)).to_dict())


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("events", 0, "kind"), "duet"),
        (("events", 0, "voices", 0, "pitch"), "B♭3"),
        (("events", 0, "voices", 0, "f0_hz"), 0),
        (("events", 0, "confidence"), 1.5),
        (("reference", "source"), "guess"),
        (("judgement", "intervals", 0, "verdict"), "unsure"),  # without its reason
        (("judgement", "intervals", 0, "short"), "octave"),
        (("judgement", "marks", 0, "severity"), 4),
        (("judgement", "marks", 0, "sentence"), ""),
        (("judgement", "policy", "tuning"), "meantone"),
        (("schema",), 2),
    ],
)
def test_the_schema_refuses_what_is_wrong(validator, document, path, value):
    inside = document
    for step in path[:-1]:
        inside = inside[step]
    inside[path[-1]] = value
    with pytest.raises(ValidationError):
        validator.validate(document)


@pytest.mark.parametrize(
    "path", ["engine", "reference", "events", "judgement", "options", "source", "open_strings"]
)
def test_the_schema_refuses_what_is_missing(validator, document, path):
    del document[path]
    with pytest.raises(ValidationError):
        validator.validate(document)


def test_tracks_keep_their_gaps():
    track = Track(1.0, 0.05, (0.1, None, -0.2))
    measurement = Clip().note("A4").done()
    data = measurement.to_dict()
    data["events"][0]["voices"][0]["track"] = {
        "start_s": 1.0,
        "step_s": 0.05,
        "cents": [0.1, None, -0.2],
    }
    assert Measurement.from_dict(data).events[0].voices[0].track == track


def test_unknown_schema_versions_are_refused():
    with pytest.raises(ValueError, match="no schema version 9"):
        load_schema(9)


def test_events_have_one_to_four_voices():
    assert [kind_of(n) for n in (1, 2, 3, 4)] == ["single", "double_stop", "chord", "chord"]
    with pytest.raises(ValueError, match="5 voices is outside 1 to 4"):
        kind_of(5)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"pitches": ()}, "1 to 4 pitches, not 0"),
        ({"pitches": ("B4", "B3")}, "must run from low to high"),
        ({"pitches": ("X4",)}, "not a pitch name"),
        ({"pitches": ("B3", "B4"), "fingers": (1,)}, "1 fingers for 2 pitches"),
    ],
)
def test_wrong_expected_notes_are_refused(fields, message):
    with pytest.raises(ValueError, match=message):
        ExpectedNote(**fields)
