"""A violin drill for a viola pupil, on each page that sets drills: said first, then one chooses."""

import pytest
from playwright.sync_api import expect

from studio.accounts.models import Instrument
from studio.drills.models import Assignment
from studio.drills.services import add_made
from studio.notation import Request, generate
from tests.cast import as_person
from tests.review.heard_clip import heard_clip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

ASKED = Request(key="A major", interval="sixths", octaves=2, manner="together", start=1)


@pytest.fixture
def page(cast, chromium, live_server):
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    for name, morsel in as_person(cast.teacher).cookies.items():
        context.add_cookies([{"name": name, "value": morsel.value, "url": live_server.url}])
    opened = context.new_page()
    opened.goto(live_server.url)
    yield opened
    context.close()


def press(page, form: str, address: str, choose: str, name: str) -> None:
    """Choose in a form, press its button, read what is said, and set it all the same."""
    page.goto(f"{page.url.split('/', 3)[0]}//{page.url.split('/', 3)[2]}{address}")
    set_form = page.locator(form)
    set_form.get_by_label(choose, exact=True).select_option(label=name)
    set_form.get_by_role("button", name="Set").click()
    notice = set_form.locator(".misfit")
    expect(notice).to_contain_text("its strings and fingers do not fit.")
    expect(notice.get_by_role("link", name="Make it for the viola")).to_be_visible()
    assert not Assignment.objects.exists()
    notice.get_by_label("Set it all the same").check()
    set_form.get_by_role("button", name="Set").click()


def test_it_is_said_and_set_only_when_that_is_wanted(cast, page):
    drill = add_made(cast.studio, cast.teacher, ASKED, generate(ASKED))
    title, pupil = drill.newest().title, cast.pupil.name
    Instrument.objects.filter(pupil=cast.pupil).update(kind="viola", string_length_mm=360)
    clip = heard_clip(cast.enrolment)
    ways = (
        (f"form[action='/drills/{drill.pk}/set/']", f"/drills/{drill.pk}/", "For", pupil),
        (
            f"form[action='/pupils/{cast.enrolment.pk}/drills/']",
            f"/pupils/{cast.enrolment.pk}/",
            "Drill",
            title,
        ),
        ("#set-from-shelf", f"/clips/{clip.pk}/", "Drill", title),
    )
    for form, address, choose, name in ways:
        press(page, form, address, choose, name)
        expect(page.locator("body")).to_contain_text(
            f"“{title}” is " + ("set with this clip" if form == "#set-from-shelf" else "in ")
        )
        Assignment.objects.get().delete()
