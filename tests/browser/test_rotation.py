"""The key rotation in a real browser: by pointer, by keys alone, without script, two at once."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Locator, Page, expect

from studio.drills.models import Assignment
from studio.drills.rotation import access, services
from studio.drills.rotation.models import Rotation
from studio.drills.rotation.overview import overview_of
from tests.browser.measured import SETTLED
from tests.cast import as_person

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE, TABLET, DESK = (390, 844), (820, 1180), (1440, 900)
TOUCH_PX = 44
# The browser itself complains of a refused request, which is what is tested.
EXPECTED = re.compile(r"status of (409|422)|Response Status Error Code 409")


@pytest.fixture
def opened(chromium: Browser, live_server):
    """A page for a person; every complaint of the browser fails the test at the end."""
    contexts, complaints = [], []

    def open_page(who, address: str, size: tuple[int, int] = DESK, **options) -> Page:
        viewport = {"width": size[0], "height": size[1]}
        context = chromium.new_context(
            viewport=viewport, base_url=live_server.url, reduced_motion="reduce", **options
        )
        contexts.append(context)
        for name, morsel in as_person(who).cookies.items():
            context.add_cookies([{"name": name, "value": morsel.value, "url": live_server.url}])
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda said: said.type == "error" and complaints.append(said.text))
        page.goto(address)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert [said for said in complaints if not EXPECTED.search(said)] == []


@pytest.fixture
def plan(cast) -> str:
    """Mira's plan, and the address of its page."""
    services.begin(cast.enrolment, cast.teacher, timezone.localdate() + timedelta(days=2))
    return f"/pupils/{cast.enrolment.pk}/keys/"


def kept(cast) -> list[str]:
    """The first round as the database has it."""
    found = overview_of(access.rotation_of(cast.enrolment))
    return [str(place.lesson) for place in found.rounds[0].open]


def rows(page: Page) -> Locator:
    return page.locator("lesson-order").first.locator("[data-lesson]")


def titles(page: Page) -> list[str]:
    return rows(page).locator("b").all_text_contents()


def grip(page: Page, place: int) -> Locator:
    return rows(page).nth(place).locator('[data-part="grip"]')


def centre(found: Locator) -> tuple[float, float]:
    box = found.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def drag(page: Page, place: int, to: int) -> None:
    grip(page, place).scroll_into_view_if_needed()
    page.mouse.move(*centre(grip(page, place)))
    page.mouse.down()
    page.mouse.move(*centre(grip(page, to)), steps=8)


def saved(page: Page) -> None:
    expect(page.locator(".messages")).to_contain_text("Round 1 is in its new order.")


def test_a_lesson_is_dragged_to_another_place_and_the_days_stay(cast, plan, opened):
    page = opened(cast.teacher, plan)
    before, days = titles(page), rows(page).locator('[data-part="day"]').all_text_contents()
    drag(page, 1, 3)
    expected = [before[0], before[2], before[3], before[1], *before[4:]]
    assert titles(page) == expected
    page.mouse.up()
    saved(page)
    assert titles(page) == kept(cast) == expected
    assert rows(page).locator('[data-part="day"]').all_text_contents() == days


def test_a_finger_drags_a_lesson_upwards_on_a_phone(cast, plan, opened):
    page = opened(cast.teacher, plan, PHONE, has_touch=True, is_mobile=True)
    before = titles(page)
    grip(page, 1).scroll_into_view_if_needed()
    (x, y), (_, up) = centre(grip(page, 2)), centre(grip(page, 0))
    finger = page.context.new_cdp_session(page)

    def touch(kind: str, *points: tuple[float, float]) -> None:
        at = [{"x": x, "y": y} for x, y in points]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": at})

    touch("touchStart", (x, y))
    for step in range(1, 9):
        touch("touchMove", (x, y + (up - y) * step / 8))
    touch("touchEnd")
    saved(page)
    assert kept(cast)[:3] == [before[2], before[0], before[1]]


def test_escape_puts_a_lesson_back(cast, plan, opened):
    page = opened(cast.teacher, plan)
    before = titles(page)
    drag(page, 1, 3)
    page.keyboard.press("Escape")
    page.mouse.up()
    assert titles(page) == kept(cast) == before
    assert Rotation.objects.get().version == 1


def test_several_presses_of_the_arrow_keys_make_one_change(cast, plan, opened):
    page = opened(cast.teacher, plan)
    before = titles(page)
    grip(page, 0).focus()
    for key in ("ArrowDown", "ArrowDown", "ArrowUp", "End", "ArrowUp"):
        page.keyboard.press(key)
    status = page.locator("body > [role=status]:not(#aloud)")
    expect(status).to_have_text(f"{before[0]}: place 11 of 12")
    saved(page)
    assert kept(cast).index(before[0]) == 10
    assert Rotation.objects.get().version == 2
    focused = page.evaluate("document.activeElement.closest('[data-lesson]').textContent")
    assert before[0] in focused
    expect(status).to_have_text("Round 1 is in its new order.")


def test_the_whole_way_by_keys_alone(cast, plan, opened):
    """From the plan to the lesson, one key ticked off, the other key's drill set."""
    page = opened(cast.teacher, plan)

    def tab_to(name: str) -> None:
        for _ in range(60):
            page.keyboard.press("Tab")
            label = page.evaluate(
                "(document.activeElement.ariaLabel ?? document.activeElement.textContent).trim()"
            )
            if label == name:
                return
        raise AssertionError(f"{name} cannot be reached by Tab")

    tab_to("Open the lesson")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("G major and G minor")
    tab_to("Done: G major")
    page.keyboard.press("Enter")
    expect(page.locator(".messages")).to_contain_text("G major is ticked off.")
    tab_to("Set these drills")
    page.keyboard.press("Enter")
    expect(page.locator(".messages")).to_contain_text("1 drill is in Mira Sandholm’s queue.")
    assert Assignment.objects.get(enrolment=cast.enrolment).version.key == "G minor"


def test_the_buttons_move_a_lesson_and_keep_the_focus(cast, plan, opened):
    page = opened(cast.teacher, plan)
    before = titles(page)
    later = page.get_by_role("button", name=f"Later: {before[0]}").first
    later.focus()
    place = "document.querySelector('lesson-order').getBoundingClientRect().top"
    at = page.evaluate(place)
    later.press("Enter")
    expect(page.locator(".messages")).to_contain_text(f"{before[0]} is later now.")
    assert page.evaluate(place) == pytest.approx(at, abs=1), "the page stands still"
    assert kept(cast)[:2] == [before[1], before[0]]
    assert page.evaluate("document.activeElement.ariaLabel") == f"Later: {before[0]}, round 1"
    page.get_by_role("button", name=f"Earlier: {before[1]}").first.press("Enter")
    page.wait_for_timeout(300)  # long enough for a request that must not be made
    assert Rotation.objects.get().version == 2


def test_without_script_the_buttons_do_the_same(cast, plan, opened):
    page = opened(cast.teacher, plan, PHONE, java_script_enabled=False)
    before = titles(page)
    expect(grip(page, 0)).to_be_hidden()
    page.get_by_role("button", name=f"To the end of the round: {before[0]}").first.click()
    expect(page.locator(".messages")).to_contain_text(f"{before[0]} comes last in its round now.")
    assert kept(cast) == [*before[1:], before[0]]
    page.get_by_role("button", name="No lesson on").click()
    expect(page.locator(".messages")).to_contain_text("none is lost")


def test_of_two_teachers_who_drag_the_second_sees_what_the_first_did(cast, plan, opened):
    page = opened(cast.teacher, plan)
    before = titles(page)
    first = overview_of(access.rotation_of(cast.enrolment)).next.lesson
    services.move_lesson(first, cast.colleague, "end", seen=1)
    drag(page, 1, 3)
    page.mouse.up()
    expect(page.get_by_role("alert")).to_contain_text("Colleague changed this plan")
    assert titles(page) == kept(cast) == [*before[1:], before[0]]
    page.reload()
    drag(page, 0, 1)
    page.mouse.up()
    saved(page)


def test_nothing_runs_over_the_edge_and_a_thumb_hits_what_it_means(cast, plan, opened):
    lesson = overview_of(access.rotation_of(cast.enrolment)).next.lesson
    pages = {
        cast.teacher: (f"{plan}lessons/{lesson.pk}/", f"/pupils/{cast.other_enrolment.pk}/keys/"),
        cast.pupil: (),
    }
    for who, others in pages.items():
        page = opened(who, plan if others else "/keys/", PHONE)
        fits(page)
        for address in others:
            page.goto(address)
            fits(page)


def fits(page: Page) -> None:
    for size in (TABLET, PHONE):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        page.evaluate(SETTLED)
        fits_in(page, size)


def fits_in(page: Page, size: tuple[int, int]) -> None:
    """Nothing scrolls sideways; on a phone, what can be pressed is as high as a thumb."""
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    small = page.locator("main").evaluate(
        """(main, least) => [...main.querySelectorAll("button, select, summary, .button")]
            .filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < least)
            .map((e) => e.outerHTML)""",
        TOUCH_PX,
    )
    assert size != PHONE or small == []


@pytest.fixture
def call(chromium: Browser, live_server):
    """Call a function of the pure module with JSON arguments."""
    page = chromium.new_page()
    page.goto(f"{live_server.url}/log-in/")
    yield lambda name, *arguments: page.evaluate(
        "([f, a]) => import('/static/rotation/order.js').then((all) => all[f](...a))",
        [name, list(arguments)],
    )
    page.close()


def test_orders_as_plain_values(call):
    assert call("moved", ["a", "b", "c", "d"], 1, 3) == ["a", "c", "d", "b"]
    assert call("moved", ["a", "b", "c"], 2, 0) == ["c", "a", "b"]
    assert [call("placeAt", y, [10, 20, 30]) for y in (-5, 9.9, 10, 25, 99)] == [0, 0, 1, 2, 2]
    keys = ["ArrowUp", "ArrowDown", "Home", "End", "Enter"]
    assert [call("placeByKey", key, 0, 3) for key in keys] == [0, 1, 0, 2, None]
    assert call("placeByKey", "ArrowDown", 2, 3) == 2
