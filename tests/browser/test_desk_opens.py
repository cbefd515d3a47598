"""What the desk shows on opening, and where a decision leads: at the sizes teachers work at."""

import pytest
from playwright.sync_api import Locator, Page, expect

from studio.drills import services as drills
from studio.notation import Request, generate
from studio.review.marks.judging import judged
from studio.review.models import DeskKeys
from studio.review.waiting.submissions import begin_review
from tests.browser.at_desk import (  # noqa: F401 (fixtures, and what they need)
    DESK,
    LENGTH_S,
    MARKED_S,
    PHONE,
    SAMPLE,
    TABLET,
    WAIT_S,
    clip,
    comes_true,
    folder,
    keep,
    opened,
    plays,
    said,
    seconds,
    sent,
)
from tests.browser.at_speed import NOTES, marked, press  # noqa: F401 (fixture)
from tests.cast import make_clip, set_for
from tests.deploy.processes import until
from tests.review.heard_clip import listen_again, measurement, review_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LYING = {"width": 1180, "height": 820}
LEAST_PICTURE_PX = 480
# Whether all of an element can be seen: inside the window, and nothing lies over its corners.
IN_SIGHT = """(one) => {
  const { left, right, top, bottom } = one.getBoundingClientRect();
  const within = top >= 0 && left >= 0 && bottom <= innerHeight && right <= innerWidth;
  const free = (y) => one.contains(document.elementFromPoint((left + right) / 2, y));
  return within && free(top + 3) && free(bottom - 3);
}"""


def choices(clip) -> list[str]:
    return [mark.choice for mark in judged(review_of(clip)).marks]


def comes_in_sight(one: Locator) -> None:
    until(lambda: one.evaluate(IN_SIGHT), WAIT_S, f"{one} in sight")


def selected(page: Page):
    return page.locator("[data-about][data-selected]")


def strip(page: Page):
    return page.locator("#strip")


@pytest.mark.parametrize("size", [DESK, LYING, TABLET], ids=["1440", "1180", "820"])
def test_the_first_mark_is_selected_and_can_be_decided_at_once(cast, clip, opened, size):
    page = opened(cast.teacher, clip, size)
    expect(selected(page)).to_have_attribute("data-mark", "0")
    for part in ("[data-decide='keep']", "[data-decide='drop']", ".edit summary"):
        comes_in_sight(selected(page).locator(part))
    assert strip(page).evaluate(IN_SIGHT)
    for part in ("clip-player video", "sound-picture"):
        assert page.locator(part).bounding_box()["width"] >= LEAST_PICTURE_PX
        assert page.locator(part).evaluate(IN_SIGHT)


def test_on_a_phone_the_strip_is_in_sight(cast, clip, opened):
    page = opened(cast.teacher, clip, PHONE)
    assert strip(page).evaluate(IN_SIGHT)


def test_the_strip_says_which_mark_and_what_was_decided(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    expect(strip(page)).to_have_text("Mark 1 of 6. 6 to decide")
    page.keyboard.press("k")
    expect(strip(page)).to_have_text("Mark 2 of 6. 5 to decide")
    page.keyboard.press("p")
    expect(strip(page)).to_have_text("Mark 1 of 6: kept. 5 to decide")


def test_a_decision_goes_on_to_the_next_open_mark_which_is_in_sight(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    press(page, "kdkkdk", 20)
    sent(page)
    assert choices(marked) == ["kept", "dropped", "kept", "kept", "dropped", "kept"]
    expect(selected(page)).to_have_attribute("data-mark", "5")
    expect(strip(page)).to_have_text("Mark 6 of 6: kept. All are decided")
    comes_in_sight(selected(page).locator("[data-decide='keep']"))


def test_next_is_the_mark_that_nobody_has_heard_yet(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    press(page, "nknnk", 20)  # the first, kept; the second is passed over; the third, kept
    sent(page)
    assert choices(marked)[:4] == ["kept", "", "kept", ""]
    expect(selected(page)).to_have_attribute("data-mark", "3")


def test_playing_stops_before_the_next_mark_begins(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.keyboard.press("n")
    comes_true(page, "!document.querySelector('video').paused")
    page.keyboard.press("k")
    expect(selected(page)).to_have_attribute("data-mark", "1")
    assert seconds(page) < MARKED_S[0] + 2, "what plays goes on"
    comes_true(page, "document.querySelector('video').paused")
    assert MARKED_S[1] - 0.5 < seconds(page) < MARKED_S[1]
    page.keyboard.press("Space")
    comes_true(page, f"document.querySelector('video').currentTime > {MARKED_S[1]}")
    assert plays(page)


def test_a_press_on_a_rows_button_leaves_the_page_where_it_is(cast, clip, opened):
    page = opened(cast.teacher, clip)
    before = page.evaluate("scrollY")
    page.locator("[data-mark='0'] [data-decide='keep']").click()
    expect(selected(page)).to_have_attribute("data-mark", "1")
    expect(page.locator("#keep-0")).to_be_focused()
    assert page.evaluate("scrollY") == before


def test_whether_a_decision_goes_on_is_the_teachers_to_choose(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.keyboard.press("?")
    box = page.get_by_label("After keep or drop, go on to the next mark")
    expect(box).to_be_checked()
    box.uncheck()
    expect(page.locator(".keys-said")).to_have_text("A decision stays at its mark.")
    assert DeskKeys.objects.get(person=cast.teacher).goes_on is False
    page.keyboard.press("Escape")
    page.keyboard.press("k")
    expect(selected(page)).to_have_attribute("data-mark", "0")
    page.reload()
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    page.keyboard.press("p")
    page.keyboard.press("d")
    sent(page)
    expect(selected(page)).to_have_attribute("data-mark", "0")
    assert choices(clip) == ["dropped", ""]


@pytest.fixture
def written(cast):
    """A clip with six marks, one after the other, that answers a drill with a page."""
    made = make_clip(cast.enrolment, "Octaves", has_audio=True, duration_s=LENGTH_S)
    played = tuple((note, 1.0 + 2.0 * n, (40.0 + n,)) for n, note in enumerate(NOTES))
    listen_again(made, measurement(played, LENGTH_S))
    keep(made, "playable", "video/mp4", ".mp4", SAMPLE.read_bytes())
    score = generate(
        Request(key="C major", interval="octaves", direction="up", manner="together", start=1)
    )
    words = {"title": "C major in octaves", "words": "Slowly"}
    drill = drills.add_drill(cast.studio, cast.teacher, score=score.to_dict(), **words)
    begin_review(made, set_for(cast.enrolment, drill))
    return made


@pytest.mark.parametrize("size", [DESK, LYING, TABLET], ids=["1440", "1180", "820"])
def test_with_a_page_too_and_recording_and_strip_stay_in_sight(cast, written, opened, size):
    page = opened(cast.teacher, written, size)
    for part in ("[data-decide='keep']", "[data-decide='drop']", ".edit summary"):
        comes_in_sight(selected(page).locator(part))
    assert page.locator("clip-player video").bounding_box()["width"] >= LEAST_PICTURE_PX
    press(page, "nnnnn", 20)
    expect(selected(page)).to_have_attribute("data-mark", "4")
    for part in (selected(page).locator("[data-decide='keep']"), strip(page)):
        comes_in_sight(part)
    for part in ("clip-player video", "sound-picture"):
        comes_in_sight(page.locator(part))


@pytest.mark.parametrize("size", [DESK, LYING, TABLET, PHONE], ids=["1440", "1180", "820", "390"])
def test_what_is_said_covers_neither_the_comment_nor_its_button(cast, clip, opened, size):
    page = opened(cast.teacher, clip, size)
    page.keyboard.press("c")
    page.keyboard.type("More arm.")
    page.keyboard.press("Escape")
    page.keyboard.press("r")
    expect(said(page)).to_contain_text("There is a comment that is not added yet.")
    over = """([one, other]) => {
      const [a, b] = [one, other].map((css) => document.querySelector(css).getBoundingClientRect());
      return a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
    }"""
    for part in ("#composer textarea", "#composer button.main"):
        comes_true(page, f"!({over})(['#said', '{part}'])")
