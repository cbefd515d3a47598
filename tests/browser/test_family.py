"""A mother comes in with her children on a phone of 360 px, and sends the first clip.

What is counted are activations: a tap on a button, a box or a link, and a tap into a field; what is
typed is not counted, nor is scrolling.
"""

import re

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from studio.accounts import access, consent, families
from studio.accounts.families import ChildNamed
from studio.accounts.models import Enrolment, Person
from studio.clips.models import Clip
from tests.browser.web import log_in
from tests.cast import PASSWORD
from tests.samples import SAMPLE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SMALL_PHONE = {"viewport": {"width": 360, "height": 740}, "is_mobile": True, "has_touch": True}
NEW = "open strings ring"
MOST_TAPS = 9  # under ten
YEAR = timezone.localdate().year
IDA, OTTO = ChildNamed("Ida Fenn", YEAR - 9), ChildNamed("Otto Fenn", YEAR - 7)


def link_for(cast, *children: ChildNamed, email: str = "petra@home.example") -> str:
    _, secret = families.invite(cast.studio, "Petra Fenn", email, children, cast.teacher)
    return reverse("invitation", args=[secret])


class Hand:
    """Taps, and counts them."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps = page, 0

    def tap(self, what: Locator) -> None:
        what.tap()
        self.taps += 1

    def type_into(self, field: Locator, text: str) -> None:
        self.tap(field)
        self.page.keyboard.type(text)

    def choose(self, what: Locator, path) -> None:
        with self.page.expect_file_chooser() as chooser:
            self.tap(what)
        chooser.value.set_files(path)


def fits(page: Page) -> bool:
    """Nothing is wider than the page."""
    return page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def accept(hand: Hand, *children: str) -> None:
    page = hand.page
    hand.type_into(page.get_by_label("A password"), NEW)
    hand.type_into(page.get_by_label("The password again"), NEW)
    for child in children:
        hand.tap(page.get_by_label(f"I agree to recordings of {child}"))
    assert fits(page)
    hand.tap(page.get_by_role("button", name="Accept"))
    page.wait_for_url("**/children/*/send/")


def send(hand: Hand, child: str) -> None:
    page = hand.page
    expect(page.get_by_role("heading", name=f"Send a clip of {child}")).to_be_visible()
    assert fits(page)
    hand.choose(page.locator("label.drop"), SAMPLE)
    expect(page.locator('[data-part="details"]')).to_contain_text("MB")
    hand.tap(page.get_by_role("button", name="Send it"))
    page.wait_for_url(re.compile(r"/children/\d+/$"))
    expect(page.locator(".messages")).to_contain_text("Your clip has arrived.")


def test_from_the_link_to_the_first_clip_in_under_ten_taps(cast, windows):
    page = windows(**SMALL_PHONE).new_page()
    hand = Hand(page)
    page.goto(link_for(cast, IDA))
    accept(hand, "Ida")
    send(hand, "Ida")
    assert hand.taps <= MOST_TAPS, hand.taps
    assert hand.taps == 6, "as DEVELOPERS.md says"
    clip = Clip.objects.get()
    assert (clip.enrolment.pupil.name, clip.uploaded_by.name) == ("Ida Fenn", "Petra Fenn")


def test_a_mother_of_two_does_both_in_one_go(cast, windows):
    page = windows(**SMALL_PHONE).new_page()
    hand = Hand(page)
    page.goto(link_for(cast, IDA, OTTO))
    accept(hand, "Ida", "Otto")
    send(hand, "Ida")
    assert hand.taps <= MOST_TAPS, hand.taps
    assert hand.taps == 7, "as DEVELOPERS.md says"
    for first in ("Ida", "Otto"):
        assert consent.is_given(Enrolment.objects.get(pupil__name=f"{first} Fenn"))
    hand.tap(page.get_by_role("link", name="Otto Fenn"))  # at once, from the page of his sister
    expect(page.get_by_role("heading", name="Otto Fenn")).to_be_visible()
    assert fits(page)
    hand.tap(page.get_by_role("link", name="Children").first)
    expect(page.get_by_role("heading", name="Children")).to_be_visible()
    assert fits(page)
    hand.tap(page.get_by_role("link", name="Send a clip of Otto"))
    expect(page.get_by_role("heading", name="Send a clip of Otto")).to_be_visible()


def test_without_scripts_it_is_the_same_way(cast, windows):
    page = windows(**SMALL_PHONE, java_script_enabled=False).new_page()
    hand = Hand(page)
    page.goto(link_for(cast, IDA))
    accept(hand, "Ida")
    page.locator("input[type=file]").set_input_files(SAMPLE)
    page.get_by_role("button", name="Send it").tap()
    page.wait_for_url(re.compile(r"/children/\d+/$"))
    assert Clip.objects.get().enrolment.pupil.name == "Ida Fenn"


# -- by keyboard ---------------------------------------------------------------------------


def tab_to(page: Page, what: Locator, most: int = 60) -> None:
    """Press Tab until it has the focus."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if what.evaluate("one => one === document.activeElement"):
            return
    raise AssertionError(f"{what} is not reached by {most} tabs")


def test_by_keyboard_alone(cast, windows):
    page = windows(viewport={"width": 360, "height": 740}).new_page()
    page.on("filechooser", lambda chooser: None)  # so that it is waited for before a key is pressed
    page.goto(link_for(cast, IDA, OTTO))
    for field in ("A password", "The password again"):
        tab_to(page, page.get_by_label(field))
        page.keyboard.type(NEW)
    for child in ("Ida", "Otto"):
        tab_to(page, page.get_by_label(f"I agree to recordings of {child}"))
        page.keyboard.press("Space")
    tab_to(page, page.get_by_role("button", name="Accept"))
    page.keyboard.press("Enter")
    page.wait_for_url("**/children/*/send/")
    tab_to(page, page.locator("input[type=file]"))
    with page.expect_file_chooser() as chooser:
        page.keyboard.press("Space")
    chooser.value.set_files(SAMPLE)
    expect(page.locator('[data-part="details"]')).to_contain_text("MB")
    tab_to(page, page.get_by_role("button", name="Send it"))
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/children/\d+/$"))
    assert Clip.objects.get().enrolment.pupil.name == "Ida Fenn"


def press(page: Page, role: str, name: str | re.Pattern, heading: str | re.Pattern) -> None:
    """Reach a link or a button by Tab, press Enter, and be on the page with this heading."""
    tab_to(page, page.get_by_role(role, name=name).first)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text(heading)
    assert fits(page)


def test_withdrawing_agreeing_again_and_ending_by_keyboard_alone(cast, windows):
    """Copy and erasure: test_copy_from_disk.py, test_erasing.py."""
    page = windows.enter(cast.guardian, viewport={"width": 360, "height": 740})
    page.goto("/children/")
    press(page, "link", "Consent", "Consent for Mira")
    press(page, "link", "Withdraw it", "Withdraw consent for Mira")
    press(page, "button", "Withdraw consent", "Consent for Mira")
    assert not consent.is_given(cast.enrolment)
    press(page, "link", "Read on and agree", "Give consent for Mira")
    press(page, "button", "I agree", "Consent for Mira")
    assert consent.is_given(cast.enrolment)
    press(page, "link", "What is kept, and a copy of it", "Your data")
    press(page, "link", "End the lessons", re.compile("End Mira’s lessons"))
    press(page, "button", "End the lessons", "Your data")
    assert not access.is_current(Enrolment.objects.get(pk=cast.enrolment.pk))
    press(page, "button", re.compile("Take it back"), "Your data")
    assert access.is_current(Enrolment.objects.get(pk=cast.enrolment.pk))


# -- the teacher's side --------------------------------------------------------------------


def test_a_teacher_makes_the_link_and_copies_it(cast, windows):
    page = windows.enter(cast.teacher, permissions=["clipboard-read", "clipboard-write"])
    page.goto("/people/")
    page.get_by_text("Invite a family").click()
    family = page.locator("#invite-family")
    family.get_by_label("Guardian’s name").fill("Petra Fenn")
    family.get_by_label("Guardian’s e-mail").fill("petra@home.example")
    for row, name in enumerate(("Ida Fenn", "Otto Fenn")):
        family.get_by_label("Child’s name").nth(row).fill(name)
        family.get_by_label("Year of birth").nth(row).fill(str(YEAR - 9))
        if row == 0:
            family.get_by_role("button", name="One more child").click()
            expect(family.get_by_label("Child’s name")).to_have_count(2)
            expect(family.get_by_label("Child’s name").first).to_have_value("Ida Fenn")
    family.get_by_role("button", name="Make the invitation").click()
    expect(page.get_by_text("As guardian of Ida Fenn and Otto Fenn")).to_be_visible()
    page.get_by_role("button", name="Copy the link for Petra Fenn").click()
    expect(page.locator("copy-text [role=status]")).to_have_text("Copied.")
    link = page.get_by_label("The link for Petra Fenn").input_value()
    assert page.evaluate("navigator.clipboard.readText()") == link


def test_where_the_clipboard_is_closed_the_link_is_copied_by_selecting_it(cast, windows):
    page = windows.enter(cast.teacher)
    page.add_init_script("delete Navigator.prototype.clipboard")
    page.goto(f"/people/places/{cast.enrolment.pk}/password/")
    page.get_by_role("button", name="Make the link").click()
    page.get_by_role("button", name="Copy the link for Mira Sandholm").click()
    expect(page.locator("copy-text [role=status]")).not_to_be_empty()


def test_without_scripts_the_link_can_be_selected(cast, windows):
    page = windows.enter(cast.teacher, java_script_enabled=False)
    page.goto(f"/people/places/{cast.enrolment.pk}/password/")
    page.get_by_role("button", name="Make the link").click()
    expect(page.get_by_label("The link for Mira Sandholm")).to_have_value(re.compile("/link/"))
    expect(page.get_by_role("button", name="Copy the link")).to_have_count(0)


# -- a child's log-in ----------------------------------------------------------------------


def test_a_child_comes_in_with_the_code_that_her_mother_makes(cast, windows, real_passwords):
    page = windows(**SMALL_PHONE).new_page()
    hand = Hand(page)
    page.goto(link_for(cast, IDA))
    accept(hand, "Ida")
    page.goto("/children/")
    page.get_by_role("link", name="Ida’s log-in").tap()
    page.get_by_role("button", name="Make the log-in").tap()
    expect(page.locator("dd code")).to_have_count(2)
    name, code = page.locator("dd code").all_inner_texts()
    assert name == "ida.fenn"
    child = windows(**SMALL_PHONE).new_page()
    child.goto("/log-in/")
    child.get_by_label("Your e-mail address or log-in name").fill("Ida.Fenn")
    child.get_by_label("Password", exact=True).fill(code.lower().replace("-", " "))
    child.get_by_role("button", name="Log in").tap()
    child.wait_for_url("**/queue/")
    assert fits(child)


def test_a_guardian_who_has_an_account_logs_in_and_brings_one_more(cast, windows, real_passwords):
    page = windows(**SMALL_PHONE).new_page()
    page.goto(link_for(cast, IDA, email=cast.guardian.email))
    page.get_by_role("link", name="Log in").tap()
    page.wait_for_url("**/log-in/**")
    log_in(page, cast.guardian)
    page.get_by_label("I agree to recordings of Ida").tap()
    page.get_by_role("button", name="Accept as Edda Sandholm").tap()
    page.wait_for_url("**/children/*/send/")
    expect(page.get_by_role("heading", name="Send a clip of Ida")).to_be_visible()


@pytest.mark.usefixtures("real_passwords")
def test_a_childs_new_address_is_asked_for_and_agreed_to_by_keyboard_alone(cast, windows):
    child = windows.enter(cast.pupil, viewport={"width": 360, "height": 740})
    child.goto("/account/")
    tab_to(child, child.locator("summary", has_text="Change your address"))
    child.keyboard.press("Enter")
    form = child.locator("form[action$='/account/address/']")
    for field, typed in (("Your new e-mail address", "mira@new.example"), ("password", PASSWORD)):
        tab_to(child, form.get_by_label(field))
        child.keyboard.type(typed)
    child.keyboard.press("Enter")
    expect(child.locator(".messages")).to_contain_text("Edda Sandholm is asked")
    assert fits(child)

    page = windows.enter(cast.guardian, viewport={"width": 360, "height": 740})
    page.goto("/children/")
    press(page, "link", "Agree or decline", "Mira wants another address")
    press(page, "button", "Agree", "Children")
    expect(page.locator(".messages")).to_contain_text("Mira logs in with mira@new.example")
    assert Person.objects.get(pk=cast.pupil.pk).email == "mira@new.example"


def test_a_studio_is_handed_over_by_keyboard_alone(cast, windows):
    page = windows.enter(cast.teacher, viewport={"width": 360, "height": 740})
    page.goto("/people/")
    press(page, "link", "Hand over the studio", re.compile("Hand over"))
    tab_to(page, page.get_by_label("The new owner"))
    page.keyboard.type("Colleague")
    tab_to(page, page.get_by_role("button", name="Hand over the studio"))
    page.keyboard.press("Enter")
    expect(page.locator(".messages")).to_contain_text("Colleague owns")
    assert fits(page)
