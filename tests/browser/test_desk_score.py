"""The drill's page on the desk: point at a note, and its row shows; at a row, and its note does."""

import re

import pytest
from playwright.sync_api import expect

from studio.drills import services as drills
from studio.notation import Request, generate
from studio.review.waiting.submissions import begin_review
from tests.cast import as_person, set_for
from tests.review.heard_clip import heard_clip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def page(cast, chromium, live_server):
    score = generate(
        Request(key="C major", interval="octaves", direction="up", manner="together", start=1)
    )
    drill = drills.add_drill(
        cast.studio, cast.teacher, title="C major", words="Slowly", score=score.to_dict()
    )
    clip = heard_clip(cast.enrolment)
    begin_review(clip, set_for(cast.enrolment, drill))
    context = chromium.new_context(
        viewport={"width": 1440, "height": 900}, base_url=live_server.url
    )
    for name, morsel in as_person(cast.teacher).cookies.items():
        context.add_cookies([{"name": name, "value": morsel.value, "url": live_server.url}])
    opened = context.new_page()
    opened.goto(f"/clips/{clip.pk}/")
    expect(opened.locator("clip-desk")).to_have_attribute("data-ready", "")
    yield opened
    context.close()


def note(page, ref: str):
    return page.locator(f".desk-score .written[data-ref='{ref}']")


def test_a_note_shows_its_row_and_a_row_its_note(page):
    note(page, "n2").click()
    expect(page.locator(".block[data-ref='n2'] .head")).to_have_class("head in_tune pointed")
    expect(page.locator(".now")).to_have_text("0:12.0")
    page.locator(".block[data-ref='n3'] .head").hover()
    expect(note(page, "n3").locator(".pointed-at")).to_have_count(1)
    expect(page.locator(".pointed-at")).to_have_count(1)


def test_arrows_walk_from_note_to_note_and_do_not_move_the_clip_besides(page):
    note(page, "n1").focus()
    page.keyboard.press("ArrowRight")
    expect(note(page, "n2")).to_be_focused()
    expect(page.locator(".block[data-ref='n2'] .head.pointed")).to_have_count(1)
    expect(page.locator(".now")).to_have_text("0:12.0")


def test_a_note_that_was_not_played_says_so(page):
    note(page, "n5").click()
    expect(page.locator("#said")).to_have_text("This note was not played.")
    expect(page.locator(".pointed")).to_have_count(0)


def test_a_comment_on_the_chosen_note(page):
    note(page, "n2").click()
    page.keyboard.press("y")
    page.keyboard.type("Lighter, please.")
    page.keyboard.press("Control+Enter")
    expect(page.locator("#said")).to_have_text("Comment added.")
    expect(page.locator(".block[data-ref='n2'] .comment")).to_contain_text("On D4 and D5 together")


def test_a_bar_is_said_by_key_and_a_press_on_its_note(page):
    row = page.locator(".block[data-ref='n2'] .head")
    row.focus()
    page.keyboard.press("Shift+B")
    expect(page.locator("#pin-bar")).to_be_focused()
    expect(page.locator("#pin-form [name$=start_s]")).to_have_value("0:12.00")
    note(page, "n3").click()
    expect(page.locator("#pin-bar")).to_have_value("3")
    page.keyboard.press("Enter")
    expect(page.locator("#pin-list")).to_contain_text("0:12.0 is bar 3")
    expect(note(page, "n2")).to_have_accessible_name(re.compile("only its notes one by one"))
    page.get_by_role("button", name="Take away").click()
    expect(page.locator("#pin-list li")).to_have_count(0)
    expect(note(page, "n2")).to_have_accessible_name(re.compile("last 2 ± 1 cents wide"))
