"""Two takes side by side: in step at every speed, put right when one drifts, by keys and touch."""

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from studio.clips.models import Clip
from tests.browser.at_desk import (  # noqa: F401
    DESK,
    PHONE,
    SAMPLE,
    clip,
    comes_true,
    folder,
    keep,
    opened,
)
from tests.browser.modules import call  # noqa: F401
from tests.cast import as_person, make_clip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

IN_STEP_S = 0.08  # two frames of the sample
READY = "[...document.querySelectorAll('video')].every((v) => v.readyState > 3)"
PLACES = "[...document.querySelectorAll('.two video')].map((v) => v.currentTime)"


@pytest.fixture
def earlier(cast) -> Clip:
    """A clip in which nothing has to have been heard."""
    made = make_clip(cast.enrolment, "Bow hold, before", duration_s=13.4)
    keep(made, "playable", "video/mp4", ".mp4", SAMPLE.read_bytes())
    Clip.objects.filter(pk=made.pk).update(created_at=timezone.now() - timedelta(days=7))
    return made


def beside(page: Page) -> Page:
    expect(page.locator("two-takes")).to_have_attribute("data-ready", "")
    comes_true(page, READY)
    return page


def apart(page: Page) -> float:
    then, now = page.evaluate(PLACES)
    return now - then


def test_two_takes_stay_in_step_at_half_speed_by_keyboard(cast, clip, earlier, opened):
    page = opened(cast.teacher, clip)
    keys = page.keyboard
    keys.press("Shift+J")
    page.wait_for_url("**/together/")
    beside(page)
    for _ in range(3):
        keys.press("]")
    assert apart(page) == pytest.approx(-0.12, abs=0.005)
    expect(page.locator("[data-part='offset']")).to_have_text("Offset: −0.12 s.")
    keys.press("s")
    expect(page.get_by_role("button", name="Half speed")).to_have_attribute("aria-pressed", "true")
    keys.press("Space")
    comes_true(page, "document.querySelector('[data-take=now] video').currentTime > 0.3")
    in_step = f"(([a, b]) => Math.abs(b - a + 0.12) < {IN_STEP_S})({PLACES})"
    comes_true(page, in_step)
    # One falls behind, as a busy phone's does, by a little and by much; it is put right.
    for by in (0.15, 1.0):
        page.evaluate(
            "(by) => { document.querySelector('[data-take=now] video').currentTime -= by; }", by
        )
        comes_true(page, in_step)
    keys.press("Space")
    comes_true(page, "[...document.querySelectorAll('video')].every((v) => v.paused)")
    keys.press("x")
    keys.press("ArrowRight")
    at = page.evaluate(PLACES)[0]
    keys.press("b")
    assert page.evaluate(PLACES)[0] == pytest.approx(at - 1, abs=0.01)
    keys.press("a")
    assert page.evaluate("document.querySelector('[data-take=now] video').muted")
    keys.press("j")
    page.wait_for_url(f"**/clips/{clip.pk}/")


def test_two_takes_on_a_phone_by_touch(cast, clip, earlier, opened):
    page = opened(cast.teacher, clip, PHONE, has_touch=True)
    page.goto(f"/clips/{clip.pk}/together/")
    beside(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    boxes = [page.locator(f"[data-take='{take}'] video").bounding_box() for take in ("then", "now")]
    assert boxes[0]["y"] == boxes[1]["y"], "side by side"
    page.locator("#then-place").fill("2")
    assert apart(page) == pytest.approx(-2, abs=0.05)
    page.get_by_role("button", name="Quarter speed").tap()
    page.get_by_role("button", name="Play", exact=True).tap()
    comes_true(page, "document.querySelector('[data-take=now] video').currentTime > 0.2")
    assert page.evaluate("document.querySelector('video').playbackRate") == pytest.approx(
        0.25, rel=0.16
    )
    assert apart(page) == pytest.approx(-2, abs=IN_STEP_S)


@pytest.mark.parametrize(
    ("drift", "jump", "rate"),
    [
        (0.0, False, 0.5),
        (0.01, False, 0.5),
        (0.05, False, 0.46),
        (-0.2, False, 0.575),
        (1, True, 0.5),
    ],
)
def test_a_little_drift_is_made_up_by_speed_and_much_by_a_jump(call, drift, jump, rate):
    found = call("in-step", "correction", drift, 0.5)
    assert found == {"jump": jump, "rate": pytest.approx(rate)}


def test_only_earlier_clips_of_the_pupil_that_can_be_played(cast, clip, earlier):
    teacher = as_person(cast.teacher)
    page = teacher.get(f"/clips/{clip.pk}/together/")
    assert page.context["other"].clip == earlier
    assert "no earlier clip" in teacher.get(f"/clips/{earlier.pk}/together/").content.decode()
    strange = make_clip(cast.foreign_enrolment, "Hers", duration_s=9.0)
    for other in (strange.pk, clip.pk, "no-number"):
        assert teacher.get(f"/clips/{clip.pk}/together/?with={other}").status_code == 404
    earlier.stages.filter(kind="playback").update(state="working")
    assert teacher.get(f"/clips/{clip.pk}/together/").context["other"] is None
