"""Hands faster than the line, in a real browser: the web process answers 200 ms late, and later.

What the page shows in the end is what the database holds and what was pressed; and nothing that an
answer brings moves the focus, the scroll or the selection.
"""

import random

import pytest
from playwright.sync_api import Page, Route, expect

from studio.accounts.models import Person
from studio.review import comments
from studio.review.comments import CommentText, add_comment
from studio.review.marks.judging import judged
from studio.review.models import Comment, Decision
from tests.browser.at_desk import (  # noqa: F401 (fixtures, and what they need)
    DESK,
    LENGTH_S,
    clip,
    comes_true,
    folder,
    opened,
    plays,
    said,
    seconds,
    sent,
)
from tests.browser.at_speed import LONG_S, MARKED, NOTES, marked, press, slow  # noqa: F401 (fixture)
from tests.browser.legible import AXE, EVERY_RULE
from tests.browser.legible import judged as axe
from tests.deploy.processes import until
from tests.review.heard_clip import listen_again, measurement, review_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def choices(clip) -> list[str]:
    return [mark.choice for mark in judged(review_of(clip)).marks]


def shown(page: Page) -> list[str]:
    marks = page.locator("[data-about]")
    return marks.evaluate_all("(all) => all.map(({ dataset }) => dataset.choice)")


def pressed_on(page: Page) -> list[str]:
    """What the buttons of each mark say."""
    return page.locator("[data-about]").evaluate_all(
        """(all) => all.map((mark) => {
          const is = (name) => mark.querySelector(`[data-decide='${name}']`).ariaPressed === "true";
          return is("keep") ? "kept" : is("drop") ? "dropped" : "";
        })"""
    )


def selected(page: Page) -> str | None:
    found = page.locator("[data-selected]")
    return found.get_attribute("data-mark") if found.count() else None


def test_keys_150_ms_apart_keep_four_marks(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    slow(page)
    press(page, "nknknknk", 150)
    assert shown(page) == ["kept"] * 4 + ["", ""], "it is shown before the server has it"
    sent(page)
    assert choices(marked) == shown(page) == pressed_on(page) == ["kept"] * 4 + ["", ""]
    assert selected(page) == "4"


def test_keys_pressed_while_the_page_comes_are_acted_on_in_order(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    held = []
    page.route("**/desk/acts*.js", lambda route: held.append(route))
    page.reload(wait_until="commit")
    expect(page.locator("[data-about]")).to_have_count(len(NOTES))
    press(page, "nnk", 30)
    assert choices(marked) == [""] * len(NOTES)
    page.keyboard.press("?")
    until(lambda: held, 10, "the module that is held back")
    for route in held:
        route.continue_()
    expect(page.locator("key-help dialog")).to_be_visible()
    sent(page)
    assert [at for at, choice in enumerate(choices(marked)) if choice] == [1]


def test_one_key_keeps_every_mark_that_is_left(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    slow(page)
    press(page, "nnnd", 60)
    page.keyboard.press("Shift+K")
    assert shown(page) == (["kept"] * 2 + ["dropped"] + ["kept"] * 3), "at once"
    expect(said(page)).to_have_text("5 kept.")
    sent(page)
    assert choices(marked) == shown(page) == pressed_on(page)
    page.keyboard.press("Shift+K")
    expect(said(page)).to_have_text("No mark is left to decide.")
    page.keyboard.press("z")
    sent(page)
    assert choices(marked) == shown(page) == ["", "", "dropped", "", "", ""]
    assert page.evaluate("document.activeElement.dataset.mark") == "3", "the focus stayed"


class Hands:
    """What keys mean where nothing has to be waited for."""

    def __init__(self, many: int):
        self.at, self.fresh, self.stands, self.done = 0, True, [""] * many, []

    def press(self, keys: str) -> None:
        for key in keys:
            if key in "np":
                here = key == "n" and self.fresh  # where the page has gone by itself
                to = self.at + (0 if here else 1 if key == "n" else -1)
                if 0 <= to < len(self.stands):
                    self.at, self.fresh = to, False
            elif key == "z" and self.done:
                self.fresh = False
                self.at, was = self.done.pop()
                self.stands[self.at] = was
            elif key in "kd":
                self._decide({"k": "kept", "d": "dropped"}[key])

    def _decide(self, choice: str) -> None:
        if self.stands[self.at] != choice:
            self.done.append((self.at, self.stands[self.at]))
            self.stands[self.at] = choice
            after = [at for at in range(self.at + 1, len(self.stands)) if not self.stands[at]]
            self.at, self.fresh = (after[0], True) if after else (self.at, False)


def test_fifteen_sequences_at_random_end_as_they_were_pressed(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    slow(page, 0.2, 0.3, lost=0.08)
    rng, hands = random.Random(2026), Hands(len(NOTES))
    for n in range(15):
        keys = "".join(rng.choices("nnnppkkkddz", k=rng.randint(6, 10)))
        hands.press(keys)
        press(page, keys, [rng.uniform(60, 150) for _ in keys])
        assert shown(page) == hands.stands, f"{n}: {keys}, at once"
        if n % 4 == 3:  # what the browser keeps outlives the page, and she goes on where she was
            page.reload()
            expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
        sent(page)
        assert choices(marked) == shown(page) == pressed_on(page) == hands.stands, f"{n}: {keys}"
        assert selected(page) == str(hands.at)


def test_a_key_is_about_the_selected_mark_not_the_sounding_one(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.keyboard.press("n")
    assert selected(page) == "0"
    page.evaluate("document.querySelector('clip-player').seek(10.2)")
    page.keyboard.press("Space")
    expect(page.locator(".block.sounding [data-mark]")).to_have_attribute("data-mark", "1")
    page.keyboard.press("k")
    sent(page)
    assert choices(clip) == ["kept", ""]
    assert selected(page) == "1"


def test_a_late_answer_moves_neither_focus_nor_scroll_nor_selection(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    slow(page)
    press(page, "nkn", 30)
    page.locator("#composer textarea").focus()
    page.keyboard.type("The bow")
    page.evaluate("scrollTo(0, 300)")
    before = page.evaluate("scrollY")
    sent(page)
    assert page.evaluate("document.activeElement.id") == "new-text"
    assert page.evaluate("scrollY") == before
    assert selected(page) == "1"
    expect(page.locator("#composer textarea")).to_have_value("The bow")


def test_an_added_comment_does_not_come_back_nor_hinder_returning(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    slow(page)
    keys = page.keyboard
    keys.press("c")
    keys.type("More arm.")
    keys.press("Control+Enter")
    expect(page.locator(".comment.new .text")).to_have_text("More arm.")
    keys.press("c")
    keys.press("Escape")
    keys.press("r")  # what is not sent yet is waited for
    page.wait_for_url("**/preview/")
    assert Comment.objects.get().text == "More arm."
    page.go_back()
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    expect(page.locator("#composer textarea")).to_have_value("")
    expect(page.locator(".comment")).to_have_count(1)


def test_what_was_pressed_without_a_line_outlives_the_page(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    page.route("**/clips/*/**", lambda route: _no_line_to_post(route))
    press(page, "nkndz", 20)
    page.keyboard.press("c")
    page.keyboard.type("On a train.")
    page.keyboard.press("Control+Enter")
    expect(said(page)).to_contain_text("there is no connection")
    page.goto("/waiting/")
    assert choices(marked) == [""] * 6
    page.unroute("**/clips/*/**")
    page.goto(f"/clips/{marked.pk}/")
    sent(page)
    assert choices(marked) == ["kept"] + [""] * 5
    assert Comment.objects.get().text == "On a train."


def test_a_page_that_was_made_before_the_last_answer_catches_up(cast, marked, opened):
    """She loads it again; what she did is answered while the new page is on its way."""
    page = opened(cast.teacher, marked, playable=False)
    made_before = page.request.get(page.url)
    press(page, "nk", 30)
    sent(page)
    assert choices(marked)[0] == "kept"
    page.route(page.url, lambda route: route.fulfill(response=made_before))
    page.reload()
    sent(page)
    assert shown(page) == pressed_on(page) == choices(marked)


NOTHING_KEPT = """for (const name of ["localStorage", "sessionStorage"]) {
  Object.defineProperty(window, name, { get() { throw new DOMException("", "SecurityError"); } });
}"""


def test_a_browser_that_keeps_nothing_sends_what_is_pressed(cast, marked, opened):
    """HTML, Web storage: where the person forbids it, getting either raises a SecurityError."""
    page = opened(cast.teacher, marked, playable=False)
    page.add_init_script(NOTHING_KEPT)
    page.reload()
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    press(page, "nk", 30)
    until(lambda: choices(marked)[0] == "kept", 10, "the mark is kept")
    expect(page.locator("clip-desk")).not_to_have_attribute("data-unsent", "")


def test_what_a_page_leaves_that_ends_is_sent_by_one_that_stays(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    page.route("**/clips/*/**", lambda route: _no_line_to_post(route))
    press(page, "nk", 20)
    expect(page.locator("clip-desk")).to_have_attribute("data-unsent", "")
    other = page.context.new_page()
    other.goto(f"/clips/{marked.pk}/")
    expect(other.locator("clip-desk")).to_have_attribute("data-ready", "")
    expect(other.locator("clip-desk")).not_to_have_attribute("data-unsent", "")
    assert shown(other) == choices(marked) == [""] * 6, "the other page is the first's to send"
    page.close()
    sent(other)
    assert choices(marked) == shown(other) == ["kept"] + [""] * 5


def _no_line_to_post(route: Route) -> None:
    if route.request.method == "POST":
        route.abort()
    else:
        route.continue_()


def test_what_is_refused_is_said_at_its_row_and_the_page_goes_back(cast, marked, opened):
    comment = add_comment(review_of(marked), cast.teacher, CommentText("bow", "Slower", 2.0))
    page = opened(cast.teacher, marked, playable=False)
    page.locator(f"#edit-comment-{comment.pk} summary").click()
    page.locator(f"#edit-comment-{comment.pk} textarea").fill("Much slower")
    comments.delete_comment(comment)
    page.keyboard.press("Control+Enter")
    refused = page.locator(".refused")
    expect(refused).to_contain_text("somebody took it away in the meantime")
    expect(refused.locator(".words")).to_have_text("Much slower")
    expect(page.locator(f"#comment-{comment.pk}")).to_have_count(0)
    page.reload()
    expect(page.locator(".refused")).to_have_count(1)
    page.get_by_role("button", name="Let it go").first.click()
    page.reload()
    expect(page.locator(".refused")).to_have_count(0)


def test_a_page_goes_on_with_what_it_showed_though_the_clip_was_heard_anew(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    listen_again(marked, measurement(MARKED[1:], LONG_S))
    page.evaluate("document.querySelector('clip-desk').focus()")
    press(page, "kn", 20)
    sent(page)
    assert shown(page) == ["kept"] + [""] * 5
    expect(page.locator(".refused")).to_have_count(0)
    page.reload()
    assert shown(page) == [""] * 5
    expect(page.get_by_text("this moment is not marked")).to_have_count(1)


def test_another_person_does_nothing_in_ones_name(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    hers = opened(cast.colleague, marked, playable=False)
    mine = page.context.cookies()
    page.context.add_cookies(hers.context.cookies())
    press(page, "nk", 20)
    expect(page.locator(".held")).to_contain_text("Somebody else is logged in")
    assert not Decision.objects.exists()
    page.context.add_cookies(mine)
    page.evaluate("dispatchEvent(new Event('focus'))")
    sent(page)
    assert Decision.objects.get().decided_by == Person.objects.get(pk=cast.teacher.pk)


def test_logging_out_sends_what_was_pressed_first(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    slow(page, 0.4, 0.4)
    press(page, "nknknd", 20)
    page.get_by_role("button", name="Log out").click()
    page.wait_for_url("**/log-in/**")
    assert choices(marked) == ["kept", "kept", "dropped", "", "", ""]


def test_without_a_line_logging_out_says_what_would_be_lost(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    page.route("**/clips/*/**", _no_line_to_post)
    press(page, "nknd", 20)
    notice, out = page.locator(".unsent"), page.get_by_role("button", name="Log out", exact=True)
    out.click()
    expect(notice).to_contain_text("2 decisions are not sent yet. Logging out now would lose them.")
    expect(page.locator("#counts")).to_contain_text("4 to decide")
    expect(page.get_by_role("button", name="Stay logged in")).to_be_focused()
    page.evaluate(AXE)
    for theme in ("light", "dark"):
        page.emulate_media(color_scheme=theme, reduced_motion="reduce")
        assert axe(page, theme, EVERY_RULE) == []
    page.keyboard.press("Enter")
    expect(notice).to_have_count(0)
    page.goto("/waiting/")
    out.click()
    expect(notice.get_by_role("link", name="Open the clip to send them")).to_be_visible()
    page.unroute("**/clips/*/**")
    notice.get_by_role("link").click()
    sent(page)
    assert choices(marked)[:2] == ["kept", "dropped"]
    page.route("**/clips/*/**", _no_line_to_post)
    page.keyboard.press("k")
    out.click()
    page.get_by_role("button", name="Log out without sending").click()
    page.wait_for_url("**/log-in/**")
    assert choices(marked)[2] == ""


def test_once_the_line_is_back_the_log_out_goes_on(cast, marked, opened):
    page = opened(cast.teacher, marked, playable=False)
    page.route("**/clips/*/**", _no_line_to_post)
    press(page, "nk", 20)
    page.get_by_role("button", name="Log out").click()
    expect(page.locator(".unsent")).to_contain_text("1 decision is not sent yet.")
    page.unroute("**/clips/*/**")
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_url("**/log-in/**")
    assert choices(marked)[0] == "kept"
