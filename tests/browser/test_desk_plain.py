"""A clip without double stops opens on the picture and the comment; the ledger is folded."""

import pytest
from playwright.sync_api import expect

from tests.browser.at_desk import (  # noqa: F401
    DESK,
    PHONE,
    SAMPLE,
    clip,
    folder,
    keep,
    opened,
    said,
)
from tests.cast import as_person, make_clip
from tests.review.heard_clip import listen_again, measurement

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def tune(cast):
    """Two notes, one after the other."""
    made = make_clip(cast.enrolment, "A tune", has_audio=True, duration_s=13.4, frame_rate=15.0)
    stored = measurement((("Bb3", 2.75, (2.0,)),), 13.4)
    stored["events"] = [event for event in stored["events"] if event["kind"] == "single"]
    listen_again(made, stored)
    keep(made, "playable", "video/mp4", ".mp4", SAMPLE.read_bytes())
    return made


@pytest.mark.parametrize("viewport", [DESK, PHONE])
def test_it_opens_on_picture_and_comment(cast, tune, opened, viewport):
    page = opened(cast.teacher, tune, viewport)
    expect(page.get_by_text("No double stops in this clip. 2 notes were heard.")).to_be_visible()
    expect(page.locator("#blocks")).to_be_hidden()
    video, composer = page.locator("video"), page.locator("#composer textarea")
    assert video.bounding_box()["width"] > 0.45 * viewport["width"]
    composer.scroll_into_view_if_needed()
    ledger = page.locator("clip-ledger").bounding_box()
    if viewport is PHONE:
        assert composer.bounding_box()["y"] < ledger["y"]
    else:
        assert page.evaluate("scrollY") == 0, "the comment is in the first view"
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]


def test_a_question_opens_plain_and_selects_no_mark_that_is_folded(cast, clip, opened):
    clip.subject = "question"
    clip.save(update_fields=["subject"])
    page = opened(cast.teacher, clip)
    expect(page.locator("#counts")).to_contain_text("2 marks: 2 to decide")
    expect(page.locator("#blocks")).to_be_hidden()
    expect(page.locator("[data-selected]")).to_have_count(0)
    page.keyboard.press("k")
    expect(said(page)).to_contain_text("No mark is selected")
    page.keyboard.press("n")
    expect(page.locator("[data-mark='0']")).to_be_focused()
    expect(page.locator("[data-mark='0']")).to_be_in_viewport()
    page.keyboard.press("k")
    expect(said(page)).to_have_text("Kept.")


def test_the_ledger_opens_by_a_press_and_once_there_is_a_comment(cast, tune, opened):
    page = opened(cast.teacher, tune)
    summary = page.locator("#ledger-fold > summary")
    summary.click()
    expect(page.locator("#blocks")).to_be_visible()
    summary.click()
    expect(page.locator("#blocks")).to_be_hidden()
    page.locator("#desk").focus()
    page.keyboard.press("c")
    page.keyboard.type("Round the little finger.")
    page.keyboard.press("Control+Enter")
    expect(said(page)).to_have_text("Comment added.")
    expect(page.locator("#blocks .text", has_text="Round the little finger.")).to_be_visible()
    page.reload()
    expect(page.locator("#blocks .text", has_text="Round the little finger.")).to_be_visible()


def test_a_clip_with_double_stops_has_its_ledger_open(cast, clip):
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()
    assert "ledger-fold" not in page
    assert "No double stops in this clip" not in page


def test_where_nothing_at_all_was_heard_it_says_so_in_the_same_line(cast):
    made = make_clip(cast.enrolment, "Bow hold", has_audio=True)
    listen_again(made, measurement((), 13.4))
    page = as_person(cast.teacher).get(f"/clips/{made.pk}/").content.decode()
    assert "No double stops in this clip. No notes were heard: it may be" in page
