"""Where the focus goes at the desk, by its keys; and that the page stands still meanwhile.

All of it while whatever is posted arrives 200 ms late.
"""

import pytest
from playwright.sync_api import Page, expect

from studio.review.models import Review
from tests.browser.at_desk import (  # noqa: F401 (fixtures, and what they need)
    clip,
    comes_true,
    folder,
    said,
    seconds,
    sent,
)
from tests.browser.at_desk import opened as at_once  # noqa: F401 (a fixture)
from tests.browser.at_speed import slow
from tests.cast import make_clip, make_drill
from tests.review.heard_clip import heard_clip, listen_again, measurement, review_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

HELD = "(({ id, name, tagName }) => id || name || tagName)(document.activeElement)"
DOUBLED = """() => {
  const ids = [...document.querySelectorAll("[id]")].map(({ id }) => id);
  return ids.filter((id, n) => ids.indexOf(id) !== n);
}"""
MANY = tuple((f"{'CDEFGA'[n % 6]}4", 1.6 + 6.0 * n, (40.0 + n,)) for n in range(20))


@pytest.fixture
def opened(at_once):
    """A page over a line that is slow."""

    def late(*args, **options) -> Page:
        page = at_once(*args, **options)
        slow(page)
        return page

    return late


def held(page: Page) -> str:
    return page.evaluate(HELD)


def resting(page: Page, place: str) -> None:
    """The page has come to rest after it was scrolled."""
    before = None
    while (now := page.evaluate(place)) != before:
        before = now
        page.wait_for_timeout(250)


def test_no_id_is_there_twice(cast, clip, opened):
    make_drill(cast.teacher, cast.studio, "Octaves, slowly")
    assert opened(cast.teacher, clip).evaluate(DOUBLED) == []


def test_setting_a_drill_by_keys(cast, clip, opened):
    make_drill(cast.teacher, cast.studio, "Octaves, slowly")
    page = opened(cast.teacher, clip)
    keys = page.keyboard
    keys.press("n")
    keys.press("a")
    assert page.evaluate("document.activeElement.name") == "drill"
    keys.press("Escape")
    assert held(page) == "mark-0"
    keys.press("a")
    keys.type("Octaves")
    keys.press("Control+Enter")
    expect(page.locator("#drills .drill")).to_contain_text("Octaves, slowly")
    sent(page)
    assert review_of(clip).drills_set.count() == 1


def test_a_span_is_chosen_by_keys_and_shown(cast, clip, opened):
    page = opened(cast.teacher, clip)
    keys = page.keyboard
    keys.press("Shift+X")
    expect(said(page)).to_contain_text("Begin a span first")
    keys.press("Shift+ArrowRight")
    keys.press("x")
    expect(page.locator(".span-said")).to_have_text("0:05.00–")
    keys.press("ArrowRight")
    keys.press("Shift+X")
    expect(page.locator(".span-said")).to_have_text("0:05.00–0:06.00")
    assert page.evaluate("document.querySelector('sound-picture').span") == [5, 6]
    keys.press("ArrowRight")
    keys.press("Shift+X")
    expect(page.locator(".span-said")).to_have_text("0:05.00–0:07.00")
    keys.press("Shift+C")
    assert page.locator("#composer [name='end_s']").input_value() == "0:07.00"
    keys.press("Escape")
    keys.press("Escape")
    expect(page.locator(".span-said")).to_have_text("")


def test_panels_open_over_a_page_that_stands_still_and_esc_closes_them(cast, opened):
    long = make_clip(cast.enrolment, "Octaves", has_audio=True, duration_s=130.0)
    listen_again(long, measurement(MANY, 130.0))
    page = opened(cast.teacher, long, playable=False)
    keys = page.keyboard
    for _ in range(12):
        keys.press("n")
    place = "document.querySelector('[data-selected]').getBoundingClientRect().top"
    comes_true(page, f"scrollY > 300 && {place} < innerHeight")
    resting(page, place)
    for key, panel in (("o", "#tolerance"), ("g", "#kinds"), ("m", "#add-mark")):
        before = page.evaluate(place)
        keys.press(key)
        expect(page.locator(f"{panel} .panel")).to_be_in_viewport()
        assert page.evaluate(f"document.querySelector('{panel}').contains(document.activeElement)")
        assert page.evaluate(place) == pytest.approx(before, abs=1)
        keys.press("Escape")
        expect(page.locator(f"{panel} .panel")).to_be_hidden()
        assert page.evaluate("document.activeElement.hasAttribute('data-selected')")
        assert page.evaluate(place) == pytest.approx(before, abs=1)
    keys.press("e")
    keys.press("Escape")
    assert page.locator("details.edit[open]").count() == 0


def test_the_keys_are_read_before_one_is_changed(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.keyboard.press("?")
    expect(page.locator("#keys-title")).to_be_focused()


def test_she_goes_on_where_she_was(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.keyboard.press("n")
    page.keyboard.press("n")
    page.keyboard.press("Space")
    comes_true(page, "document.querySelector('video').paused")
    at = seconds(page)
    page.keyboard.press("r")
    page.get_by_role("link", name="Go on reviewing").click()
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    expect(page.locator("[data-selected]")).to_have_attribute("data-mark", "1")
    comes_true(page, f"Math.abs(document.querySelector('video').currentTime - {at}) < 0.1")


def test_after_a_clip_is_let_rest_the_keys_go_on_at_the_next(cast, clip, opened):
    others = [heard_clip(cast.enrolment, f"Number {n}") for n in range(2)]
    page = opened(cast.teacher, clip)
    page.goto("/waiting/")
    page.keyboard.press("ArrowDown")
    first = held(page)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("z")
    expect(page.get_by_text("1 clip rests")).to_be_visible()
    comes_true(page, "document.activeElement.id.startsWith('clip-')")
    assert held(page) in {f"clip-{each.pk}" for each in (clip, *others)} - {first}
    page.keyboard.press("t")
    expect(page.get_by_text("Yours to answer", exact=True)).to_be_visible()
    comes_true(page, "document.activeElement.id.startsWith('clip-')")
    assert Review.objects.exclude(snoozed_until=None).count() == 1
