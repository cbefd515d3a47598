"""What a judgement with a score says in JSON: as published, and complete."""

import json

import pytest
from jsonschema import Draft202012Validator

from studio.intonation import Analysis, ExpectedNote, Policy, judge, load_schema
from studio.intonation.alignment import follow
from studio.intonation.alignment.follower import with_fingering
from tests.intonation.heard import Clip

PAIRS = [("G3", "G4"), ("A3", "A4"), ("B3", "B4"), ("C4", "C5"), ("D4", "D5"), ("E4", "E5")]
SCORE = [
    ExpectedNote(pitches=pitches, ref=f"{pitches[0]}{len(pitches)}", bar=bar)
    for bar, (low, high) in enumerate(PAIRS, start=1)
    for pitches in ((low,), (high,), (low, high))
]


@pytest.fixture(scope="module")
def document():
    """Every state that an event and a note can be in."""
    clip = Clip().note("G3").note("G4").pair("G3", "G4", 20)  # played
    clip.note("E6").note("A3").note("A4").note("A3")  # extra; its notes one by one
    clip.pair("B3", "A#4")  # wrong
    clip.note("D4").note("D5").pair("D4", "D5", 20)  # a bar missed before, one not reached after
    measurement = clip.done()
    following = follow(measurement, SCORE)
    measured = with_fingering(measurement, following)
    analysis = Analysis(measured, judge(measurement, Policy(), SCORE))
    return json.loads(json.dumps(analysis.to_dict(), allow_nan=False))


def test_it_follows_the_published_schema(document):
    Draft202012Validator(load_schema()).validate(document)


def test_every_event_and_every_note_is_in_it(document):
    following = document["judgement"]["following"]
    assert [row["event"] for row in following["events"]] == [
        row["id"] for row in document["events"]
    ]
    assert [row["ref"] for row in following["notes"]] == [note.ref for note in SCORE]


def test_it_shows_every_state_that_the_schema_knows(document):
    following = document["judgement"]["following"]
    published = load_schema()["$defs"]
    events = published["followed_event"]["properties"]["state"]["enum"]
    notes = published["followed_note"]["properties"]["state"]["enum"]
    assert {row["state"] for row in following["events"]} == set(events)
    assert {row["state"] for row in following["notes"]} == set(notes)


def test_what_was_expected_and_heard_stands_with_what_was_wrong(document):
    rows = document["judgement"]["following"]["events"]
    [wrong] = [row for row in rows if row["state"] == "wrong"]
    assert (wrong["heard"], wrong["expected"]) == (["B3", "A#4"], ["B3", "B4"])
