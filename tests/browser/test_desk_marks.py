"""Marks as proposals in a real browser: by hand, by kind and by tolerance; returning and back."""

import pytest
from playwright.sync_api import expect

from studio.review import phrases
from studio.review.models import Comment, Decision, HandMark, Return, Review
from tests.browser.at_desk import (  # noqa: F401 (the first three are fixtures)
    clip,
    comes_true,
    folder,
    opened,
    said,
    sent,
)
from tests.cast import make_clip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_marks_by_keyboard_by_hand_by_kind_and_by_tolerance(cast, clip, opened):
    page = opened(cast.teacher, clip)
    keys = page.keyboard
    keys.press("n")
    expect(page.locator("[data-mark='0']")).to_be_focused()
    keys.press("h")
    expect(said(page)).to_have_text("The target: octave B♭3–B♭4.")
    assert page.evaluate("document.querySelector('video').paused")
    keys.press("Escape")
    page.evaluate("document.querySelector('clip-player').seek(1)")
    comes_true(page, "!document.querySelector('video').seeking")
    page.evaluate("document.activeElement.blur()")
    keys.press("m")
    keys.type("The thumb, softly.")
    keys.press("Control+Enter")
    expect(said(page)).to_have_text("Mark added.")
    mark = HandMark.objects.get()
    assert (mark.start_s, mark.end_s) == pytest.approx((0.5, 1.5), abs=0.02)
    expect(page.locator(f"#hand-{mark.pk}")).to_contain_text("The thumb, softly.")
    keys.press("Escape")

    keys.press("g")
    page.locator("#kinds").get_by_role("button", name="Drop all wide octaves").click()
    expect(said(page)).to_contain_text("dropped: wide octaves.")
    dropped = Decision.objects.filter(choice="dropped").count()
    assert dropped
    page.get_by_role("button", name="Take that back").click()
    expect(said(page)).to_have_text(f"{dropped} taken back.")
    assert not Decision.objects.exists()

    keys.press("Escape")
    keys.press("o")
    page.locator("#tolerance-perfect").fill("45")
    expect(page.locator("output.tried")).to_contain_text("no marks instead of")
    keys.press("Enter")
    expect(said(page)).to_have_text("Judged anew: no marks.")
    expect(page.locator("[data-mark]")).to_have_count(1)  # the one by hand
    assert Review.objects.get(clip=clip).tolerance_cents["perfect"] == 45


def test_a_decision_shows_at_once_and_is_kept_until_the_server_has_it(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.keyboard.press("n")
    keep = page.locator("#keep-0")
    to_log_in = {"status": 302, "headers": {"location": "/log-in/"}}
    page.route("**/marks/0/", lambda route: route.fulfill(**to_log_in))
    page.keyboard.press("k")
    expect(keep).to_have_attribute("aria-pressed", "true")
    expect(page.locator(".held")).to_contain_text("You were logged out. What you did is kept")
    page.unroute("**/marks/0/")
    page.context.set_offline(True)
    page.evaluate("dispatchEvent(new Event('focus'))")
    expect(said(page)).to_contain_text("Not sent yet")
    assert not Decision.objects.exists()
    page.context.set_offline(False)
    sent(page)
    expect(page.locator(".held")).to_have_count(0)
    assert Decision.objects.get().choice == "kept"


def test_a_phrase_by_keys_is_filled_in_and_what_is_missing_is_selected(cast, clip, opened):
    phrases.add(cast.teacher, cast.studio, "bow", "Slower.")
    phrases.add(cast.teacher, cast.studio, "left_hand", "{interval} {side}: move by {mm}.")
    page = opened(cast.teacher, clip)
    keys = page.keyboard
    keys.press("n")
    keys.press("q")
    dialog = page.get_by_role("dialog", name="Phrases")
    expect(dialog.get_by_role("link", name="Slower.")).to_be_focused()
    keys.press("2")
    expect(dialog).to_be_hidden()
    text = page.locator("#composer textarea")
    expect(text).to_be_focused()
    expect(text).to_have_value("Octave wide: move by ….")
    keys.type("a hair")  # in place of what was missing
    expect(text).to_have_value("Octave wide: move by a hair.")
    keys.press("Control+Enter")
    expect(said(page)).to_have_text("Comment added.")
    comment = Comment.objects.get()
    mark = page.locator("[data-mark='0']")
    assert comment.kind == "left_hand"
    assert comment.start_s == pytest.approx(float(mark.get_attribute("data-start")), abs=0.01)

    keys.press("Escape")
    page.get_by_role("link", name="Phrases", exact=True).click()
    expect(dialog.get_by_role("link", name="Slower.")).to_be_focused()
    keys.press("ArrowDown")
    keys.press("Escape")
    expect(dialog).to_be_hidden()
    assert page.url.endswith(f"/clips/{clip.pk}/"), "the link opens the shelf in the page"


def test_a_return_by_keys_is_proposed_sent_and_taken_back(cast, clip, opened):
    cast.studio.return_delay_min = 10
    cast.studio.save()
    make_clip(cast.other_enrolment, "Next one", has_audio=True, duration_s=9.0)
    page = opened(cast.teacher, clip)
    keys = page.keyboard
    keys.press("n")
    keys.press("k")
    page.get_by_role("button", name="Propose a summary").click()
    box = page.locator("#summary textarea")
    expect(box).not_to_be_empty()
    proposed = box.input_value()
    keys.press("Escape")
    keys.press("r")
    expect(page.get_by_role("heading", name="What Mira Sandholm will see")).to_be_visible()
    expect(page.get_by_role("button", name="Return to Mira Sandholm")).to_be_focused()
    keys.press("Enter")
    expect(page.get_by_role("heading", name="Jonas Weidegger")).to_be_visible()
    assert Return.objects.get().snapshot["summary"] == proposed
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    keys.press("t")
    expect(page.get_by_role("heading", name="Mira Sandholm")).to_be_visible()
    expect(page.locator(".messages")).to_contain_text("Taken back.")
    assert not Return.objects.exists()
    expect(page.locator("#summary textarea")).to_have_value(proposed)


def test_the_waiting_list_by_keyboard(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.goto("/waiting/")
    keys = page.keyboard
    keys.press("ArrowDown")
    expect(page.locator(f"#clip-{clip.pk}")).to_be_focused()
    keys.press("t")
    expect(page.get_by_text("Yours to answer", exact=True)).to_be_visible()
    keys.press("ArrowDown")
    keys.press("z")
    expect(page.get_by_text("1 clip rests")).to_be_visible()
    assert Review.objects.get(clip=clip).taken_by == cast.teacher
