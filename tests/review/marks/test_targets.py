"""What a double stop sounds like in tune: of the theory's size, at the pitch that was played."""

from types import SimpleNamespace

import pytest

from studio.intonation import Measurement, Policy, judge
from studio.review.marks.targets import Targets, stops_of
from studio.theory import Interval, Pitch, as_ratio, in_cents, size_cents

A4_HZ = 442.7
TUNINGS = ("just", "pythagorean", "equal")
INTERVALS = ("m3", "M3", "P4", "P5", "m6", "M6", "P8", "m10", "M10")
HOLD_S, EVERY_S = 1.2, 3.0
SAME_CENTS = 0.01  # what is left by a thousandth of a hertz


def voice(midi: int, f0_hz: float, at: float) -> dict:
    pitch = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")[midi % 12]
    return {
        **{"midi": midi, "pitch": f"{pitch}{midi // 12 - 1}", "f0_hz": f0_hz, "level_db": -20.0},
        **{"uncertainty_cents": 0.3, "landing_f0_hz": f0_hz, "start_s": at, "end_s": at + HOLD_S},
    }


def event(number: int, short: str, low: str, off: float) -> dict:
    """A just interval, ``off`` cents wide."""
    at, midi = number * EVERY_S, Pitch.parse(low).midi
    low_hz = A4_HZ * 2 ** ((midi - 69) / 12)
    size = (size_cents(Interval.parse(short), "just") or 0.0) + off
    upper = voice(midi + Interval.parse(short).semitones, low_hz * as_ratio(size), at)
    figures = {"size_cents": size, "uncertainty_cents": 0.5, "landing_size_cents": size}
    return {
        **{"id": number, "kind": "double_stop", "start_s": at, "end_s": at + HOLD_S},
        **{"voices": [voice(midi, low_hz, at), upper], "confidence": 0.99},
        "intervals": [{"low": 0, "high": 1, "lock": 0.9, **figures}],
    }


def judged(tuning: str, low: str = "B3", off: float = 25.0) -> SimpleNamespace:
    events = [event(number, short, low, off) for number, short in enumerate(INTERVALS)]
    reference = {"a4_hz": A4_HZ, "uncertainty_cents": 0.5, "source": "notes"}
    measured = Measurement.from_dict({"schema": 1, "reference": reference, "events": events})
    judgement = judge(measured, Policy(tuning=tuning)).to_dict()
    return SimpleNamespace(measurement=measured.to_dict(), judgement=judgement)


@pytest.mark.parametrize("tuning", TUNINGS)
@pytest.mark.parametrize("off", [25.0, -25.0])
def test_a_target_has_the_size_that_the_tuning_in_force_has_for_its_interval(tuning, off):
    found = judged(tuning, off=off)
    rows = {row["event"]: row for row in found.judgement["intervals"]}
    seen = []
    for number in range(len(INTERVALS)):
        target, row = Targets(found).of_event(number), rows[number]
        if row["target_cents"] is None:
            continue
        seen.append(row["short"])
        wanted = size_cents(Interval.parse(row["short"]), tuning)
        low, high = target.to_dict()["hz"]
        assert in_cents(high / low) == pytest.approx(wanted, abs=SAME_CENTS)
        heard = target.to_dict()["heard_hz"]
        off_heard = in_cents(heard[1] / heard[0]) - in_cents(high / low)
        assert off_heard == pytest.approx(row["deviation_cents"], abs=SAME_CENTS)
        assert low == heard[0] or high == heard[1], "one of the two stays where it was played"
        assert target.levels_db == (-20.0, -20.0)
    assert {"m3", "M3", "P4", "P5", "m6", "M6", "P8"} <= set(seen)


def test_where_the_lower_note_has_to_move_the_upper_one_stays():
    found = judged("just")
    mark = next(mark for mark in found.judgement["marks"] if mark["params"]["interval"] == "M6")
    for which, stays in (("lower", 1), ("upper", 0), ("either", 0)):
        mark["params"] = {**mark["params"], "move": which}
        target = Targets(found).of_mark(mark["code"], mark["events"], mark["params"])
        assert target.hz[stays] == target.heard_hz[stays]
        assert target.hz[1 - stays] != target.heard_hz[1 - stays]


def test_a_comment_is_about_the_double_stop_at_its_moment_and_about_none_between_two():
    found = Targets(judged("just"))
    assert found.at(EVERY_S + 0.5, None).start_s == EVERY_S
    assert found.at(EVERY_S - 0.03, None).start_s == EVERY_S, "it was made just before the onset"
    assert found.at(EVERY_S + HOLD_S + 0.3, None) is None
    assert found.at(EVERY_S + 1.0, 2 * EVERY_S + 1.0).start_s == 2 * EVERY_S, "most of its span"


def test_each_run_is_one_stop_with_its_name():
    stops = stops_of(judged("just", low="G3"))
    assert [stop["start_s"] for stop in stops] == [n * EVERY_S for n in range(len(INTERVALS))]
    assert stops[3] == {
        **{"name": "fifth G3–D4", "ref": "", "start_s": 9.0, "end_s": 10.2, "begins_s": 9.0}
    }
