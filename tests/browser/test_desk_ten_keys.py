"""A clip with four marks, reviewed with a summary and returned by ten keys, at the real process.

The keys: n k, n k, n d, n k (hear each mark, and decide it), Shift+P (a summary is proposed, put
into its field and previewed), Enter (return). Nothing is typed.
"""

import pytest
from playwright.sync_api import expect

from studio.review.models import Comment, Decision, Return
from studio.review.summary_templates import add
from tests.browser.at_desk import DESK, clip, comes_true, folder, opened  # noqa: F401
from tests.cast import make_clip
from tests.review.heard_clip import listen_again, measurement

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LONG_S = 26.0
MARKED = tuple(
    (note, 1.6 + 6.0 * n, (40.0 + n,)) for n, note in enumerate(("C4", "D4", "E4", "F4"))
)
TEN = ("n", "k", "n", "k", "n", "d", "n", "k", "Shift+P", "Enter")


def test_four_marks_with_summary_and_return_take_ten_keys(cast, windows):
    four = make_clip(cast.enrolment, "Octaves", has_audio=True, duration_s=LONG_S)
    listen_again(four, measurement(MARKED, LONG_S))
    page = windows.enter(cast.teacher, viewport=DESK)
    page.goto(f"/clips/{four.pk}/")
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    for key in TEN[:-1]:
        page.keyboard.press(key)
    page.wait_for_url("**/preview/")
    page.keyboard.press(TEN[-1])
    page.wait_for_url("**/waiting/")
    order = Decision.objects.order_by("start_s").values_list("choice", flat=True)
    assert list(order) == ["kept", "kept", "dropped", "kept"]
    assert Return.objects.get().snapshot["summary"]
    assert len(TEN) <= 10


def test_a_summary_that_was_written_stays_and_the_proposed_one_is_offered(cast, clip, opened):
    page = opened(cast.teacher, clip)
    keys = page.keyboard
    keys.press("k")
    keys.press("Shift+S")
    keys.type("A good week.")
    keys.press("Escape")
    keys.press("Shift+P")
    expect(page.get_by_role("button", name="Use these words")).to_be_focused()
    expect(page.locator("#said")).to_contain_text("You have written a summary already")
    keys.press("Enter")
    text = page.locator("#summary textarea")
    assert text.input_value().startswith("A good week.\n")
    expect(text).to_be_focused()
    keys.press("Control+Enter")
    page.wait_for_url("**/preview/")


def test_a_template_goes_in_at_the_cursor_by_keys_and_can_be_undone(cast, clip, opened):
    add(cast.teacher, cast.studio, "Thanks", "Thank you, {pupil}.")
    page = opened(cast.teacher, clip)
    keys, text = page.keyboard, page.locator("#summary textarea")
    keys.press("Shift+S")
    keys.type("So. Until soon.")
    text.evaluate("field => field.setSelectionRange(4, 4)")
    keys.press("Escape")
    keys.press("Shift+T")
    expect(page.get_by_role("button", name="Thanks")).to_be_focused()
    keys.press("1")
    first = cast.pupil.first_name
    expect(text).to_have_value(f"So. Thank you, {first}.Until soon.")
    expect(text).to_be_focused()
    keys.press("Control+z")
    expect(text).to_have_value("So. Until soon.")
    assert not page.url.endswith("/preview/")


def test_nothing_to_propose_is_said_and_the_page_stays(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.keyboard.press("Shift+P")
    expect(page.locator("#said")).to_contain_text("nothing to propose yet")
    page.keyboard.press("k")
    assert not page.url.endswith("/preview/")


def test_praise_is_its_own_kind_of_comment(cast, clip, opened):
    page = opened(cast.teacher, clip)
    keys = page.keyboard
    keys.press("Shift+G")
    keys.type("The bow changes are quiet now.")
    keys.press("Control+Enter")
    expect(page.locator("#said")).to_have_text("Comment added.")
    keys.press("c")
    keys.type("More arm.")
    keys.press("Control+Enter")
    comes_true(page, "document.querySelectorAll('.comment[data-start]').length === 2")
    kinds = dict(Comment.objects.values_list("text", "kind"))
    assert kinds == {"The bow changes are quiet now.": "well_done", "More arm.": "intonation"}
