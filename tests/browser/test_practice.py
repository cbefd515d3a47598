"""Noting practice in a browser: the timer by a made-up clock, and entries over a bad line."""

from datetime import datetime

import pytest
from playwright.sync_api import Page, Route, expect

from studio.drills.models import PracticeEntry

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

KEPT = "are kept on this device"
MINUTE_MS = 60_000


def address(cast) -> str:
    return f"/lessons/{cast.enrolment.pk}/practice/"


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def pass_minutes(page: Page, minutes: int) -> None:
    page.clock.fast_forward(minutes * MINUTE_MS)


def test_the_timer_counts_by_the_wall_clock_and_proposes_a_rest_in_words(cast, windows):
    page = windows.enter(cast.pupil)
    page.clock.install(time=datetime.now())
    page.goto(address(cast))
    time, rest = page.locator("[data-part=time]"), page.locator("[data-part=rest]")
    press(page, "Start")
    pass_minutes(page, 12)
    expect(time).to_have_text("12 min")
    page.reload()  # and it counted on, as it does behind a locked screen
    expect(time).to_have_text("12 min")
    pass_minutes(page, 7)
    expect(time).to_have_text("19 min")
    expect(rest).to_be_empty()  # a child's rest is proposed at 20
    pass_minutes(page, 1)
    expect(rest).to_contain_text("20 minutes without a rest")
    press(page, "Pause")
    expect(rest).to_be_empty()
    pass_minutes(page, 1)  # too short for a rest: the stretch goes on
    press(page, "Go on")
    expect(rest).to_contain_text("20 minutes without a rest")
    pass_minutes(page, 2)
    press(page, "Pause")
    pass_minutes(page, 5)
    press(page, "Go on")
    pass_minutes(page, 4)
    press(page, "End")
    expect(page.get_by_label("Minutes played")).to_have_value("26")
    expect(page.get_by_label("Minutes played")).to_be_focused()
    expect(page.get_by_label("Without a rest")).to_have_value("22")
    page.get_by_label("a little tired").check()
    press(page, "Note it")
    expect(page.locator(".practice-rows")).to_contain_text("a little tired")
    entry = PracticeEntry.objects.get()
    assert (entry.minutes, entry.unbroken_min, entry.hand) == (26, 22, "little_tired")
    expect(page.locator("[data-part=time]")).to_have_text("0 min")


def test_without_a_line_it_waits_warns_at_once_and_arrives_once(cast, windows):
    page = windows.enter(cast.pupil, service_workers="allow")
    page.goto("/queue/")
    expect(page.locator("[data-kept-here] p")).to_contain_text(KEPT)
    page.context.set_offline(True)
    page.goto(address(cast))
    expect(page.locator("[data-kept-copy]")).to_be_visible()
    page.get_by_label("Minutes played").fill("14")
    page.get_by_label("it hurt").check()
    press(page, "Note it")
    expect(page.locator("practice-note [role=alert]:visible")).to_contain_text("Stop playing now.")
    waiting = page.locator("waiting-entries")
    expect(waiting).to_contain_text("14 min")
    expect(page.get_by_label("Minutes played")).to_have_value("")
    page.reload()  # the same copy again: what is noted from it is another entry
    page.get_by_label("Minutes played").fill("9")
    press(page, "Note it")
    expect(waiting).to_contain_text("9 min")

    lost: list[str] = []

    def lose_the_answer(route: Route) -> None:
        """The studio has it, and the page does not hear of it."""
        lost.append(route.fetch().text())
        route.abort()

    page.context.route(f"**{address(cast)}", lose_the_answer, times=1)
    page.context.set_offline(False)
    expect(waiting).to_be_hidden()
    noted = PracticeEntry.objects.order_by("pk").values_list("minutes", "hand")
    assert list(noted) == [(14, "hurt"), (9, "")]
    assert cast.teacher.notifications.count() == 1


def test_a_log_out_says_what_is_not_noted_yet_and_leaves_nothing(cast, windows):
    page = windows.enter(cast.pupil)
    page.goto(address(cast))
    page.route(f"**{address(cast)}", lambda route: route.abort())
    page.get_by_label("Minutes played").fill("14")
    press(page, "Note it")
    expect(page.locator("waiting-entries")).to_contain_text("14 min")
    press(page, "Log out")
    expect(page.locator(".unsent")).to_contain_text("practice on this device is not noted yet")
    press(page, "Log out without sending")
    page.wait_for_url("**/log-in/")
    page.wait_for_function("Object.keys(localStorage).length === 0")
    assert not PracticeEntry.objects.exists()
