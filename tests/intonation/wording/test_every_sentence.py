"""Every sentence that a pupil, a guardian or a teacher can be shown of a mark, from a table.

The table is code × parameters × reader: each interval class, both ways and two sizes, which note
moves and why, with and without a drill's fingering, first playings and later ones.
"""

import re
from collections.abc import Iterator
from itertools import product
from typing import Any

import pytest

from studio.intonation import ExpectedNote, Policy, judge, render
from studio.intonation.model.judgement import MARK_CODES, REMARK_CODES
from tests.intonation.heard import Clip

PLAYER = "Ida"
READERS = {"pupil": "", "teacher": "", "guardian": PLAYER}  # who is named to whom
LONGEST = 300  # characters: three lines of a wide screen, eight of a phone
# What a ten-year-old, or a parent, has no use for. Cents are explained where they stand first.
JARGON = re.compile(
    r"\bdB\b|decibel|\bHz\b|hertz|deviation|tolerance|uncertain|settled|landing|onset|"
    r"\bvoices?\b|\bruns?\b|\bplaying\(|semitone|partial|None|nan|\{|\}|_",
    re.IGNORECASE,
)
YOU = re.compile(r"\byou(?:r|rs|rself)?\b", re.IGNORECASE)
INTERVALS = ("P1", "m3", "M3", "P4", "P5", "m6", "M6", "P8", "m10", "M10")
DEVIATIONS = (18.4, -18.4, 40.0, -40.0)
LOW = {"which": "lower", "finger": 1, "string": "G", "move_mm": 3.04, "uncertainty_mm": 0.18}
HIGH = {"which": "upper", "finger": 4, "string": "D", "move_mm": 0.31, "uncertainty_mm": 0.14}
NO_STRING = {"string": None, "move_mm": None, "uncertainty_mm": None}
WHYS: tuple[dict[str, Any], ...] = (
    {"move": "either"},
    {"move": "either", "maybe_open": ["D"]},
    {"move": "either", "maybe_open": ["D", "A"]},
    {"move": "neither", "because": "open"},
    *(
        {"move": which, "because": why}
        for which in ("upper", "lower")
        for why in ("alone", "tuning")
    ),
    {"move": "upper", "because": "tuning", "maybe_open": ["Bb"]},
    {"move": "upper", "because": "open", "open": "D"},
    {"move": "lower", "because": "open", "open": "A"},
    {"move": "upper", "because": "open", "open": "D", "open_off_cents": -14.2},
    *(
        {"move": w, "because": "slipped", "slipped_cents": c, "slipped_uncertainty_cents": 1.4}
        for w, c in (("upper", 20.0), ("lower", -20.0))
    ),
)
HANDS: tuple[dict[str, Any], ...] = (
    {},
    {"moves": (LOW, HIGH)},
    {"moves": (LOW | NO_STRING, HIGH | NO_STRING)},
    {"moves": (LOW, HIGH | {"finger": 1}), "one_finger": True},
)
PLAYED: tuple[dict[str, Any], ...] = (
    {},
    {"low": "Bb3", "high": "G4", "bar": 12, "at_s": 119.7, "playing": 7, "playings": 7},
    {"first_cents": 40.0, "first": "playing", "playing": 2, "playings": 2, "at_s": 3725.0},
    {"first_cents": -0.4, "first": "landing", "low": "C4", "high": "C5"},
)


def intervals() -> Iterator[tuple[str, dict[str, Any]]]:
    for short, off, why, hand, played in product(INTERVALS, DEVIATIONS, WHYS, HANDS, PLAYED):
        moves = [m for m in hand.get("moves", ()) if why["move"] in (m["which"], "either")]
        if why["move"] == "neither" and hand:
            continue
        if hand.get("one_finger") and short != "P5":  # across two strings it is a fifth
            continue
        slip = why.get("slipped_cents")
        if slip is not None:  # what moved is what is off
            why = why | {"slipped_cents": abs(slip) * (1 if off > 0 else -1)}
            if why["move"] == "lower":
                why["slipped_cents"] *= -1
        params = {"interval": short, "deviation_cents": off, "uncertainty_cents": 1.4}
        code = "interval_wide" if off > 0 else "interval_narrow"
        yield code, {**params, **why, **hand, **played, "moves": moves}


def others() -> Iterator[tuple[str, dict[str, Any]]]:
    for off in DEVIATIONS:
        single = {"pitch": "Bb4", "deviation_cents": off, "uncertainty_cents": 1.4, "at_s": 12.4}
        yield "single_sharp" if off > 0 else "single_flat", single
        yield "open_string_off", {"pitch": "D4", "deviation_cents": off, "uncertainty_cents": 0.2}
    pairs: tuple[dict[str, Any], ...] = ({}, {"interval": "M6", "low": "Bb3", "high": "G4"})
    for which, pair, held in product(("upper", "lower", None), pairs, (True, False)):
        about = {**pair, "which": which, "held": held, "string": "D", "at_s": 61.0}
        yield "balance", {**about, "balance_db": 24.2, "uncertainty_db": 5.5}
        for times in (1, 3):
            yield "voice_dropout", {**about, "times": times, "silent_s": 0.31}
    for trend, off in product(("better", "same", "worse"), DEVIATIONS):
        run = {"interval": "P8", "playings": 3, "first_cents": 2 * off, "deviation_cents": off}
        run |= {"uncertainty_cents": 0.6, "change_cents": off, "change_uncertainty_cents": 0.8}
        yield "run_changed", {**run, "trend": trend}
    for which, first, finger in product(("upper", "lower"), (True, False), (None, 2)):
        moved = {"which": which, "moved_cents": 12.0, "uncertainty_cents": 0.7, "first": first}
        yield "note_moved", {**moved, "finger": finger, "string": "A", "other_finger": 0}
    for asked in (True, False):
        yield "hold_short", {"held_s": 0.62, "least_hold_s": 1.0, "asked": asked}


TABLE = [*intervals(), *others()]


def said() -> Iterator[tuple[str, dict[str, Any], str, str]]:
    for (code, params), (reader, player) in product(TABLE, READERS.items()):
        yield code, params, reader, render(code, params, player)


def test_the_table_holds_every_code_and_thousands_of_sentences():
    assert {code for code, _ in TABLE} == {*MARK_CODES, *REMARK_CODES}
    assert len(TABLE) > 5_000


def test_every_sentence_is_plain_and_short_and_whole():
    for code, params, _, text in said():
        assert 20 < len(text) <= LONGEST, (code, params, text)
        assert text.endswith("."), text
        assert text[0].isupper(), text
        assert not JARGON.search(text), text
        assert not re.search(r"!|\s\s|\s[.,;:]|\.\.|[−-]0\b", text), text
        assert all(part[:1].isupper() for part in re.findall(r"\. (\S+)", text)), text


def test_millimetres_stand_for_a_pupil_without_plus_or_minus_and_with_a_direction():
    seen = set()
    for _, _, _, text in said():
        assert not re.search(r"±[^.;,]*mm|\d\.\d+ mm", text), text
        for way in re.findall(r"((?:about \d+|less than 1) mm[^.,]{0,24})", text):
            seen.add(re.match(r"(about \d+|less than 1) mm towards the (scroll|bridge)", way))
    assert seen
    assert None not in seen


def test_cents_have_their_uncertainty_rounded_up():
    texts = [text for code, _, _, text in said() if code.startswith("interval")]
    assert all(re.search(r": (?:18|40) ± 2 cents (?:wide|narrow|apart)", text) for text in texts)


def test_lower_is_towards_the_scroll_and_higher_towards_the_bridge():
    found = set()
    for _, _, _, text in said():
        found |= set(re.findall(r"(lower|higher), (towards the \w+)", text))
    assert found == {("lower", "towards the scroll"), ("higher", "towards the bridge")}


def test_what_is_asked_makes_the_interval_truer():
    """Wide: the upper note goes lower, or the lower one higher; narrow: the other way about."""
    for _, params in intervals():
        text = render("interval_wide", params)
        is_wide = params["deviation_cents"] > 0
        for which, way in re.findall(
            r"[Bb]ring the (upper|lower) (?:one|note) (?:a little )?(\w+)", text
        ):
            assert way == ("lower" if (which == "upper") == is_wide else "higher"), text
        for finger, way in re.findall(
            r"(first|fourth) finger(?: on the \w string)?(?: can move)?"
            r" (?:about \d mm|less than 1 mm|a little) towards the (\w+)",
            text,
        ):
            is_upper = finger == "fourth"
            if not params.get("one_finger"):
                assert way == ("scroll" if is_upper == is_wide else "bridge"), text


def test_an_open_string_is_never_asked_to_move():
    for _, params in intervals():
        text = render("interval_wide", params)
        if params["move"] == "neither":
            assert "tune them" in text
            assert "towards" not in text
        if params.get("open"):
            still = "lower" if params["move"] == "upper" else "upper"
            assert not re.search(rf"bring the {still}", text), text
            assert f"is the open {params['open']}" in text


def test_each_interval_class_gets_its_own_advice():
    wide = {"deviation_cents": 18.4, "uncertainty_cents": 0.6}
    narrow = wide | {"deviation_cents": -18.4}
    says = {short: render("interval_wide", {**wide, "interval": short}) for short in INTERVALS}
    turns = [short for short, text in says.items() if "lies across both strings, turn it" in text]
    assert turns == ["P5"]
    assert [short for short, text in says.items() if "two notes together" in text] == ["P1"]
    says = {short: render("interval_narrow", {**narrow, "interval": short}) for short in INTERVALS}
    assert [s for s, text in says.items() if "Do not force the reach." in text] == ["m10", "M10"]
    assert not any("root" in text for text in says.values())


def test_a_unison_has_no_lower_note_beside_an_open_string():
    for _, params in intervals():
        if params["interval"] == "P1" and params.get("open"):
            assert "One of the two notes is the open" in render("interval_wide", params)


def test_one_finger_on_two_strings_is_never_asked_to_move_on_one_of_them():
    for _, params in intervals():
        if params.get("one_finger") and params.get("because") != "slipped" and params["moves"]:
            text = render("interval_wide", params)
            is_told = "tune it first" in text or "turn" in text
            assert is_told, text
            assert "can move" not in text


def test_a_guardian_is_never_addressed_as_the_pupil():
    named = 0
    for _, _, reader, text in said():
        if reader == "guardian":
            assert not YOU.search(text), text
            named += PLAYER in text
        else:
            assert PLAYER not in text
    assert named


@pytest.mark.parametrize("fingers", [(), (0, 0)])
def test_two_open_strings_are_tuned_and_neither_is_moved(fingers):
    score = ExpectedNote(pitches=("G3", "D4"), strings=(4, 3) if fingers else (), fingers=fingers)
    [mark] = judge(Clip().pair("G3", "D4", 22).done(), Policy(), [score]).marks
    assert mark.params["move"] == "neither"
    assert mark.sentence.endswith("Both notes are open strings: tune them, then play this again.")
    assert "moves" not in mark.params


def test_a_note_that_moves_and_may_be_an_open_string_is_said_to_be_tuned_then():
    clip = Clip(source="open_strings").pair("D4", "B4", 30, low_off=-30)
    [mark] = judge(clip.done(), Policy()).marks
    assert mark.params["move"] == "lower"
    assert mark.params["maybe_open"] == ["D"]
    assert mark.sentence.endswith("If it is the open D, tune that string.")
