"""The strings at the staff: by their letters, at the first note that lies on them."""

import re
from itertools import pairwise

import pytest

from studio.notation import Request, generate
from studio.notation.manners import MANNERS
from studio.notation.musicxml import to_musicxml

LETTERS = re.compile(r">([A-G](?: [A-G])*)</words>|<note [^>]*id=\"(n\d+)")


def letters(page: str) -> list[tuple[str, str]]:
    """Letters in turn, each with the id of the note that it stands over."""
    marks = LETTERS.findall(page)
    return [(words, after) for (words, _), (_, after) in pairwise(marks) if words]


@pytest.mark.parametrize("manner", MANNERS)
def test_a_pair_of_strings_stands_over_the_first_note_of_the_bar_that_takes_it(manner):
    score = generate(Request(key="G major", interval="sixths", direction="up", manner=manner))
    firsts = [bar[0].id for bar in score.bars]
    assert letters(to_musicxml(score)) == [("G D", firsts[0]), ("D A", firsts[4])]
