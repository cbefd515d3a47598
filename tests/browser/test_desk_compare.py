"""Comparing in a real browser: then and now at one note, and two playings of a run."""

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from studio.clips.models import Clip
from tests.browser.at_desk import (  # noqa: F401
    DESK,
    PHONE,
    PLAYED,
    SAMPLE,
    TABLET,
    clip,
    comes_true,
    folder,
    keep,
    opened,
    plays,
    said,
    seconds,
)
from tests.cast import make_clip
from tests.review.heard_clip import listen_again, measurement

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

FRAME_S = 0.05
THEN = (("Bb3", 1.6, (20.0,)), ("C4", 7.25, (28.0,)))
# Where the last playing of each begins, then and now.
STARTS = {"octave B♭3–B♭4": (1.6, 4.25), "octave C4–C5": (7.25, 10.05)}
LANDED = """() => {
  window.landed = [];
  document.querySelectorAll("video").forEach((video) => video.addEventListener("play", () =>
    window.landed.push([video.closest("[data-take]").dataset.take, video.currentTime])));
}"""


@pytest.fixture
def earlier(cast, clip) -> Clip:
    made = make_clip(cast.enrolment, "Octaves, before", has_audio=True, duration_s=13.4)
    listen_again(made, measurement(THEN, 13.4))
    keep(made, "playable", "video/mp4", ".mp4", SAMPLE.read_bytes())
    Clip.objects.filter(pk=made.pk).update(created_at=timezone.now() - timedelta(days=7))
    return made


def places(page: Page) -> dict[str, tuple[float, bool]]:
    """Of each recording where it stands, and whether it plays."""
    found = page.evaluate(
        "[...document.querySelectorAll('[data-take]')].map((take) => [take.dataset.take, "
        "take.querySelector('video').currentTime, !take.querySelector('video').paused])"
    )
    return {take: (at, playing) for take, at, playing in found}


def test_one_key_switches_between_then_and_now_at_the_same_note(cast, clip, earlier, opened):
    page = opened(cast.teacher, clip)
    keys = page.keyboard
    page.locator("#b6-head").focus()
    keys.press("j")
    page.wait_for_url("**/compare/?note=*")
    expect(page.locator("clip-compare")).to_have_attribute("data-ready", "")
    pick = page.get_by_role("button", name="octave C4–C5")
    expect(pick).to_be_focused()
    expect(pick).to_have_attribute("aria-pressed", "true")
    comes_true(page, "[...document.querySelectorAll('video')].every((v) => v.readyState > 1)")
    page.evaluate(LANDED)

    keys.press("a")
    comes_true(page, "window.landed.length === 1")
    keys.press("ArrowUp")
    expect(page.get_by_role("button", name="octave B♭3–B♭4")).to_be_focused()
    still = places(page)
    for n, take in enumerate(("then", "now")):
        assert still[take] == (pytest.approx(STARTS["octave B♭3–B♭4"][n], abs=FRAME_S), False)
    for turn in ("now", "then", "now"):
        before = page.evaluate("window.landed.length")
        keys.press("a")
        comes_true(page, f"window.landed.length === {before + 1}")
        silent = "then" if turn == "now" else "now"
        start = STARTS["octave B♭3–B♭4"]
        take, landed = page.evaluate("window.landed.at(-1)")
        assert (take, landed) == (turn, pytest.approx(start[turn == "now"], abs=FRAME_S))
        there = places(page)
        assert there[silent] == (pytest.approx(start[silent == "now"], abs=FRAME_S), False)
        expect(page.get_by_role("button", name=f"Hear {turn}")).to_have_attribute(
            "aria-pressed", "true"
        )
    comes_true(page, "[...document.querySelectorAll('video')].every((v) => v.paused)")
    assert places(page)["now"][0] == pytest.approx(4.25 + 1.2, abs=0.3)  # it ends with its note

    page.set_viewport_size(PHONE)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.get_by_role("button", name="Keys").click()
    expect(
        page.locator(".keys-help dd").filter(has_text="the same note then, or now")
    ).to_be_visible()
    expect(page.locator(".keys-help dd").filter(has_text="drop this mark")).to_have_count(0)


SCALE = ["G3", "A3", "Bb3", "C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5", "D5", "E5"]
COVERED = """() => {
  const row = document.activeElement.closest("[data-line]").getBoundingClientRect();
  const rows = document.querySelector("clip-compare table").getBoundingClientRect();
  const stage = document.querySelector(".stage").getBoundingClientRect();
  const fixed = (nav) => getComputedStyle(nav).position === "fixed";
  const bars = [...document.querySelectorAll("nav")].filter(fixed);
  const foot = Math.min(innerHeight, ...bars.map((nav) => nav.getBoundingClientRect().top));
  const head = stage.left < rows.right ? stage.bottom : 0;
  return row.top < head - 1 && row.bottom > stage.top + 1 || row.top < -1 || row.bottom > foot + 1;
}"""


@pytest.fixture
def scales(clip, earlier):
    """Two scales; the earlier one leaves out what lies in the middle, and ends late."""
    played = [(low, 0.9 + 0.9 * n, (20.0,)) for n, low in enumerate(SCALE)]
    listen_again(clip, measurement(played, 13.4))
    listen_again(earlier, measurement(played[2:5] + played[8:], 13.4))
    return clip


def stays_in_sight(page: Page) -> None:
    """The row with the focus is covered by nothing, once the page has come to rest."""
    comes_true(page, f"!({COVERED})()")


@pytest.mark.parametrize("size", [DESK, TABLET, PHONE], ids=["desk", "tablet", "phone"])
def test_it_lands_on_a_row_to_compare_and_nothing_covers_it(cast, scales, opened, size):
    page = opened(cast.teacher, scales, size)
    keys = page.keyboard
    mark = page.locator(".block", has_text="F4–F5").locator("[data-about]")
    while mark.get_attribute("data-selected") is None:
        keys.press("n")
    keys.press("Space")
    comes_true(page, "document.querySelector('video').paused")
    about, at = mark.get_attribute("data-about"), seconds(page)
    keys.press("j")
    page.wait_for_url("**/compare/?note=*")
    expect(page.get_by_role("button", name="octave D4–D5")).to_be_focused()
    expect(page.locator(".switches .at")).to_have_text(
        "The octave F4–F5 was not played then. The nearest in both: octave D4–D5."
    )
    stays_in_sight(page)
    for key in [*["ArrowDown"] * 8, *["ArrowUp"] * 12]:
        keys.press(key)
        stays_in_sight(page)
    for _ in range(len(SCALE)):
        keys.press("ArrowDown")
    page.mouse.move(100, size["height"] - 200)
    page.mouse.wheel(0, 3000)
    keys.press("Shift+Tab")
    keys.press("Tab")
    stays_in_sight(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]

    keys.press("j")
    page.wait_for_url(f"**/clips/{scales.pk}/")
    expect(page.locator(f"[data-about='{about}']")).to_have_attribute("data-selected", "")
    comes_true(page, "document.querySelector('video').readyState > 0")
    comes_true(page, f"Math.abs(document.querySelector('video').currentTime - {at}) < 0.05")


def test_two_playings_of_a_run_are_set_side_by_side_and_heard(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.locator("#b2-head").focus()
    page.keyboard.press("Tab")
    expect(page.locator("#b2 [data-act='playings']")).to_be_focused()
    page.keyboard.press("Enter")
    result = page.locator("#b2 .two-playings [role='status']")
    expect(result).to_have_text("+40 ±1 c, then +27 ±1 c: closer by 13 ±1 c.")
    page.locator("#first-2").select_option(index=1)
    expect(result).to_have_text("+27 ±1 c, then +27 ±1 c: the same within what can be told.")
    page.locator("#first-2").select_option(index=0)
    expect(result).to_contain_text("closer by 13")
    page.get_by_role("button", name="Hear one, then the other").click()
    expect(said(page)).to_have_text("The first of the two.")
    assert 2.7 <= seconds(page) <= 3.9
    expect(said(page)).to_have_text("The second of the two.")
    comes_true(page, "document.querySelector('video').paused")
    assert not plays(page)
    assert seconds(page) == pytest.approx(PLAYED[0][1] + 1.5 + 1.2, abs=0.3)
    page.locator("#b2 [data-act='playings']").click()
    expect(page.locator(".two-playings")).to_have_count(0)
