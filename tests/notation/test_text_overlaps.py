"""Text that the engraver laid over other text is seen, and drawn again clear of it."""

import pytest

from studio.notation import Request, engraving, generate
from studio.notation.text_overlaps import has_overlaps

# The engraver puts "3 times" and "4 s" on the fingers of the same double stop.
ON_FINGERS = [
    Request(
        pattern="third_finger_check",
        key="F major",
        instrument="viola",
        manner="lower_then_both",
        rhythm="reverse_dotted",
        slur=4,
        first_bow="up",
        playings=3,
    ),
    Request(
        interval="unisons",
        key="C# minor",
        direction="up",
        manner="upper_then_both",
        hold_s=4.0,
        fingers_down=True,
        slur=2,
        rhythm="short_short_long",
        first_bow="down",
    ),
    Request(
        pattern="fourth_finger_check",
        instrument="viola",
        strings=(2, 1),
        manner="hold_upper",
        playings=3,
        slur=4,
        rhythm="even",
        first_bow="up",
        stroke="martele",
    ),
]


def page(*texts: tuple[int, int, str, str]) -> str:
    drawn = "".join(
        f'<g class="{kind}"><text x="{x}" y="{y}">'
        f'<tspan font-size="100px">{says}</tspan></text></g>'
        for x, y, kind, says in texts
    )
    return f'<svg xmlns="http://www.w3.org/2000/svg">{drawn}</svg>'


@pytest.mark.parametrize(
    ("second", "meet"),
    [
        ((120, 520, "fing", "3"), True),
        ((200, 480, "dir", "G D"), True),
        ((120, 600, "fing", "3"), False),  # a line lower
        ((500, 500, "dir", "G D"), False),  # further on
        ((120, 520, "verse", "+3"), False),  # a figure has its own line
    ],
)
def test_boxes_of_text_meet_where_their_ink_would(second, meet):
    assert has_overlaps(page((100, 500, "tempo", "3 times"), second)) == meet


@pytest.mark.parametrize("layout", ["phone", "desk", "print"])
@pytest.mark.parametrize("asked", ON_FINGERS, ids=["blank", "blanks", "start of the bar"])
def test_what_the_engraver_put_on_a_finger_is_drawn_again(asked, layout, monkeypatch):
    score = generate(asked)
    engraving._draw.cache_clear()
    monkeypatch.setattr(engraving, "_WAYS_TO_PLACE", ((1, False),))
    assert any(map(has_overlaps, engraving.engrave(score, layout=layout)))
    engraving._draw.cache_clear()
    monkeypatch.undo()
    assert not any(map(has_overlaps, engraving.engrave(score, layout=layout)))
