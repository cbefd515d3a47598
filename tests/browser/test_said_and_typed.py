"""What a person must type, and what happens without a new page: four criteria by their names.

Sources: W3C, Web Content Accessibility Guidelines 2.2: 3.2.3 Consistent Navigation (and with it
3.2.6 Consistent Help: what leads to help would stand there), 3.3.7 Redundant Entry, 3.3.8
Accessible Authentication (Minimum), 4.1.3 Status Messages; WAI-ARIA 1.2 for what a live region is.
"""

import re

import pytest
from django.contrib.auth.tokens import default_token_generator
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from playwright.sync_api import Page, expect

from studio.accounts.invitations import invite
from tests import addresses as matrix
from tests.browser import every_page
from tests.cast import PASSWORD, as_person
from tests.review.heard_clip import heard_clip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

world = matrix.world  # the fixture: the arguments of every address

MAIN = re.compile(r'<nav class="tabs".*?</nav>', re.DOTALL)
NAMED = re.compile(r"<a [^>]*>(.*?)</a>", re.DOTALL)


@pytest.mark.parametrize("part", ["teacher", "pupil", "guardian"])
def test_the_way_about_is_the_same_on_every_page(cast, world, part):
    every_page.furnish(cast)
    client, orders = as_person(cast.people()[part]), {}
    for address in every_page.addresses(part, world):
        answer = client.get(address)
        if bars := MAIN.findall(answer.content.decode()) if answer.status_code == 200 else []:
            orders.setdefault(tuple(NAMED.findall(bars[0])), []).append(address)
    assert sum(map(len, orders.values())) >= 4
    assert len(orders) == 1, orders


def doors(cast) -> dict[str, str]:
    """Every page on which a password, or a code instead of one, is typed by who is not in yet."""
    key = urlsafe_base64_encode(force_bytes(cast.pupil.pk))
    chosen = reverse("choose_password", args=[key, default_token_generator.make_token(cast.pupil)])
    _, secret = invite(cast.studio, "pupil", "Runa Feldt", "runa@feldt.example", by=cast.teacher)
    return {
        "log in": reverse("log_in"),
        "recovery code": reverse("password_by_code"),
        "new password": chosen,
        "invitation": reverse("invitation", args=[secret]),
    }


@pytest.mark.parametrize("door", ["log in", "recovery code", "new password", "invitation"])
def test_nothing_has_to_be_remembered_or_copied_by_hand(cast, windows, door):
    """A password manager knows each field by its purpose, and pasting works (3.3.8)."""
    page = windows(permissions=["clipboard-read", "clipboard-write"]).new_page()
    page.goto(doors(cast)[door])
    fields = page.locator("main input:is([type=password], [type=email], [autocomplete])").all()
    assert fields
    page.evaluate(
        "() => document.body.insertAdjacentHTML('beforeend', '<textarea id=\"from\"></textarea>')"
    )
    for field in fields:
        kind = field.get_attribute("autocomplete")
        assert kind in {
            "username",
            "email",
            "name",
            "current-password",
            "new-password",
            "one-time-code",
        }, field.evaluate("(one) => one.outerHTML")
        page.locator("#from").fill(PASSWORD)
        page.locator("#from").press("Control+a")
        page.locator("#from").press("Control+c")
        field.fill("")
        field.press("Control+v")
        expect(field).to_have_value(PASSWORD)


def test_a_refused_form_asks_for_nothing_a_second_time(cast, windows):
    """What was typed right stands there again; a password is excepted, for safety (3.3.7)."""
    page = windows.enter(cast.teacher)
    page.goto(reverse("people"))
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    form = page.locator("form[action$='/invite/pupil/']")
    form.get_by_label("Name").fill("Tuva Lindqvist")
    form.get_by_label("E-mail address").fill("not an address")
    form.evaluate("(one) => { one.noValidate = true; }")
    form.get_by_role("button").click()
    form = page.locator("form[action$='/invite/pupil/']")
    expect(form.locator(".error").first).to_be_visible()
    expect(form.get_by_label("Name")).to_have_value("Tuva Lindqvist")
    expect(form.get_by_label("E-mail address")).to_have_value("not an address")


# -- what a reader of the screen is told -------------------------------------------------------

# A live region is spoken when its words change, if it was there before. Each change is noted with
# the words, and whether the region had been in the page (and not hidden) a moment earlier.
LISTEN = """() => {
  const live = "[role=status], [role=alert], [aria-live=polite], [aria-live=assertive]";
  const known = new Set(document.querySelectorAll(live));
  window.spoken = [];
  const words = (region) => region.textContent.replace(/\\s+/g, " ").trim();
  new MutationObserver((changes) => {
    for (const { target } of changes) {
      const region = (target.nodeType === 1 ? target : target.parentElement)?.closest(live);
      if (region && known.has(region) && words(region)) window.spoken.push(words(region));
    }
  }).observe(document.body, { subtree: true, childList: true, characterData: true,
    attributes: true, attributeFilter: ["hidden"] });
}"""


def hears(page: Page, words: str) -> None:
    page.wait_for_function(
        "(words) => window.spoken.some((said) => said.includes(words))", arg=words
    )


def test_what_a_search_found_is_said(cast, windows):
    page = windows.enter(cast.teacher)
    page.goto(reverse("shelf"))
    page.evaluate(LISTEN)
    page.locator("#id_q").press_sequentially("no drill is called so")
    hears(page, "0 of")


def test_what_a_drill_becomes_is_said(cast, windows):
    page = windows.enter(cast.teacher)
    page.goto(reverse("drill_make"))
    page.evaluate(LISTEN)
    page.get_by_label("Key").select_option(label="G major")
    hears(page, "for violin")


def test_what_was_pressed_at_the_desk_is_said(cast, windows):
    clip = heard_clip(cast.enrolment)
    page = windows.enter(cast.teacher, viewport={"width": 1440, "height": 900})
    page.goto(reverse("clip_page", args=[clip.pk]))
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    page.evaluate(LISTEN)
    page.keyboard.press("k")
    hears(page, "ept")


def test_why_a_file_cannot_be_sent_is_said(cast, windows, tmp_path):
    page = windows.enter(cast.pupil)
    page.goto(reverse("send"))
    page.evaluate(LISTEN)
    wrong = tmp_path / "letter.txt"
    wrong.write_text("Not a recording")
    page.locator("input[type=file]").set_input_files(wrong)
    hears(page, "recording")
