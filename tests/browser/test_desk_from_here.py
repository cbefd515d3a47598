"""Drills from here at the desk: by keyboard from a mark, from a written note, and from a span."""

import pytest
from playwright.sync_api import expect

from studio.drills.models import Assignment
from studio.notation import Request, generate
from studio.review.waiting.submissions import begin_review
from tests.browser.at_desk import (  # noqa: F401 (the first three are fixtures)
    clip,
    folder,
    opened,
    said,
)
from tests.cast import make_drill, set_for

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
OCTAVES = Request(key="Bb major", interval="octaves", direction="up", manner="together", start=1)


def test_from_a_mark_by_keyboard_then_from_a_note_and_a_span(cast, clip, opened):
    score = generate(OCTAVES).to_dict()
    drill = make_drill(cast.teacher, cast.studio, "All octaves", key="B♭ major", score=score)
    begin_review(clip, set_for(cast.enrolment, drill))
    page = opened(cast.teacher, clip)
    keys, dialog = page.keyboard, page.locator("dialog.from-here-dialog")
    keys.press("n")
    keys.press("Shift+A")
    expect(dialog.get_by_role("heading", level=2)).to_be_focused()
    reason = "The octave B♭3–B♭4 was 27 ± 1 cents wide at its last playing; 2 of 2 octaves"
    standing = "Stands in Mira Sandholm’s queue since today."
    expect(dialog.locator("article").nth(2)).to_contain_text(reason)
    expect(dialog.locator("article").nth(2)).to_contain_text(standing)
    assert dialog.locator("article svg.engraved").count() == 3
    keys.press("k")  # the desk's keys rest while the dialog is open
    short = dialog.locator("article").first
    expect(short).to_contain_text("together the upper note stood 27 ± 1 cents higher than alone")
    for _ in range(30):
        keys.press("Tab")
        if short.locator("button").evaluate("it => it === document.activeElement"):
            break
    keys.press("Enter")
    expect(said(page)).to_have_text("“The octave B♭3–B♭4” is set with this clip.")
    expect(dialog).to_have_count(0)
    expect(page.locator("[data-mark='0']")).to_be_focused()
    listed = page.locator("#drills .drill")
    expect(listed).to_contain_text("Every note within 15 cents, each played 4 times")
    assert page.locator("[data-mark='0']").get_attribute("data-choice") == ""
    made = Assignment.objects.get(set_in__clip=clip)
    assert made.published_at is None

    page.locator(".desk-score .written[data-ref='n2']").focus()
    keys.press("Shift+A")
    expect(dialog.get_by_role("heading", level=2)).to_have_text("Bar 2")
    keys.press("Escape")
    expect(dialog).to_have_count(0)

    picture = page.locator("sound-picture").bounding_box()
    y = picture["y"] + picture["height"] / 2
    page.mouse.move(picture["x"] + 0.6 * picture["width"], y)
    page.mouse.down()
    page.mouse.move(picture["x"] + 0.95 * picture["width"], y, steps=4)
    page.mouse.up()
    page.get_by_role("button", name="Drill from here").click()
    expect(dialog.get_by_role("heading", level=2)).to_contain_text("From 0:0")
    expect(dialog.locator("article").first).to_contain_text("The octave C4–C5 was 30 ± 1")
    dialog.get_by_role("button", name="Close").click()
    expect(dialog).to_have_count(0)

    page.get_by_text("Drill for a bar").click()
    page.locator("#bars").get_by_role("link", name="Bar 5", exact=True).click()
    expect(dialog).to_contain_text("Nothing here is out of tune by more than the figures can tell.")
    dialog.get_by_role("link", name="Make a drill by hand").click()
    expect(page.locator("select[name='key']")).to_have_value("B♭ major")
