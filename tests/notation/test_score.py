"""What a score holds, refuses and keeps."""

import json
from fractions import Fraction

import pytest

from studio.notation.score import NotAScore, Score, Written
from studio.theory import Pitch


def written(name: str, *pitches: str, **more) -> Written:
    return Written(id=name, pitches=tuple(map(Pitch.parse, pitches)), **{"bar": 1, **more})


def octaves() -> Score:
    return Score(
        title="Octaves",
        instrument="violin",
        key="G major",
        written=(
            written("n1", "A3", manner="separate", strings=(4,), fingers=(1,), beats=Fraction(1)),
            written("n2", "A4", manner="separate", strings=(3,), fingers=(4,), beats=Fraction(1)),
            written("n3", "A3", "A4", strings=(4, 3), fingers=(1, 4), hold_s=2.0, playings=3),
            written("n4", "B3", "B4", bar=2, shift=True, position=2),
        ),
    )


def test_a_stored_score_loads_back_the_same():
    score = octaves()
    assert Score.from_dict(json.loads(json.dumps(score.to_dict()))) == score


def test_a_score_is_read_bar_by_bar():
    assert [[item.id for item in bar] for bar in octaves().bars] == [["n1", "n2", "n3"], ["n4"]]


@pytest.mark.parametrize(("ref", "found"), [("n2", "n2"), ("n3", "n3"), ("n3-1", "n3")])
def test_a_note_is_found_by_the_id_it_has_on_the_page(ref, found):
    assert octaves().find(ref).id == found


def test_an_id_that_is_nowhere_is_not_found():
    assert octaves().find("n9") is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"pitches": (Pitch.parse("A4"), Pitch.parse("A3"))}, "from low to high"),
        ({"fingers": (5, 1)}, "0 .open. to 4"),
        ({"strings": (1,)}, "1 strings for 2 pitches"),
        ({"hold_s": 0.01}, "outside 0.2 to 60"),
        ({"manner": "loud"}, "alone, separate, together"),
        ({"id": "3 n"}, "cannot be a note's id"),
    ],
)
def test_what_cannot_be_written_is_refused_with_its_bound(change, words):
    good = {"id": "n1", "pitches": (Pitch.parse("A3"), Pitch.parse("A4")), "bar": 1}
    with pytest.raises(NotAScore, match=words):
        Written(**{**good, **change})


def test_an_id_stands_once_in_a_score():
    with pytest.raises(NotAScore, match="n1 stands twice"):
        Score(title="", instrument="violin", written=(written("n1", "A4"), written("n1", "B4")))


def test_bars_never_fall():
    with pytest.raises(NotAScore, match="bars fall"):
        Score(
            title="",
            instrument="violin",
            written=(written("n1", "A4", bar=2), written("n2", "B4", bar=1)),
        )
