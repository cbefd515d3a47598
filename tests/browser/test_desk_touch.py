"""A whole review on a tablet, by touch alone."""

import pytest
from playwright.sync_api import expect

from studio.review.models import Comment, Decision, Return
from tests.browser.at_desk import (  # noqa: F401
    LENGTH_S,
    PHONE,
    TABLET,
    clip,
    comes_true,
    folder,
    opened,
    said,
    sent,
)
from tests.cast import make_drill
from tests.review.heard_clip import review_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LEAST_PX = 44
IN_VIEW = """(name) => {
  const box = document.querySelector(`[aria-label="${name}"]`).getBoundingClientRect();
  const { left, right, top, bottom } = box;
  const at = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
  const seen = top >= 0 && bottom <= innerHeight && left >= 0 && right <= innerWidth;
  return seen && at?.closest("button")?.ariaLabel === name ? Math.round(box.height) : 0;
}"""
BAR = ("Previous mark", "Next mark", "Keep this mark", "Drop this mark")


def drag(page, start: float, end: float) -> None:
    """A finger over the picture, from one share of its width to another."""
    box = page.locator("sound-picture .over").bounding_box()
    y = box["y"] + box["height"] / 2
    touch = page.context.new_cdp_session(page)
    steps = [start + (end - start) * n / 6 for n in range(7)]
    for kind, share in [("touchStart", start), *(("touchMove", step) for step in steps)]:
        point = {"x": box["x"] + box["width"] * share, "y": y}
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [point]})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    # Chromium takes a tap that follows a swipe within a few frames as the end of the swipe.
    page.wait_for_timeout(400)


def test_a_whole_review_by_touch(cast, clip, opened):
    make_drill(cast.teacher, cast.studio, "Octaves, slowly")
    page = opened(cast.teacher, clip, TABLET, has_touch=True)
    button = lambda name: page.get_by_role("button", name=name, exact=True)  # noqa: E731
    button("Play").tap()
    comes_true(page, "!document.querySelector('video').paused")
    button("Pause").tap()
    for name, choice in (("Keep this mark", "Kept."), ("Drop this mark", "Dropped.")):
        button("Next mark").tap()
        assert all(page.evaluate(IN_VIEW, each) >= LEAST_PX for each in BAR)
        button(name).tap()
        expect(said(page)).to_have_text(choice)
    button("Previous mark").tap()
    page.locator("#edit-mark-0 summary").tap()
    page.locator("#edit-mark-0 textarea").fill("Lean the fourth finger back.")
    page.locator("#edit-mark-0").get_by_role("button", name="Keep in these words").tap()
    expect(page.locator("[data-mark='0'] .sentence")).to_have_text("Lean the fourth finger back.")

    drag(page, 0.3, 0.4)
    span = [0.3 * LENGTH_S, 0.4 * LENGTH_S]
    comes_true(page, "document.querySelector('sound-picture').span !== null")
    assert page.evaluate("document.querySelector('sound-picture').span") == pytest.approx(
        span, abs=0.1
    )
    button("loop").tap()
    now = "document.querySelector('video').currentTime"
    comes_true(page, f"{now} > {span[1] - 0.4} && {now} < {span[1] + 0.5}")
    comes_true(page, f"{now} >= {span[0] - 0.1} && {now} < {span[0] + 0.5}")
    button("Pause").tap()
    page.locator("#composer textarea").tap()
    page.locator("#composer textarea").fill("These two in one bow.")
    button("Add comment").tap()
    expect(said(page)).to_have_text("Comment added.")

    page.locator("#drills select").first.select_option(label="Octaves, slowly")
    page.locator("#drills form button[type='submit']").first.tap()
    expect(said(page)).to_contain_text("is set with this clip")
    sent(page)
    button("Preview and return").last.tap()
    page.wait_for_url("**/preview/")
    page.get_by_role("button", name="Return to").tap()
    page.wait_for_url("**/waiting/")

    assert list(Decision.objects.order_by("start_s").values_list("choice", "words")) == [
        ("kept", "Lean the fourth finger back."),
        ("dropped", ""),
    ]
    comment = Comment.objects.get()
    assert [comment.start_s, comment.end_s] == pytest.approx(span, abs=0.1)
    assert review_of(clip).drills_set.get().version.title == "Octaves, slowly"
    assert Return.objects.get().review.clip == clip


def test_on_a_phone_the_marks_are_decided_at_the_foot_of_the_screen(cast, clip, opened):
    page = opened(cast.teacher, clip, PHONE, has_touch=True)
    page.get_by_role("button", name="Next mark", exact=True).tap()
    assert all(page.evaluate(IN_VIEW, each) >= LEAST_PX for each in BAR)
