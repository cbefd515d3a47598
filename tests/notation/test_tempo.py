"""Silences and what a page says of its tempo, on a page that another program wrote (music21)."""

from fractions import Fraction

import pytest
from music21 import expressions, meter, note, stream, tempo
from music21.musicxml.m21ToXml import GeneralObjectExporter

from studio.notation import Score
from studio.notation.musicxml import read_musicxml

LENGTHS = (1, -1, 2, 1, 1, 1, -0.5, 0.5, 1, 1, 1, 1, 1, 1, 2)  # quarter notes; below 0 a silence


@pytest.fixture(scope="module")
def score() -> Score:
    part = stream.Part([meter.TimeSignature("4/4"), tempo.MetronomeMark("Andante", 80)])
    for place, length in enumerate(LENGTHS):
        kind = note.Note("D5") if length > 0 else note.Rest()
        kind.quarterLength = abs(length)
        if place == 3:
            kind.expressions.append(expressions.Fermata())
        part.append(kind)
    part.insert(8.0, expressions.TextExpression("poco rit."))
    part.insert(12.0, expressions.TextExpression("a tempo"))
    return read_musicxml(GeneralObjectExporter(stream.Score([part])).parse()).score


def test_silences_are_read(score):
    assert [item.rest_before for item in score.written if item.rest_before] == [1, Fraction(1, 2)]
    whole = sum(item.beats + item.rest_before for item in score.written)
    assert whole == sum(abs(length) for length in LENGTHS)


def test_what_the_page_says_of_tempo_stands_where_its_bar_begins(score):
    said = [(item.bar, item.tempo) for item in score.written if item.tempo]
    assert said == [(1, "new"), (3, "free"), (4, "as_before")]
    assert [item.bar for item in score.written if item.held] == [2]


def test_it_is_kept_with_the_score(score):
    assert score.timed
    again = Score.from_dict(score.to_dict())
    assert again.written == score.written
    assert again.timed
