"""An owner sets how long what is kept, a guardian agrees and keeps a copy: by keyboard, narrow."""

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from studio.accounts import retention
from studio.accounts.retention import Terms
from studio.clips.models import Clip
from studio.rights.retention import rounds
from tests.cast import make_clip, make_return

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NARROW = {"width": 360, "height": 740}
MOST_TABS = 80


def fits(page: Page) -> None:
    page.wait_for_load_state()
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]


def press(page: Page, name: str) -> None:
    """Go to a button or a link by the Tab key alone, and press Enter on it."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        if name == page.evaluate("document.activeElement.textContent.trim()"):
            page.keyboard.press("Enter")
            return
    raise AssertionError(f"the Tab key does not come to {name!r}")


def test_an_owner_sets_a_year_and_a_guardian_agrees_and_is_warned(cast, windows):
    clip = make_clip(cast.enrolment, "Sixths")
    make_return(clip, "Listen to the upper note.")
    Clip.objects.filter(pk=clip.pk).update(created_at=timezone.now() - timedelta(days=400))
    page = windows.enter(cast.teacher, viewport=NARROW)
    page.goto("/people/")
    page.get_by_role("link", name="How long what is kept").click()
    fits(page)
    for label, choice in (
        ("Recordings, pictures and recorded replies", "A year"),
        (
            "What was measured, marked and written of a clip",
            "As long as anything of the lessons is kept",
        ),
    ):
        page.get_by_label(label).focus()
        page.keyboard.type(choice)
    press(page, "Read what that changes")
    expect(page.get_by_role("main")).to_contain_text("until they agree to the new ones")
    fits(page)
    press(page, "Keep these times")
    expect(page.locator(".messages")).to_contain_text("Kept.")
    assert retention.of_studio(cast.studio) == Terms(365, None)

    home = windows.enter(cast.guardian, viewport=NARROW)
    home.goto(f"/consent/{cast.enrolment.pk}/")
    fits(home)
    press(home, "Agree to the new times")
    expect(home.locator(".messages")).to_contain_text("You have agreed to the new times")
    assert retention.holding(cast.enrolment) == Terms(365, None)
    rounds.go_round()
    home.goto(f"/clips/{clip.pk}/")
    expect(home.get_by_role("main")).to_contain_text("What was measured and written stays.")
    fits(home)
    press(home, "Take a copy")
    expect(home.get_by_role("main")).to_contain_text("1 recording of Mira Sandholm (what was")
    fits(home)
