"""The desk's keys are changed in their own dialog, by keyboard alone."""

import pytest
from playwright.sync_api import expect

from studio.review.models import Decision, DeskKeys
from tests.browser.at_desk import clip, folder, opened, said, sent  # noqa: F401

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_key_is_changed_swapped_refused_and_given_back(cast, clip, opened):
    page = opened(cast.teacher, clip)
    press, told = page.keyboard.press, page.locator(".keys-said")

    def change(words: str):
        button = page.get_by_role("button", name=f"change: {words}")
        button.focus()
        press("Enter")
        expect(told).to_contain_text(f"Press the new key for “{words}”")
        return button

    press("?")
    button = change("hear the next mark")
    press("F5")
    expect(told).to_contain_text("needed by the browser")
    press("9")
    expect(told).to_have_text("“hear the next mark” is now 9.")
    expect(button).to_be_focused()
    assert DeskKeys.objects.get().keys == {"next-mark": "9"}

    change("keep the selected mark")
    press("d")
    expect(told).to_contain_text("d is the key for “drop the selected mark")
    expect(page.get_by_role("button", name="Swap the two")).to_be_focused()
    press("Enter")
    expect(told).to_have_text("“keep the selected mark” is now d.")

    button = change("loop the selected span, or stop looping")
    press("Escape")
    expect(told).to_have_text("Left as it was.")
    expect(button).to_be_focused()
    expect(page.locator(".keys-help kbd").get_by_text("l", exact=True)).to_be_visible()
    press("Escape")
    expect(page.locator(".keys-help")).to_be_hidden()

    page.reload()
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    press("n")
    press("9")
    expect(page.locator("[data-mark='0']")).to_be_focused()
    press("d")
    expect(said(page)).to_have_text("Kept.")
    sent(page)
    assert Decision.objects.get().choice == "kept"

    press("?")
    page.get_by_role("button", name="as it was: keep the selected mark").press("Enter")
    expect(told).to_contain_text("Change that one first.")
    page.get_by_role("button", name="All as they were").press("Enter")
    expect(told).to_have_text("All keys are as they were.")
    assert DeskKeys.objects.get().keys == {}
    expect(page.get_by_role("button", name="as it was")).to_have_count(0)
    page.context.set_offline(True)
    change("next row")
    press("9")
    expect(told).to_contain_text("Not kept: there is no connection")
    assert DeskKeys.objects.get().keys == {}
