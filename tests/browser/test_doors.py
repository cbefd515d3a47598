"""In by a link, in a real browser: invitations, the first teacher's, a new password's.

Chromium sends ``Origin: null`` from a page whose policy is ``no-referrer``, and such a post is
refused (Fetch standard, "append a request Origin header").
"""

import re

import pytest
from django.contrib.auth.tokens import default_token_generator
from django.core.management import call_command
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from playwright.sync_api import BrowserContext, Page, Request, expect

from studio.accounts import invitations
from studio.accounts.models import Membership, Person
from tests.browser.web import log_in
from tests.cast import PASSWORD

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NEW = "open strings ring"


class Told:
    """What a browser's requests said of where they came from."""

    def __init__(self, context: BrowserContext) -> None:
        self._requests: list[Request] = []
        context.on("request", lambda request: self._requests.append(request))

    def nobody_of(self, secret: str) -> None:
        """No request named the secret as its origin; the page's files were among them."""
        headers = [request.all_headers() for request in self._requests]
        assert any("/static/" in request.url for request in self._requests)
        assert sum("origin" in sent for sent in headers) > 0, "something was posted"
        assert not [sent for sent in headers if secret in sent.get("referer", "")]
        assert not [sent for sent in headers if sent.get("origin") == "null"]


def choose_a_password(page: Page, button: str = "Accept") -> None:
    page.get_by_label("A password").fill(NEW)
    page.get_by_label("The password again").fill(NEW)
    page.get_by_role("button", name=button).click()


def test_a_new_person_comes_in_by_an_invitation(cast, windows):
    invited = invitations.invite(
        cast.studio, "pupil", "Runa Feld", "runa@s.example", by=cast.teacher
    )
    context, secret = windows(), invited[1]
    told, page = Told(context), context.new_page()
    page.goto(reverse("invitation", args=[secret]))
    choose_a_password(page)
    page.wait_for_url("**/queue/")
    expect(page.locator(".messages")).to_contain_text("Welcome to Larkhill strings")
    told.nobody_of(secret)


def test_one_who_has_an_account_logs_in_and_accepts(cast, windows, real_passwords):
    email = cast.foreign_pupil.email
    secret = invitations.invite(cast.studio, "pupil", "F", email, by=cast.teacher)[1]
    context = windows()
    told, page = Told(context), context.new_page()
    page.goto(reverse("invitation", args=[secret]))
    page.get_by_role("link", name="Log in").click()
    log_in(page, cast.foreign_pupil)
    page.get_by_role("button", name="Accept as").click()
    page.wait_for_url("**/queue/")
    told.nobody_of(secret)


def test_a_guardian_lets_her_child_into_a_second_studio(cast, windows, real_passwords):
    secret = invitations.invite(
        cast.other_studio, "pupil", "Mira", cast.pupil.email, by=cast.foreign_teacher
    )[1]
    child = windows.enter(cast.pupil)
    child.goto(reverse("invitation", args=[secret]))
    expect(child.get_by_text("Edda Sandholm has to accept for you")).to_be_visible()
    expect(child.get_by_role("button", name="Accept")).to_have_count(0)
    context = windows()
    told, page = Told(context), context.new_page()
    page.goto(reverse("invitation", args=[secret]))
    page.get_by_role("link", name="Log in").click()
    log_in(page, cast.guardian)
    page.get_by_role("button", name="Accept for Mira Sandholm").click()
    page.wait_for_url("**/consent/*/")
    expect(page.locator(".messages")).to_contain_text("has a place at Another studio")
    page.get_by_role("link", name="Read on and agree").click()
    page.get_by_role("button", name="I agree").click()
    expect(page.get_by_text("Given by Edda Sandholm on")).to_be_visible()
    told.nobody_of(secret)


def test_the_first_teacher_comes_in_by_the_printed_link(db, windows, capsys):
    said = ["--teacher-name", "Ottilie Brandt", "--teacher-email", "ottilie@s.example"]
    call_command("add_studio", "Larkhill strings", *said)
    secret = re.search(r"/invitation/([\w-]+)/", capsys.readouterr().out)[1]
    context = windows()
    told, page = Told(context), context.new_page()
    page.goto(reverse("invitation", args=[secret]))
    choose_a_password(page)
    page.wait_for_url("**/waiting/")
    assert Membership.objects.get().person.name == "Ottilie Brandt"
    told.nobody_of(secret)


def test_who_invites_can_log_out_from_the_page_that_shows_the_link(cast, windows):
    page = windows.enter(cast.teacher)
    page.goto("/people/")
    page.get_by_text("Invite a colleague").click()
    form = page.locator("form[action$='/invite/teacher/']")
    form.get_by_label("Name").fill("Runa Feld")
    form.get_by_label("E-mail address").fill("runa@s.example")
    form.get_by_role("button").click()
    expect(page.get_by_label("The link for Runa Feld")).to_have_value(re.compile("/invitation/"))
    page.get_by_role("button", name="Log out").click()
    page.wait_for_url("**/log-in/")


def test_a_new_password_is_chosen_by_a_letters_link(cast, windows):
    token = default_token_generator.make_token(cast.pupil)
    uid = urlsafe_base64_encode(force_bytes(cast.pupil.pk))
    context = windows()
    told, page = Told(context), context.new_page()
    page.goto(reverse("choose_password", args=[uid, token]))
    page.get_by_label("A new password").fill(NEW)
    page.get_by_label("The password again").fill(NEW)
    page.get_by_role("button", name="Set the password").click()
    page.wait_for_url("**/log-in/")
    told.nobody_of(token)
    log_in(page, Person.objects.get(pk=cast.pupil.pk), NEW)


def test_a_pupil_comes_in_again_by_the_link_that_the_teacher_makes(cast, windows, real_passwords):
    teacher = windows.enter(cast.teacher)
    teacher.goto("/people/")
    teacher.get_by_role("link", name="A new password for Mira Sandholm").click()
    teacher.get_by_role("button", name="Make the link").click()
    link = teacher.get_by_label("The link for Mira Sandholm").input_value()
    context = windows()
    told, page = Told(context), context.new_page()
    page.goto(link)
    page.get_by_label("A new password").fill(NEW)
    page.get_by_label("The password again").fill(NEW)
    page.get_by_role("button", name="Set the password").click()
    page.wait_for_url("**/log-in/")
    log_in(page, cast.pupil, NEW)
    expect(page.locator(".account-notice")).to_contain_text(
        "with the link that Ottilie Brandt made"
    )
    page.get_by_role("button", name="I have read this").click()
    expect(page.locator(".account-notice")).to_have_count(0)
    told.nobody_of(link.rstrip("/").rpartition("/")[2])


def test_a_guardian_comes_in_again_by_a_printed_code(cast, windows, real_passwords):
    page = windows.enter(cast.guardian)
    page.goto("/children/")
    page.get_by_role("link", name="Edda Sandholm").click()
    page.get_by_label("Your present password").first.fill(PASSWORD)
    page.get_by_role("button", name="new codes").click()
    code = page.locator("code").first.inner_text()
    page = windows().new_page()
    page.goto("/log-in/")
    page.get_by_text("Lost the password?").click()
    page.get_by_role("link", name="choose a new one").click()
    page.get_by_label("E-mail address").fill(cast.guardian.email)
    page.get_by_label("One of your recovery codes").fill(code.lower())
    page.get_by_label("A new password").fill(NEW)
    page.get_by_label("The password again").fill(NEW)
    page.get_by_role("button", name="Set the password").click()
    page.wait_for_url("**/log-in/")
    log_in(page, cast.guardian, NEW)
    page.wait_for_url("**/children/")
