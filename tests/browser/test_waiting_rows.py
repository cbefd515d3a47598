"""On a wide screen a clip that waits takes one line; pointer and focus show the rest of it."""

import pytest

from tests.browser.at_desk import DESK, folder  # noqa: F401
from tests.cast import make_clip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MOST_PX = 40  # forty of them are less than two windows of 900
NOTE = "I tried the third line slowly and then a bit faster; the shift is still hard for me."
WHOLE = "what => what.scrollWidth <= what.clientWidth"


def heights(page) -> list[float]:
    return page.eval_on_selector_all(".wait", "rows => rows.map(row => row.offsetHeight)")


def test_a_row_is_one_line_until_the_pointer_or_the_focus_is_in_it(cast, windows):
    for n in range(3):
        make_clip(
            cast.enrolment, f"Octaves in D, take {n}", duration_s=26.0, note=NOTE, subject="hand"
        )
    page = windows.enter(cast.teacher, viewport=DESK)
    page.goto("/waiting/")
    page.mouse.move(0, 0)
    assert max(heights(page)) <= MOST_PX
    words = page.locator(".wait .what")
    assert not words.nth(1).evaluate(WHOLE)
    page.locator(".wait").nth(1).hover()
    assert words.nth(1).evaluate(WHOLE)
    page.mouse.move(0, 0)
    assert not words.nth(1).evaluate(WHOLE)
    words.nth(1).locator("a").focus()
    assert words.nth(1).evaluate(WHOLE)
    assert max(heights(page)) > MOST_PX, "the note takes a second line"
