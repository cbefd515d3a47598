"""What holds for every judgement, whatever was heard."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from studio.intonation import Analysis, Measurement, Policy, judge, load_schema
from studio.intonation.model.judgement import SURE
from studio.intonation.model.measurement import (
    Event,
    HeardInterval,
    OpenString,
    Reading,
    Reference,
    Voice,
    kind_of,
)
from studio.theory import cents_between, frequency_of_midi, spell

VALIDATOR = Draft202012Validator(load_schema())
UNCERTAINTY = st.one_of(st.none(), st.floats(0.1, 12.0))
DOUBT = st.sampled_from([None, None, None, "octave_or_single"])


@st.composite
def events(draw, number):
    """An event of one to three notes somewhere between G3 and G6, each up to 60 cents off."""
    midi = sorted(draw(st.lists(st.integers(55, 91), min_size=1, max_size=3)))
    voices, f0 = [], []
    for note in midi:
        f0.append(frequency_of_midi(note + draw(st.floats(-0.6, 0.6))))
    f0.sort()
    for note, f in zip(midi, f0, strict=True):
        voices.append(Voice(note, str(spell(note)), f, draw(UNCERTAINTY)))
    intervals = tuple(
        HeardInterval(
            low,
            high,
            cents_between(f0[low], f0[high]),
            draw(UNCERTAINTY),
            draw(st.one_of(st.none(), st.floats(0.0, 3000.0))),
            unsure_reason=draw(st.sampled_from([None, None, "not_separable"])),
        )
        for low in range(len(f0))
        for high in range(low + 1, len(f0))
    )
    start = float(number)
    return Event(
        id=number,
        kind=kind_of(len(voices)),
        start_s=start,
        end_s=start + draw(st.floats(0.05, 0.95)),
        voices=tuple(voices),
        intervals=intervals,
        confidence=draw(st.floats(0.0, 1.0)),
        alternatives=(Reading((f0[0], 2.0 * f0[0])),),
        doubt=draw(DOUBT),
    )


@st.composite
def measurements(draw):
    """A clip with repetitions: an event is often played again."""
    count = draw(st.integers(0, 12))
    found = []
    for number in range(count):
        if found and draw(st.booleans()):
            again = found[-1]
            found.append(
                Event(
                    number,
                    again.kind,
                    float(number),
                    number + 0.8,
                    again.voices,
                    again.intervals,
                    0.9,
                )
            )
        else:
            found.append(draw(events(number)))
    source = draw(st.sampled_from(["given", "open_strings", "notes", "assumed"]))
    off = draw(st.floats(-40.0, 40.0))
    string = OpenString("D4", frequency_of_midi(62 + off / 100.0), off, draw(UNCERTAINTY), 1.0)
    return Measurement(
        reference=Reference(440.0, draw(UNCERTAINTY), source),
        open_strings=(string,) if draw(st.booleans()) else (),
        events=tuple(found),
        key=draw(st.sampled_from([None, "Bb major", "F# minor"])),
    )


POLICIES = st.builds(
    Policy,
    tuning=st.sampled_from(["just", "pythagorean", "equal"]),
    level=st.sampled_from(["first_steps", "growing", "advanced"]),
    key=st.sampled_from([None, "Eb major", "C# minor"]),
    interval=st.sampled_from([None, "P8", "M6", "m7"]),
    judge_singles=st.booleans(),
)


@settings(max_examples=150)
@given(measurement=measurements(), policy=POLICIES)
def test_marks_are_few_certain_and_explained(measurement, policy):
    judgement = judge(measurement, policy)
    ids = {event.id for event in measurement.events}
    by_event = {}
    for row in judgement.intervals:
        by_event.setdefault(row.event, []).append(row)

    runs = [mark.run for mark in judgement.marks if mark.run is not None]
    assert len(runs) == len(set(runs))  # at most one mark for each run
    numbers = range(len(judgement.marks))
    assert [mark.id for mark in judgement.marks] == list(numbers)
    assert sorted(mark.rank for mark in judgement.marks) == [number + 1 for number in numbers]
    for mark in judgement.marks:
        assert set(mark.events) <= ids
        assert mark.sentence.endswith(".")
        assert mark.severity in (1, 2, 3)
        if mark.code.startswith("interval"):
            rows = [r for r in by_event[mark.events[0]] if r.deviation_cents == _deviation(mark)]
            row = next(r for r in rows if r.verdict == "out")
            heard = next(
                i
                for i in measurement.events[row.event].intervals
                if (i.low, i.high) == (row.low, row.high)
            )
            tolerance = policy.tolerance_cents.get(row.short, 0.0)
            assert abs(row.deviation_cents) - tolerance > SURE * heard.uncertainty_cents


def _deviation(mark):
    return mark.params["deviation_cents"]


@settings(max_examples=150)
@given(measurement=measurements(), policy=POLICIES)
def test_every_event_is_in_at_most_one_run_and_every_interval_has_a_verdict(measurement, policy):
    judgement = judge(measurement, policy)
    members = [event for run in judgement.runs for event in run.events]
    assert len(members) == len(set(members))
    for run in judgement.runs:
        assert set(run.playings) | set(run.broken) == set(run.events)
        assert list(run.events) == sorted(run.events)
    assert len(judgement.intervals) == sum(len(event.intervals) for event in measurement.events)
    for row in judgement.intervals:
        assert (row.verdict == "unsure") == (row.unsure_reason is not None)


@settings(max_examples=60)
@given(measurement=measurements(), policy=POLICIES)
def test_documents_follow_the_schema_and_load_back(measurement, policy):
    document = Analysis(measurement, judge(measurement, policy)).to_dict()
    VALIDATOR.validate(json.loads(json.dumps(document, allow_nan=False)))
    assert Measurement.from_dict(document).to_dict() == measurement.to_dict()
    assert Policy.from_dict(document["judgement"]["policy"]) == policy


@settings(max_examples=60)
@given(measurement=measurements())
def test_a_wider_tolerance_never_adds_a_mark(measurement):
    counts = [
        sum(m.run is not None for m in judge(measurement, Policy(tolerance_cents=cents)).marks)
        for cents in (8.0, 15.0, 28.0, 50.0)
    ]
    assert counts == sorted(counts, reverse=True)


@pytest.mark.parametrize("level", ["first_steps", "growing", "advanced"])
def test_an_event_without_intervals_or_with_wide_ones_is_survived(level):
    voices = (Voice(20, "G#0", 25.96), Voice(105, "A7", 3520.0))
    event = Event(0, "double_stop", 0.0, 1.0, voices, (HeardInterval(0, 1, 8500.0, 0.5),))
    bare = Event(1, "double_stop", 1.0, 2.0, voices)
    judgement = judge(Measurement(events=(event, bare)), Policy(level=level))
    assert judgement.marks == ()
