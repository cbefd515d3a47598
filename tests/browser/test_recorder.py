"""Recording in the page: heard to the cent, and what a browser does to the sound is said."""

import pytest
from playwright.sync_api import Page, Playwright, expect

from studio.clips import services, tasks
from studio.clips.models import Clip
from studio.review.marks.judging import judged
from tests.browser import recorder
from tests.browser.conftest import CHROMIUM
from tests.browser.recorder import PHONE, log_in, record, turn_on
from tests.deploy.processes import until
from tests.review.heard_clip import review_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

WITHIN_CENTS = 3.0

microphone = recorder.microphone  # the fixture


@pytest.fixture(scope="module")
def chromium(playwright: Playwright, microphone):
    options = recorder.options(microphone)
    browser = playwright.chromium.launch(executable_path=CHROMIUM, args=options)
    yield browser
    browser.close()


@pytest.fixture(autouse=True)
def surroundings(monkeypatch, settings, tmp_path):
    """Nothing goes to a queue or to a shared folder."""
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: True)
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def page(chromium, cast, live_server):
    context = chromium.new_context(viewport=PHONE, base_url=live_server.url)
    log_in(context, cast.pupil, live_server.url)
    yield context.new_page()
    context.close()


def send(page: Page) -> Clip:
    page.get_by_role("button", name="Send it", exact=True).click()
    page.wait_for_url("**/queue/")
    return Clip.objects.get()


def test_what_is_recorded_in_the_page_is_heard_to_the_cent(page):
    turn_on(page)
    expect(page.locator('[data-part="changed"]')).to_be_hidden()  # the track says: all is off
    record(page, 6)
    page.get_by_role("button", name="Send this take").click()
    page.get_by_label("A name for it").fill("Sixths")
    clip = send(page)
    assert (clip.title, clip.has_audio) == ("Sixths", True)
    assert clip.duration_s == pytest.approx(6.5, abs=1.0)
    until(lambda: recorder.is_emptied(page), 5, "the device has nothing of it any more")

    tasks.listen_to_clip(clip_id=str(clip.pk))
    found = judged(review_of(clip))
    wide = [mark for mark in found.judgement["marks"] if mark["code"] == "interval_wide"]
    assert {mark["params"]["interval"] for mark in wide} == {"M6"}
    for mark in wide:
        assert mark["params"]["deviation_cents"] == pytest.approx(
            recorder.WIDE_CENTS, abs=WITHIN_CENTS
        )


FORCED = """
  const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
  navigator.mediaDevices.getUserMedia = ({ video }) => real({ video, audio: {
    echoCancellation: true, noiseSuppression: true, autoGainControl: true } });
"""


def test_what_a_browser_does_to_the_sound_is_said_and_its_drone_asks_for_headphones(page):
    page.add_init_script(FORCED)
    turn_on(page, picture=False)
    changed = page.locator('[data-part="changed"]')
    expect(changed).to_contain_text("This browser changes the sound: echo cancellation")
    expect(changed).to_contain_text("noise suppression and automatic loudness are on")
    page.get_by_role("button", name="Start the drone").click()
    expect(page.get_by_text("Are headphones on?")).to_be_visible()
    page.get_by_role("button", name="No: no drone").click()
    expect(page.get_by_role("button", name="Start the drone")).to_be_focused()
    page.get_by_role("button", name="Start the drone").click()
    page.get_by_role("button", name="Yes, they are on").click()
    expect(page.get_by_role("button", name="Stop the drone")).to_be_focused()
