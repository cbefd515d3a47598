"""The second step in a real browser: set up, log in with it, be spared it, and lose the phone."""

import re
import time

import pytest
from django_otp.oath import TOTP
from django_otp.plugins.otp_totp.models import TOTPDevice
from playwright.sync_api import Page, expect

from studio.accounts import second_step
from studio.accounts.models import Person
from studio.accounts.sessions import SessionStore
from tests.browser.legible import AXE, EVERY_RULE, ISSUES
from tests.browser.web import log_in
from tests.cast import PASSWORD

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("real_passwords"),
]
NARROW = {"width": 320, "height": 700}
THEMES = ("light", "dark")


def shown_by_the_phone(key: bytes) -> str:
    """What the app shows now; just before a change, what it shows after it."""
    if time.time() % 30 > 25:
        time.sleep(30 - time.time() % 30)
    made = TOTP(key)
    made.time = time.time()
    return f"{made.token():06d}"


def first_step(page: Page, person: Person) -> None:
    page.goto("/log-in/")
    page.get_by_label("E-mail address").fill(person.email)
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url("**/log-in/code/")


def legible(page: Page) -> None:
    """In both themes, on the narrowest phone: no serious issue, and nothing to scroll sideways."""
    for theme in THEMES:
        page.emulate_media(color_scheme=theme, reduced_motion="reduce")
        page.evaluate(AXE)
        assert page.evaluate(ISSUES, EVERY_RULE) == []
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= page.viewport_size["width"]


@pytest.fixture
def codes(cast) -> list[str]:
    """The teacher has the second step on; her printed codes."""
    TOTPDevice.objects.create(user=cast.teacher, name="on", confirmed=True)
    return second_step.make_codes(cast.teacher)


@pytest.mark.parametrize("scripts", [True, False], ids=["with script", "without script"])
def test_it_is_set_up_and_asked_for_and_a_device_is_spared(cast, windows, scripts):
    context = windows(viewport=NARROW, java_script_enabled=scripts)
    page = context.new_page()
    log_in(page, cast.teacher)
    page.goto("/account/")
    form = page.locator("form[action='/account/second-step/']")
    form.get_by_label("Your present password").fill(PASSWORD)
    form.get_by_role("button", name="Set it up").click()
    expect(page.locator("svg.qr")).to_be_visible()
    key = TOTPDevice.objects.get(confirmed=False).bin_key
    if scripts:
        legible(page)
    page.get_by_label("The code from your phone").fill(shown_by_the_phone(key))
    page.get_by_role("button", name="Switch it on").click()
    expect(page.locator("main li code")).to_have_count(second_step.CODES)
    if scripts:
        legible(page)
    context.clear_cookies()
    TOTPDevice.objects.update(last_t=-1)  # as half a minute later: the code was used up

    first_step(page, cast.teacher)
    if scripts:
        legible(page)
    page.get_by_label("The code from your phone").fill("000 000")
    page.get_by_role("button", name="Log in").click()
    expect(page.locator("main .error")).to_contain_text("not the present code")
    page.get_by_label("The code from your phone").fill(shown_by_the_phone(key))
    page.get_by_label("Do not ask on this device for 30 days").check()
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(re.compile("/waiting/"))

    context.clear_cookies(name="session")
    log_in(page, cast.teacher)
    expect(page).to_have_url(re.compile("/waiting/"))


def test_with_a_printed_code_in_place_of_the_phone(cast, windows, codes):
    page = windows(viewport=NARROW).new_page()
    first_step(page, cast.teacher)
    page.get_by_text("Lost the phone?").click()
    legible(page)
    page.get_by_label("The code from your phone").fill(codes[3].lower())
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(re.compile("/waiting/"))
    page.goto("/account/")
    expect(page.get_by_text("7 of 8 printed codes")).to_be_visible()
    legible(page)


def test_what_opens_an_account_asks_again_hours_after_the_log_in(cast, windows):
    page = windows(viewport=NARROW).new_page()
    log_in(page, cast.teacher)
    store = SessionStore(cast.teacher.open_sessions.get().pk)
    store["since"] = "2026-01-01T00:00:00+00:00"
    store.save()
    page.goto(f"/people/places/{cast.enrolment.pk}/password/")
    expect(page.get_by_role("heading", name="Is it you?")).to_be_visible()
    legible(page)
    page.get_by_label("Your present password").fill(PASSWORD)
    page.get_by_role("button", name="Go on").click()
    page.wait_for_url(f"**/people/places/{cast.enrolment.pk}/password/")
