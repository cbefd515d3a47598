"""Every page with script switched off: nothing in it is dead, and what a script does has a way."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from tests import addresses as matrix
from tests.browser import every_page, measured
from tests.browser.legible import DESK, PHONE, opened, surroundings
from tests.cast import make_return
from tests.review.heard_clip import heard_clip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

world = matrix.world  # the fixture: the arguments of every address
__all__ = ["opened", "surroundings", "world"]


@pytest.mark.parametrize("part", ["teacher", "pupil", "guardian", "anonymous"])
def test_nothing_is_dead_without_script(cast, world, opened, drawn, part):
    more = every_page.furnish(cast)
    page = opened(cast.people().get(part), java_script_enabled=False, viewport=DESK)
    found, seen = [], set()
    for address in drawn([*every_page.addresses(part, world), *more[part]], 1 / 4):
        page.goto(address)
        if page.url not in seen:
            seen.add(page.url)
            found += [f"{page.url}: {what}" for what in measured.without_script(page)]
    assert len(seen) >= 2
    assert not found, "\n".join(found)


def test_a_dead_button_is_found(opened):
    page = opened(None, java_script_enabled=False)
    page.goto(reverse("log_in"))
    page.evaluate("document.querySelector('main button').type = 'button'")
    assert any("Log in” does nothing" in what for what in measured.without_script(page))


def test_a_row_of_the_ledger_loads_the_page_at_its_moment(cast, opened):
    clip = heard_clip(cast.enrolment)
    page = opened(cast.teacher, java_script_enabled=False, viewport=DESK)
    page.goto(f"/clips/{clip.pk}/")
    page.locator("button.head").nth(1).click()
    expect(page.locator("clip-player video")).to_have_attribute(
        "src", f"/clips/{clip.pk}/media/#t=12.000"
    )


def test_a_returned_moment_loads_the_page_there_and_the_thumb_row_is_hidden(cast, opened):
    clip = heard_clip(cast.enrolment)
    make_return(clip)
    page = opened(cast.pupil, java_script_enabled=False, viewport=PHONE)
    page.goto(f"/clips/{clip.pk}/")
    expect(page.get_by_role("navigation", name="Main")).to_be_visible()
    expect(page.locator(".thumb")).to_be_hidden()
    page.locator(".moments .at").first.click()
    expect(page.locator("#player")).to_have_attribute("src", f"/clips/{clip.pk}/media/#t=2.000")


@pytest.mark.parametrize("at", ["", "x", "nan", "-1", "inf", "1e9", "4%22onload"])
def test_a_moment_that_is_none_leaves_the_recording_at_its_begin(cast, opened, at):
    clip = heard_clip(cast.enrolment)
    make_return(clip)
    page = opened(cast.pupil, java_script_enabled=False)
    page.goto(f"/clips/{clip.pk}/?at={at}")
    expect(page.locator("#player")).to_have_attribute("src", f"/clips/{clip.pk}/media/")
