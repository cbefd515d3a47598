"""Which note is said to be off, and whether one moved, in takes where both are known."""

from functools import cache

from studio.intonation import Judgement, Measurement, Policy, judge, listen
from tests.intonation.judging.culprits import Planted, take

KEYS = {500: "Bb major", 501: "D major", 502: "G major", 503: "Eb major"}
INTERVALS = ("octaves", "sixths", "thirds", "fifths")
# Separate notes stand up to 1.5 cents elsewhere; some recorded partials up to 5 from their note.
MOVED_WITHIN_CENTS = 6.5


@cache
def heard() -> list[tuple[Planted, Measurement, Judgement]]:
    rows = []
    for seed, key in KEYS.items():
        made = take(seed, key=key, intervals=INTERVALS, count=8)
        measurement = listen(made.y, made.sr)
        judgement = judge(measurement, Policy(key=key))
        rows += [(planted, measurement, judgement) for planted in made.planted]
    return rows


def _is_during(planted: Planted, start_s: float, end_s: float) -> bool:
    return min(planted.end_s, end_s) - max(planted.start_s, start_s) > 0.5


def said_of_culprits() -> list[str]:
    """right, wrong or either, for each double stop with a culprit that was marked."""
    said = []
    for planted, _, judgement in heard():
        for mark in judgement.marks:
            if mark.run is None or not _is_during(planted, mark.start_s, mark.end_s):
                continue
            move = mark.params["move"]
            if planted.culprit != "none":
                said.append({"either": "either", planted.culprit: "right"}.get(move, "wrong"))
    return said


def test_the_note_that_is_off_is_named_or_either_and_hardly_ever_the_other():
    said = said_of_culprits()
    assert len(said) >= 20
    assert said.count("wrong") <= 0.05 * len(said)
    assert said.count("right") >= 0.6 * len(said)


def test_what_is_in_tune_together_has_no_mark():
    for planted, _, judgement in heard():
        if planted.culprit == "none":
            assert not [m for m in judgement.marks if _is_during(planted, m.start_s, m.end_s)]


def test_a_note_that_slipped_is_told_with_its_cents_and_one_that_stayed_is_not():
    told, slipped = 0, 0
    for planted, measurement, judgement in heard():
        slips = planted.apart == "slipped" and planted.culprit != "none"
        by = {"upper": 1, "lower": -1, "none": 0}[planted.culprit] * planted.deviation_cents
        slipped += slips
        spans = {event.id: (event.start_s, event.end_s) for event in measurement.events}
        for run in judgement.runs:
            for remark in run.remarks:
                if remark.code != "note_moved" or not _is_during(planted, *spans[remark.event]):
                    continue
                assert slips, remark.sentence
                assert remark.params["which"] == planted.culprit
                assert abs(remark.params["moved_cents"] - by) < MOVED_WITHIN_CENTS
                told += 1
    assert slipped >= 5
    assert told >= 0.8 * slipped
