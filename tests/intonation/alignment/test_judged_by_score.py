"""Judging with the drill in hand: names, runs, figures and fingering come from what is written."""

import subprocess
import sys

import pytest

from studio.intonation import Analysis, ExpectedNote, Policy, judge
from studio.intonation.alignment import follow
from studio.intonation.alignment.follower import with_fingering
from tests.intonation.heard import Clip

SCORE = [
    ExpectedNote(pitches=("Bb3",), ref="l1", bar=1, manner="separate"),
    ExpectedNote(pitches=("G4",), ref="h1", bar=1, manner="separate"),
    ExpectedNote(
        pitches=("Bb3", "G4"), strings=(4, 3), fingers=(2, 3), ref="t1", bar=1, manner="together"
    ),
    ExpectedNote(pitches=("C4", "A4"), strings=(4, 3), fingers=(3, 4), ref="t2", bar=2),
    ExpectedNote(pitches=("D4", "Bb4"), strings=(3, 2), fingers=(0, 1), ref="t3", bar=3),
]


def judged(clip, score=SCORE, **policy):
    return judge(clip.done(), Policy(**policy), score)


def note(judgement, ref):
    return next(note for note in judgement.following.notes if note.ref == ref)


def test_intervals_and_runs_carry_the_scores_ref():
    result = judged(Clip().note("Bb3").note("G4").pair("Bb3", "G4").pair("C4", "A4", 4))
    assert [row.score_ref for row in result.intervals] == ["t1", "t2"]
    assert [(run.score_ref, run.playings, run.broken) for run in result.runs] == [
        ("t1", (2,), (0, 1)),
        ("t2", (3,), ()),
    ]


def test_every_playing_of_a_note_is_one_run_whenever_it_came():
    clip = Clip().pair("Bb3", "G4", 40).pair("C4", "A4", 3).silence(3.0)
    result = judged(clip.pair("Bb3", "G4", 2).pair("C4", "A4", 30))
    assert [(run.score_ref, run.playings) for run in result.runs] == [
        ("t1", (0, 2)),
        ("t2", (1, 3)),
    ]
    assert [(mark.events, mark.code) for mark in result.marks] == [((3,), "interval_wide")]


def test_a_note_has_all_its_deviations_the_best_and_the_last():
    clip = Clip().pair("Bb3", "G4", 40).pair("Bb3", "G4", -3).pair("Bb3", "G4", 9)
    found = note(judged(clip), "t1")
    assert found.deviations_cents == pytest.approx((40.0, -3.0, 9.0))
    assert (found.first_cents, found.best_cents, found.last_cents) == pytest.approx((40, -3, 9))


def test_a_playing_that_was_not_measured_has_no_figure():
    clip = (
        Clip().pair("Bb3", "G4", 5).pair("Bb3", "G4", 0, uncertainty=None, reason="not_separable")
    )
    found = note(judged(clip), "t1")
    assert (found.playings, found.measured) == ((0, 1), (0,))


def test_the_score_spells_what_it_asks_for():
    """F to B is an augmented fourth as written, 590.2 cents (45:32; Ellis, in Helmholtz 1885)."""
    score = [ExpectedNote(pitches=("F4", "B4"), ref="a"), ExpectedNote(pitches=("E4", "C5"))]
    [row, _] = judged(Clip().pair("F4", "B4", 30).pair("E4", "C5"), score).intervals
    assert (row.name, row.target_cents) == ("augmented fourth", pytest.approx(590.224, abs=0.001))
    assert (row.low_pitch, row.high_pitch, row.verdict) == ("F4", "B4", "out")


def test_a_note_far_off_is_judged_as_what_was_written():
    """70 cents wide of a sixth is nearer to a seventh; the drill says sixth."""
    [row] = judged(Clip().pair("Bb3", "G4", 70)).intervals
    assert (row.short, row.score_ref) == ("M6", "t1")
    assert row.deviation_cents == pytest.approx(70.0)


def test_a_wrong_note_is_named_and_gets_no_mark():
    result = judged(Clip().pair("Bb3", "G4").pair("C4", "Bb4", 35).pair("D4", "Bb4"))
    assert result.marks == ()
    [row] = [row for row in result.following.events if row.state == "wrong"]
    assert (row.heard, row.expected) == (("C4", "Bb4"), ("C4", "A4"))
    assert note(result, "t2").state == "wrong"
    assert [run.score_ref for run in result.runs] == ["t1", "t3", None]


def test_what_the_drill_does_not_ask_for_is_judged_by_ear():
    clip = Clip().pair("Bb3", "G4").silence(2.0).pair("E4", "E5", 40).silence(2.0)
    result = judged(clip.pair("C4", "A4"))
    assert [row.state for row in result.following.events] == ["whole", "extra", "whole"]
    [mark] = result.marks
    assert (mark.events, result.runs[-1].score_ref) == ((1,), None)


def test_a_chord_is_judged_pair_by_pair():
    score = [ExpectedNote(pitches=("G3", "D4", "B4"), ref="c1", bar=1)]
    result = judged(Clip().pair("G3", "D4", 25).pair("D4", "B4", 3), score)
    assert [(row.short, row.score_ref) for row in result.intervals] == [("P5", "c1"), ("M6", "c1")]
    assert [run.score_ref for run in result.runs] == ["c1", "c1"]
    assert [mark.events for mark in result.marks] == [(0,)]


def test_the_fingering_says_which_note_is_open():
    [mark] = judged(Clip().pair("Bb3", "G4").pair("C4", "A4").pair("D4", "Bb4", 40)).marks
    assert mark.voice == 1


def test_voices_get_string_and_finger_of_the_drill():
    measurement = Clip().note("Bb3").pair("Bb3", "G4").note("E6").done()
    found = with_fingering(measurement, follow(measurement, SCORE)).events
    assert [(voice.string, voice.finger) for voice in found[1].voices] == [(4, 2), (3, 3)]
    assert [(voice.string, voice.finger) for voice in found[2].voices] == [(None, None)]


def test_a_following_made_before_serves_every_policy():
    measurement = Clip().pair("Bb3", "G4", 16).pair("C4", "A4", 3).done()
    following = follow(measurement, SCORE)
    for policy in (Policy(), Policy(tolerance_cents=5), Policy(tuning="equal")):
        assert judge(measurement, policy, SCORE) == judge(
            measurement, policy, SCORE, following=following
        )


def test_a_melody_is_judged_by_the_note_written():
    score = [
        ExpectedNote(pitches=(name,), ref=name, bar=bar, manner="alone")
        for bar, name in enumerate(("G4", "A#4", "B4"))
    ]
    result = judged(Clip().note("G4").note("A#4", 40).note("C5"), score, judge_singles=True)
    assert [(row.pitch, row.score_ref) for row in result.singles] == [("G4", "G4"), ("A#4", "A#4")]
    assert [mark.code for mark in result.marks] == ["single_sharp"]
    assert note(result, "A#4").last_cents == pytest.approx(40.0)


def test_a_piece_of_single_notes_and_double_stops_is_judged_event_by_event():
    """Double stops as such, single notes by the melody's tuning, what is added not at all."""
    written = [("B4",), ("G4", "E5"), ("C5",), ("A4", "F5"), ("D5",)]
    score = [
        ExpectedNote(pitches=pitches, ref=f"b{bar}", bar=bar)
        for bar, pitches in enumerate(written, start=1)
    ]
    clip = Clip().note("B4", 40).pair("G4", "E5", 30).note("C5").note("F#5", 45)
    result = judged(clip.pair("A4", "F5").note("D5"), score, judge_singles=True)
    assert [row.score_ref for row in result.singles] == ["b1", "b3", "b5"]
    assert [(mark.code, refs_of(mark, result)) for mark in result.marks] == [
        ("single_sharp", "b1"),
        ("interval_wide", "b2"),
    ]
    assert result.following.events[3].state == "extra"


def refs_of(mark, result):
    [event] = mark.events
    return next(row.ref for row in result.following.events if row.event == event)


def test_notes_of_a_double_stop_are_no_melody():
    clip = Clip().note("Bb3", 40).note("G4").pair("Bb3", "G4")
    assert judged(clip, judge_singles=True).singles == ()


def test_without_a_score_there_is_no_following_and_no_ref():
    measurement = Clip().note("Bb3").pair("Bb3", "G4", 40).pair("Bb3", "G4", 30).done()
    result = judge(measurement, Policy())
    assert result == judge(measurement, Policy(), [])
    assert result.following is None
    assert {row.score_ref for row in (*result.intervals, *result.runs)} == {None}
    assert "following" not in Analysis(measurement, result).to_dict()["judgement"]


def test_judging_without_a_score_loads_no_numerical_library():
    code = (
        "import sys; from studio.intonation import Measurement, Policy, judge;"
        "judge(Measurement(), Policy()); sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
