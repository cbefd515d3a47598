"""What a child reads: every sentence there is, over all intervals and ways, from the word list."""

from itertools import product

import pytest

from studio.intonation.model.judgement import MARK_CODES
from studio.intonation.wording import for_children
from studio.intonation.wording.for_children import (
    LONGEST,
    OF_THE_PAGE,
    WORDS,
    child_sentence,
    in_tune_of,
    too_hard,
)

# Every interval class, both ways, and two sizes.
INTERVALS = ("P1", "m2", "M2", "m3", "M3", "P4", "A4", "d5", "P5", "m6", "M6", "m7", "M7", "P8")
INTERVALS += ("m9", "M9", "m10", "M10")
DEVIATIONS = (18.4, -18.4, 40.0, -40.0)
FINGER = {"string": None, "move_mm": None}
HANDS = (
    {},
    {
        "moves": (
            {"which": "lower", "finger": 1, **FINGER},
            {"which": "upper", "finger": 4, **FINGER},
        )
    },
    {"moves": ({"which": "upper", "finger": 2, **FINGER},), "one_finger": True},
    {"moves": ({"which": "lower", "finger": 3, **FINGER},)},
)
WHYS = (
    {"move": "either"},
    {"move": "either", "maybe_open": ["D"]},
    {"move": "neither", "because": "open"},
    *({"move": w, "because": why} for w in ("upper", "lower") for why in ("alone", "tuning")),
    *({"move": w, "because": "open", "open": "D"} for w in ("upper", "lower")),
    {"move": "upper", "because": "open", "open": "D", "open_off_cents": -14.0},
    *(
        {"move": w, "because": "slipped", "slipped_cents": c}
        for w, c in product(("upper", "lower"), (20.0, -20.0))
    ),
)


def table():
    for short, off, why, hand in product(INTERVALS, DEVIATIONS, WHYS, HANDS):
        code = "interval_wide" if off > 0 else "interval_narrow"
        yield code, {"interval": short, "deviation_cents": off, **why, **hand}
    for off, pitch in product(DEVIATIONS, ("G3", "D4", "A4", "E5", "C3", "Bb4", "F#5")):
        about = {"pitch": pitch, "deviation_cents": off}
        yield "single_sharp" if off > 0 else "single_flat", about
        yield "open_string_off", about
    for code, which, held in product(
        ("voice_dropout", "balance"), ("upper", "lower", None), (True, False)
    ):
        yield code, {"which": which, "held": held}
    for code in MARK_CODES:
        yield code, {}  # an old decision of which no figures are left


SAID = {(code, child_sentence(code, params)) for code, params in table()}


def test_every_sentence_is_of_the_word_list_and_no_longer_than_a_child_reads():
    assert {code for code, _ in SAID} == set(MARK_CODES)
    assert len(SAID) > 60
    for _, text in SAID:
        assert too_hard(text) == [], text
        assert text.endswith("."), text
        assert 0 < text.count(".") + text.count("?") <= 5, text


def test_what_the_page_says_is_of_the_word_list_too():
    for text in (*OF_THE_PAGE, in_tune_of(12, 34)):
        assert too_hard(text) == [], text
    said = vars(for_children).items()
    named = {
        text for name, text in said if name[0] != "_" and name.isupper() and isinstance(text, str)
    }
    assert named == set(OF_THE_PAGE), "what is added to the page is checked here"


def test_the_check_finds_a_long_word_and_a_long_sentence():
    assert too_hard("The interval is wide.") == ["interval", "wide"]
    assert too_hard("You " * LONGEST + "you.") != []
    assert "cents" not in WORDS


@pytest.mark.parametrize(
    ("params", "said"),
    [
        (
            {"interval": "M6", "deviation_cents": -18.0, "move": "upper"},
            "The two notes are a bit too close. For the high note, roll the tip up a little.",
        ),
        (
            {"interval": "P8", "deviation_cents": 40.0, "move": "lower"},
            "The two notes are too far apart. For the low note, move the finger up.",
        ),
        (
            {"interval": "M3", "deviation_cents": -18.0, "move": "lower", **HANDS[1]},
            "The two notes are a bit too close. Roll the tip of your first finger down a little.",
        ),
        (
            {"interval": "M6", "deviation_cents": 20.0, "move": "upper", "open": "D"},
            "The two notes are a bit too far apart. The low note is an open string. "
            "For the high note, roll the tip down a little.",
        ),
    ],
)
def test_a_child_reads_what_to_do_and_which_way(params, said):
    code = "interval_wide" if params["deviation_cents"] > 0 else "interval_narrow"
    assert child_sentence(code, params) == said


def test_closer_is_said_of_a_run_that_came_closer_alone():
    closer = for_children.came_closer
    assert closer({"first_cents": 40.0, "deviation_cents": 20.0})
    assert closer({"first_cents": -40.0, "deviation_cents": 20.0})
    assert not closer({"first_cents": 21.0, "deviation_cents": 20.0})
    assert not closer({"first_cents": 10.0, "deviation_cents": -30.0})
    assert not closer({"deviation_cents": -30.0})
