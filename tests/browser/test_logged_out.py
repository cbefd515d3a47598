"""Sessions that run out or end, in a real browser: what was written, and what stays behind."""

import pytest
from django.urls import reverse
from playwright.sync_api import BrowserContext, Page, expect

from studio.accounts.models import Consent, Invitation, OpenSession
from studio.drills.models import Drill
from studio.review.models import Comment
from tests.browser.at_desk import sent
from tests.browser.web import log_in
from tests.cast import make_clip

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("real_passwords"),
]
DESK = {"width": 1440, "height": 900}
AGAIN = "it stands in the form again"
KEPT = "it is kept here for you to send again"


def run_out() -> None:
    """Every session is over, as after a month."""
    OpenSession.objects.all().delete()


def invite(page: Page):
    return page.locator("form[action$='/invite/guardian/']")


def begin_to_invite(page: Page) -> None:
    page.goto("/people/")
    page.get_by_text("Invite a guardian").click()
    form = invite(page)
    form.get_by_label("Child").select_option(label="Mira Sandholm")
    form.get_by_label("Name").fill("Runa Feld")
    form.get_by_label("E-mail address").fill("runa@s.example")
    run_out()
    form.get_by_role("button").click()
    expect(page.locator("main .notice")).to_contain_text("what you wrote is there again")


# -- words that were sent too late ---------------------------------------------------------


def test_an_invitation_sent_too_late_stands_in_its_form_again(cast, windows):
    page = windows.enter(cast.teacher)
    begin_to_invite(page)
    log_in(page, cast.teacher)
    assert page.url.endswith("/people/")
    expect(page.locator(".kept-words")).to_contain_text(AGAIN)
    expect(invite(page).get_by_label("Name")).to_have_value("Runa Feld")
    expect(invite(page).get_by_label("Child")).to_have_value(str(cast.enrolment.pk))
    invite(page).get_by_role("button").click()
    page.get_by_label("The link for Runa Feld").wait_for()
    assert Invitation.objects.get().email == "runa@s.example"
    page.goto("/people/")
    expect(page.locator(".kept-words")).to_have_count(0)


def test_another_person_at_the_same_browser_gets_nothing_of_it(cast, windows):
    page = windows.enter(cast.teacher)
    begin_to_invite(page)
    page.evaluate("localStorage.setItem('desk:draft', 'private')")
    log_in(page, cast.pupil)
    page.goto("/queue/")
    assert "Runa" not in page.content()
    assert page.evaluate("localStorage.length") == 0
    page.get_by_role("button", name="Log out").click()
    log_in(page, cast.teacher)
    page.goto("/people/")
    assert "Runa" not in page.content()


def test_a_drill_in_words_comes_back_line_by_line(cast, windows):
    page = windows.enter(cast.teacher)
    page.goto(reverse("drill_new"))
    page.get_by_label("Title").fill("Sixths, <slowly>")
    page.locator("main textarea").first.fill("Hold each one.\nThen let it ring.")
    run_out()
    page.locator("main form").get_by_role("button").first.click()
    log_in(page, cast.teacher)
    expect(page.locator(".kept-words")).to_contain_text(AGAIN)
    expect(page.get_by_label("Title")).to_have_value("Sixths, <slowly>")
    page.locator("main form.stack").get_by_role("button").first.click()
    page.wait_for_url(lambda url: "/new/" not in url)
    assert Drill.objects.get().newest().words.splitlines() == [
        "Hold each one.",
        "Then let it ring.",
    ]


def test_a_change_of_consent_leads_back_to_its_page(cast, windows):
    page = windows.enter(cast.guardian)
    page.goto(reverse("consent_change", args=[cast.enrolment.pk, "recordings"]))
    run_out()
    page.get_by_role("button", name="Withdraw consent").click()
    log_in(page, cast.guardian)
    assert page.url.endswith("/recordings/")
    expect(page.locator(".kept-words")).to_contain_text("what you sent did not arrive")
    assert Consent.objects.get(pupil=cast.pupil).withdrawn_at is None, "nothing happens by itself"
    page.locator(".row").get_by_role("button", name="Withdraw consent").click()
    expect(page.locator(".messages")).to_contain_text("Withdrawn")
    expect(page.locator(".kept-words")).to_have_count(0)


def test_a_comment_at_the_desk_goes_on_by_itself_after_a_log_in_in_another_tab(cast, windows):
    clip = make_clip(cast.enrolment)
    page = windows.enter(cast.teacher, viewport=DESK)
    page.goto(f"/clips/{clip.pk}/")
    page.locator("#composer textarea").fill("Slower bow.")
    run_out()
    page.get_by_role("button", name="Add comment").click()
    expect(page.locator("#said")).to_contain_text("You were logged out")
    log_in(page.context.new_page(), cast.teacher)
    page.bring_to_front()
    page.evaluate("dispatchEvent(new Event('focus'))")  # as when a person comes back to it
    sent(page)
    expect(page.locator("#composer textarea")).to_have_value("")
    assert Comment.objects.get().text == "Slower bow."


def test_a_comment_written_without_scripts_is_sent_again_by_one_press(cast, windows):
    clip = make_clip(cast.enrolment)
    page = windows.enter(cast.teacher, viewport=DESK, java_script_enabled=False)
    page.goto(f"/clips/{clip.pk}/")
    page.locator("#composer input[name='start_s']").fill("0:04.5")
    page.locator("#composer textarea").fill("Slower bow.")
    run_out()
    page.get_by_role("button", name="Add comment").click()
    log_in(page, cast.teacher)
    assert page.url.endswith(f"/clips/{clip.pk}/")
    expect(page.locator(".kept-words")).to_contain_text(KEPT)
    expect(page.locator(".kept-words li")).to_have_text("Slower bow.")
    page.get_by_role("button", name="Send it again").click()
    assert (Comment.objects.get().text, Comment.objects.get().start_s) == ("Slower bow.", 4.5)


def test_an_address_that_is_only_sent_to_leads_to_its_page(cast, windows):
    page = windows.enter(cast.teacher)
    assert page.goto("/people/invite/pupil/").ok
    assert page.url.endswith("/people/")


# -- who leaves ----------------------------------------------------------------------------

LEFT = """async () => {
  localStorage.setItem("desk:1:2:comment", "Half a thought");
  sessionStorage.setItem("words", "Half a thought");
  await new Promise((done) => { indexedDB.open("studio-replies", 1).onsuccess = ({ target }) => {
    target.result.close();
    done();
  }; });
}"""
STILL_THERE = """async () => [
  localStorage.getItem("desk:1:2:comment"), sessionStorage.getItem("words"),
  ...(await indexedDB.databases()).map(({ name }) => name)]"""
DRAFTS = ["Half a thought", "Half a thought", "studio-replies"]


def leave(page: Page) -> None:
    page.get_by_role("button", name="Log out").click()
    page.wait_for_url("**/log-in/")


def test_back_after_log_out_shows_the_log_in(cast, windows):
    page = windows.enter(cast.teacher)
    page.goto("/pupils/")
    page.goto("/people/")
    leave(page)
    for _ in range(2):
        page.go_back()
        page.get_by_role("heading", name="Log in").wait_for()
        assert "Mira" not in page.content()


def test_back_shows_what_is_so_now(cast, windows):
    page = windows.enter(cast.teacher)
    page.goto("/people/")
    page.goto("/drills/")
    cast.pupil.name = "Mira Newname"
    cast.pupil.save()
    page.go_back()
    expect(page.locator("main")).to_contain_text("Mira Newname")


@pytest.mark.parametrize("safe", [True, False])
def test_after_log_out_the_browser_has_kept_nothing(cast, windows, safe):
    """On localhost the header does it; where the connection is not safe, the script alone."""
    page = windows.enter(cast.teacher)
    if not safe:
        without_the_header(page.context)
    page.goto("/people/")
    page.evaluate(LEFT)
    assert page.evaluate(STILL_THERE) == DRAFTS
    leave(page)
    page.wait_for_function("indexedDB.databases().then((all) => all.length === 0)")
    assert page.evaluate(STILL_THERE) == [None, None]


def test_other_tabs_of_who_left_show_the_log_in(cast, windows):
    page = windows.enter(cast.teacher)
    other = page.context.new_page()
    other.goto("/people/")
    page.goto("/people/")
    leave(page)
    other.get_by_role("heading", name="Log in").wait_for()


def test_a_session_that_only_ran_out_leaves_the_drafts(cast, windows):
    page = windows.enter(cast.teacher)
    page.goto("/people/")
    page.evaluate(LEFT)
    run_out()
    page.goto("/people/")
    log_in(page, cast.teacher)
    assert page.evaluate(STILL_THERE) == DRAFTS


def without_the_header(context: BrowserContext) -> None:
    def plain(route) -> None:
        answer = route.fetch(max_redirects=0)
        headers = {k: v for k, v in answer.headers.items() if k != "clear-site-data"}
        route.fulfill(response=answer, headers=headers)

    context.route("**/log-out/", plain)
