"""In which order the notes of a double stop are played: on the page, read back, and followed."""

import pytest

from studio.intonation import ExpectedNote, Policy, judge
from studio.intonation.alignment.hidden_markov_model import Expected
from studio.notation import Request, Score, generate
from studio.notation.manners import MANNERS
from studio.notation.musicxml import read_musicxml, to_musicxml
from studio.notation.naming import name_of
from studio.notation.tones import frequencies_of
from tests.intonation.heard import Clip

# Common practice, no source: what each is called, written out for the sixth B flat with G.
WRITTEN = {
    "together": "B♭3+G4",
    "separately_then_together": "B♭3 G4 B♭3+G4",
    "upper_first": "G4 B♭3 B♭3+G4",
    "lower_then_both": "B♭3 B♭3+G4",
    "upper_then_both": "G4 B♭3+G4",
    "both_then_upper": "B♭3+G4 G4",
    "both_then_lower": "B♭3+G4 B♭3",
    "hold_lower": "B♭3 (B♭3)+G4",
    "hold_upper": "G4 B♭3+(G4)",
}


def drill(manner: str, **more: object) -> Score:
    named = (("Bb3", "G4"), ("C4", "A4"))
    asked = {"pattern": "pairs", "interval": "sixths", "key": "Bb major", "pairs": named}
    return generate(Request(manner=manner, **asked, **more))


def shown(score: Score) -> list[str]:
    return [" ".join(map(_one, bar)) for bar in score.bars]


def _one(item) -> str:
    notes = zip(item.pitches, item.tied, strict=True)
    return "+".join(f"({p.pretty})" if tied else p.pretty for p, tied in notes)


def expected(score: Score) -> list[ExpectedNote]:
    return [ExpectedNote.from_dict(written) for written in score.to_dict()["written"]]


@pytest.mark.parametrize("manner", MANNERS)
def test_each_manner_is_written_as_it_is_called_and_read_back_the_same(manner):
    score = drill(manner, fingers_down=True, playings=2)
    assert shown(score)[0] == WRITTEN[manner]
    assert [item.playings for item in score.written if len(item.pitches) == 2] == [2, 2]
    assert score.written[0].words == "fingers stay down"
    assert read_musicxml(to_musicxml(score).encode()).score == score
    assert Score.from_dict(score.to_dict()) == score


@pytest.mark.parametrize("manner", MANNERS)
def test_a_note_alone_belongs_to_its_double_stop_on_either_side_of_it(manner):
    score = drill(manner)
    notes = Expected(expected(score))
    for item, of in zip(score.written, notes.belongs_to, strict=True):
        if len(item.pitches) == 1:
            assert of is not None
            assert score.written[of].bar == item.bar
            hz = frequencies_of(score, "just")
            assert hz[item.id][0] in hz[score.written[of].id]


def test_a_single_note_after_a_double_stop_on_a_foreign_page_stays_a_melody_s():
    score = [ExpectedNote(pitches=names, bar=1) for names in (("Bb3", "G4"), ("G4",))]
    assert Expected(score).belongs_to == [None, None]


def test_both_then_upper_is_judged_as_the_double_stop_and_nothing_is_extra_or_missed():
    clip = Clip().pair("Bb3", "G4", 40).note("G4", 24).pair("C4", "A4", 2).note("A4", -14)
    result = judge(clip.done(), Policy(judge_singles=True), expected(drill("both_then_upper")))
    assert [row.state for row in result.following.events] == ["whole"] * 4
    assert result.following.missed == ()
    assert [(mark.code, mark.events) for mark in result.marks] == [("interval_wide", (0,))]
    assert result.singles == ()  # the upper note alone is the double stop's, not a melody's


def test_what_is_held_on_is_said_to_a_screen_reader():
    score = drill("hold_lower")
    assert "B♭3 held on" in name_of(score)(score.written[1])
