"""A guardian erases her child's lessons on a phone, and by keys alone."""

import pytest
from playwright.sync_api import Page, expect

from studio.accounts.models import Person
from studio.clips.models import Clip
from studio.rights import tasks
from studio.rights.models import ErasureJob
from tests.cast import make_clip, make_return

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NARROW = {"width": 360, "height": 740}
MOST_STEPS = 40


def step_to(page: Page, words: str) -> None:
    """Press Tab until what says these words has the focus."""
    for _ in range(MOST_STEPS):
        page.keyboard.press("Tab")
        if words in page.evaluate("document.activeElement.textContent.trim()"):
            return
    raise AssertionError(f"no {words!r} within {MOST_STEPS} steps of Tab")


def fits(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]


def test_by_keys_at_360_pixels_and_the_page_tells_the_end(cast, windows):
    make_return(make_clip(cast.enrolment))
    page = windows.enter(cast.guardian, viewport=NARROW)
    page.goto("/rights/")
    fits(page)
    step_to(page, "Erase all of it")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Erase Mira’s lessons")
    fits(page)
    step_to(page, "take a copy first")
    step_to(page, "Erase all of it")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Erased for everybody")
    expect(page.locator("#erasing progress")).to_be_visible()
    fits(page)
    assert not Clip.objects.filter(erased_at=None).exists()
    tasks.erase(str(ErasureJob.objects.get().pk))
    expect(page.locator("#erasing")).to_contain_text("It is off the disk")
    assert not Person.objects.filter(pk=cast.pupil.pk).exists()
    page.goto("/rights/")
    expect(page.get_by_role("main")).to_contain_text("All about a pupil’s lessons")
    expect(page.get_by_role("main")).not_to_contain_text("Mira")


def test_one_clip_from_its_own_page(cast, windows):
    clip, other = make_clip(cast.enrolment, "Sixths"), make_clip(cast.enrolment, "Octaves")
    page = windows.enter(cast.guardian, viewport=NARROW)
    page.goto(f"/clips/{clip.pk}/")
    page.get_by_role("link", name="Erase this clip").click()
    fits(page)
    page.get_by_role("button", name="Erase this clip").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Erased for everybody")
    assert Clip.objects.get(erased_at=None) == other


def test_a_grown_up_who_erased_her_account_reads_the_end_without_a_log_in(cast, windows):
    Person.objects.filter(pk=cast.other_pupil.pk).update(birth_year=1990)
    page = windows.enter(cast.other_pupil, viewport=NARROW)
    page.goto("/rights/erase/account/")
    page.get_by_role("button", name="Erase my account").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Erased for everybody")
    expect(page.get_by_role("link", name="Your data")).to_have_count(0)
    tasks.erase(str(ErasureJob.objects.get().pk))
    expect(page.locator("#erasing")).to_contain_text("It is off the disk")
    page.goto("/queue/")
    expect(page.get_by_role("heading", name="Log in")).to_be_visible()
