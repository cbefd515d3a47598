"""Engraved pages: whole, named, in the page's own ink, and without a complaint of the engraver."""

import re
from dataclasses import replace
from threading import Thread
from xml.etree import ElementTree

import pytest

from studio.notation import Infeasible, Request, engraving, generate
from studio.notation.engraving import LAYOUTS, Figure, engrave
from studio.notation.musicxml import to_musicxml
from studio.theory import ALL_KEYS

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def score():
    return generate(Request(interval="octaves", key="Bb major", start=1))


def written_groups(page: str) -> list[ElementTree.Element]:
    return [group for group in ElementTree.fromstring(page).iter() if group.get("data-ref")]


@pytest.mark.parametrize("layout", LAYOUTS)
def test_everything_written_is_on_the_page_once_with_its_id_and_name(score, layout):
    groups = [group for page in engrave(score, layout=layout) for group in written_groups(page)]
    assert [group.get("id") for group in groups] == [item.id for item in score.written]
    assert all(group.get("tabindex") == "0" for group in groups)
    assert groups[2].get("aria-label").startswith("Bar 1: B♭3 and B♭4 together, perfect octave")


def test_every_note_has_its_own_id(score):
    (page,) = engrave(score)
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(set(ids)) == len(ids)
    assert {name for item in score.written for name in item.note_ids} <= set(ids)


def test_a_page_has_no_style_sheet_and_no_colour_of_its_own(score):
    (page,) = engrave(score)
    assert "<style" not in page
    assert " style=" not in page
    assert set(re.findall(r'(?:stroke|fill|color)="([^"]+)"', page)) == {"currentColor"}


def test_a_phone_gets_a_narrower_and_longer_page(score):
    def shape(layout):
        return [
            float(x)
            for x in re.search(r'viewBox="([^"]+)"', engrave(score, layout=layout)[0])[1].split()[
                2:
            ]
        ]

    assert shape("phone")[0] < shape("desk")[0]
    assert shape("phone")[1] > shape("desk")[1]


def test_the_same_score_gives_the_same_page(score):
    first = engrave(score)
    engraving._draw.cache_clear()
    assert engrave(score) == first


def test_a_measured_figure_is_written_with_its_lift_above_or_below_the_line(score):
    figures = {"n3": Figure(20.0, "+20 ± 1"), "n6": Figure(-10.0, "−10 ± 2")}
    (page,) = engrave(score, figures=figures)
    groups = {group.get("id"): group for group in written_groups(page)}
    for ref, figure in figures.items():
        assert figure.text in "".join(groups[ref].itertext())
        line, stroke = (float(path.get("d").split()[1]) for path in lift_of(groups[ref]))
        # On the page, up is towards 0.
        assert (stroke < line) == (figure.deviation_cents > 0)
    assert not lift_of(groups["n9"])


def lift_of(group) -> list[ElementTree.Element]:
    lifts = [it for it in group.iter(f"{SVG}g") if it.get("class") == "lift"]
    return list(lifts[0]) if lifts else []


def test_a_long_drill_is_printed_on_several_pages(score):
    bars = len(score.bars)
    long = [
        replace(item, id=f"r{turn}.{item.id}", bar=item.bar + turn * bars)
        for turn in range(6)
        for item in score.written
    ]
    assert len(engrave(score.with_written(long), layout="print")) >= 2
    assert len(engrave(score.with_written(long), layout="desk")) == 1


@pytest.mark.parametrize("key", [str(key) for key in ALL_KEYS])
def test_every_key_is_engraved_without_a_complaint(key, capfd):
    for instrument in ("violin", "viola"):
        for interval in ("thirds", "octaves"):
            try:
                score = generate(Request(interval=interval, key=key, instrument=instrument))
            except Infeasible:
                continue
            (page,) = engrave(score)
            assert len(written_groups(page)) == len(score.written)
    assert capfd.readouterr().err == ""


def test_the_engraver_s_complaints_reach_standard_error(capfd):
    # What the check above relies on.
    document = to_musicxml(generate(Request()))
    slur = "<notations><slur type='stop' number='3'/>"
    engraving._draw(document.replace("<notations>", slur, 1), "desk")
    assert "slur" in capfd.readouterr().err


def test_a_page_names_what_it_does_not_know():
    with pytest.raises(ValueError, match="phone, desk, print"):
        engrave(generate(Request()), layout="poster")


def test_any_thread_engraves(score, capfd):
    """A web server's threads come and go; the one that loaded the engraver is one of many."""
    engrave(score)
    other = generate(Request(key="F# minor", interval="sixths", octaves=1))
    found = []
    thread = Thread(target=lambda: found.extend(engrave(other)))
    thread.start()
    thread.join()
    assert len(found) == 1
    assert capfd.readouterr().err == ""


def test_how_often_and_how_long_stands_over_the_staff_where_it_changes():
    asked = generate(Request(key="G major", direction="up", playings=3, hold_s=4.0))
    last = replace(asked.written[-1], playings=1, hold_s=None)
    (page,) = engrave(asked.with_written([*asked.written[:-1], last]))
    words = re.findall(r">([^<>]*(?:times|once)[^<>]*)<", page)
    assert [word.strip() for word in words if "Bar" not in word] == ["3 times each 4 s", "once"]
