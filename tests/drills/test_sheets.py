"""A score cut into leaves and engraved for phone, desk and lists."""

import re

import pytest

from studio.drills.sheets import LEAF_WRITTEN, incipit, leaf_number, leaves, printed, sheet_of
from studio.notation import Request, generate
from studio.notation.engraving import Figure, engrave

SHORT = generate(Request(key="G major", interval="octaves"))
LONG = generate(Request(key="A major", interval="sixths", octaves=2, playings=3))


def refs(svg: str) -> list[str]:
    return re.findall(r'data-ref="([^"]+)"', svg)


def test_leaves_hold_every_bar_once_and_break_at_bar_lines():
    cut = leaves(LONG, 20)
    assert len(cut) > 3
    assert [item for leaf in cut for item in leaf.written] == list(LONG.written)
    assert all(len(leaf.written) <= 20 for leaf in cut)
    firsts = [leaf.written[0].bar for leaf in cut]
    assert len(set(firsts)) == len(firsts)


def test_a_bar_longer_than_a_leaf_is_one_leaf():
    assert [len(leaf.written) for leaf in leaves(SHORT, 1)] == [3] * 15


@pytest.mark.parametrize("asked", [None, "", "x", "0", "-1", "99", "²", "9" * 99])
def test_a_leaf_that_is_not_there_is_the_nearest_there_is(asked):
    assert leaf_number(asked, 4) in (1, 4)


def test_phone_and_desk_show_the_same_notes_under_ids_that_differ():
    sheet = sheet_of(SHORT)
    phone, desk = sheet.screens
    assert refs(phone.svg) == refs(desk.svg) == [item.id for item in SHORT.written]
    ids = re.findall(r' id="([^"]+)"', phone.svg + desk.svg)
    assert len(ids) == len(set(ids))


def test_the_second_leaf_counts_its_bars_from_where_the_first_ended():
    cut = leaves(LONG, LEAF_WRITTEN // 2)
    assert len(cut) > 1
    (desk,) = [s.svg for s in sheet_of(cut[1]).screens if s.layout == "desk"]
    assert f'aria-label="Bar {cut[1].written[0].bar}: ' in desk
    numbers = re.findall(r'class="mNum [^>]*>.*?>(\d+)</tspan>', desk, re.S)
    assert numbers
    assert int(numbers[0]) == cut[1].written[0].bar


def test_a_figure_and_what_is_said_of_it_stand_by_their_note():
    sheet = sheet_of(SHORT, None, {"n3": Figure(12.0, "+12")}, {"n3": "last 12 ± 1 cents wide"})
    for screen in sheet.screens:
        assert "+12" in screen.svg
        assert "fourth finger" in screen.svg
        assert "; last 12 ± 1 cents wide" in screen.svg


def test_an_incipit_is_a_small_picture_that_nobody_is_led_to():
    svg = incipit(LONG)
    assert 'aria-hidden="true"' in svg
    assert not re.search(r"tabindex|aria-label|data-ref", svg)
    assert len(svg) < 20_000
    used = set(re.findall(r'href="#([^"]+)"', svg))
    assert used
    assert used <= set(re.findall(r' id="([^"]+)"', svg))


def test_paper_is_for_eyes_only():
    assert "tabindex" not in "".join(printed(SHORT))


def test_only_the_last_leaf_ends_with_the_final_bar_line():
    long = generate(Request(key="A major", interval="thirds", octaves=2))
    cut = leaves(long, 45)
    whole = long.with_written(cut[0].written)
    ended, open_ended = (
        engrave(whole, layout="desk", ends=ends)[0].count("<path d=") for ends in (True, False)
    )
    assert ended > open_ended
