"""Lessons end on a phone, from both sides; pupils are handed over, and a teacher leaves."""

import pytest
from playwright.sync_api import Page, expect

from studio.accounts.models import Enrolment, Membership
from tests.cast import make_clip, make_return

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NARROW = {"width": 360, "height": 740}


def fits(page: Page) -> None:
    page.wait_for_load_state()
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW["width"]


def has_ended(place: Enrolment) -> bool:
    return Enrolment.objects.get(pk=place.pk).ended_on is not None


def test_a_teacher_ends_lessons_and_takes_it_back(cast, windows):
    page = windows.enter(cast.teacher, viewport=NARROW)
    page.goto("/people/")
    fits(page)
    page.get_by_role("link", name="End the lessons of Mira Sandholm").click()
    expect(page.get_by_role("main")).to_contain_text("can go on reading what came back")
    fits(page)
    page.get_by_role("button", name="End the lessons").click()
    expect(page.locator(".messages")).to_contain_text("have ended")
    assert has_ended(cast.enrolment)
    fits(page)
    page.get_by_role("button", name="Take back the end of the lessons of Mira").click()
    expect(page.locator(".messages")).to_contain_text("go on")
    assert not has_ended(cast.enrolment)


def test_a_guardian_ends_lessons_and_goes_on_to_what_came_back_to_copy_and_erasure(cast, windows):
    clip = make_clip(cast.enrolment, "Sixths")
    make_return(clip)
    page = windows.enter(cast.guardian, viewport=NARROW)
    page.goto("/rights/")
    page.get_by_role("link", name="Mira begins at another studio").click()
    fits(page)
    page.get_by_role("link", name="End the lessons at Larkhill strings").click()
    fits(page)
    page.get_by_role("button", name="End the lessons").click()
    expect(page.locator(".messages")).to_contain_text("have ended")
    fits(page)
    page.get_by_role("link", name="Children").first.click()
    fits(page)
    page.get_by_role("link", name="Mira’s lessons at Larkhill strings").click()
    fits(page)
    page.get_by_role("link", name="Sixths").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Sixths")
    fits(page)
    page.get_by_role("link", name="Lessons that have ended").click()
    page.get_by_role("link", name="Take a copy of everything").click()
    expect(page.get_by_role("button", name="Make a copy").first).to_be_visible()
    page.get_by_role("link", name="Erase all of it").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Erase Mira’s lessons")
    fits(page)


def test_an_owner_hands_over_and_a_teacher_leaves(cast, windows):
    mine = Membership.objects.get(person=cast.teacher)
    page = windows.enter(cast.teacher, viewport=NARROW)
    page.goto("/people/")
    page.get_by_role("link", name="Hand over the studio").click()
    fits(page)
    page.get_by_label("The new owner").select_option(label="Colleague")
    page.get_by_role("button", name="Hand over the studio").click()
    expect(page.locator(".messages")).to_contain_text("Colleague owns")
    page.get_by_role("link", name="Leave the studio").click()
    fits(page)
    page.get_by_label("All pupils").select_option(label="Colleague")
    page.get_by_role("button", name="Leave the studio").click()
    expect(page.locator(".messages")).to_contain_text("You have left")
    fits(page)
    assert Membership.objects.get(pk=mine.pk).ended_on is not None
    assert Enrolment.objects.get(pk=cast.enrolment.pk).teacher == cast.colleague
    page.goto("/people/")
    expect(page.get_by_role("heading", level=1)).not_to_have_text("People")
