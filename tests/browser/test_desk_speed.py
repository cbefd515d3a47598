"""The desk with two thousand events: it opens and answers soon, and stays in step.

The limits are far above what ``deploy/measure desk`` finds on a machine that has nothing else to
do, and far below what is met when something costs more with each row.
"""

from itertools import pairwise

import pytest
from playwright.sync_api import Browser, expect

from tests.benchmarks.reviewing.browser import Desk
from tests.benchmarks.reviewing.clips import make_long_clips
from tests.cast import as_person
from tests.deploy.processes import until
from tests.review.long_clip import EVENTS

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PAINT_MS, READY_MS, KEY_MS = 6000, 10_000, 1000  # a shared machine under full load
PAGE_KB, SCRIPTS_KB = 300, 200  # scripts are served as they are here, compressed when deployed
WAIT_S = 10.0


@pytest.fixture
def desk(cast, settings, tmp_path, chromium: Browser, live_server):
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.MEDIA_ROOT.mkdir()
    clip, *_ = make_long_clips(cast, 1, tmp_path, with_sound=False)
    cookies = {name: str(m.value) for name, m in as_person(cast.teacher).cookies.items()}
    opened = Desk(chromium, live_server.url, cookies)
    opened.clip = clip
    yield opened
    opened.close()


def comes_true(page, what: str) -> None:
    until(lambda: page.evaluate(what), WAIT_S, what)


def test_a_long_clip_opens_answers_and_stays_in_step(desk):
    soon = desk.open(desk.clip.pk)
    assert soon["first_paint_ms"] < PAINT_MS
    assert soon["ready_ms"] < READY_MS
    weight = desk.weight()
    assert weight["scripts_kb"] < SCRIPTS_KB
    assert weight["page_kb"] - weight["scripts_kb"] < PAGE_KB
    page = desk.page
    assert page.evaluate("document.querySelectorAll('[data-event]').length") > EVENTS
    keys = desk.keys(1)
    assert {name: wait for name, wait in keys.items() if wait > KEY_MS} == {}
    in_step(page)
    detail_comes_with_nearness(page)
    a_span_is_played_again_and_again(page)


def in_step(page) -> None:
    """A row far down: recording, picture and ledger all go to it."""
    row = page.locator(".head").nth(300)
    start, event = float(row.get_attribute("data-start")), row.get_attribute("data-event")
    page.evaluate("document.querySelectorAll('.head')[299].focus({ preventScroll: true })")
    page.keyboard.press("0")
    for _ in range(7):
        page.keyboard.press("+")
    page.keyboard.press("ArrowDown")
    while page.evaluate("document.activeElement.className").split()[0] != "head":
        page.keyboard.press("ArrowDown")
    expect(row).to_be_focused()
    comes_true(page, f"Math.abs(document.querySelector('video').currentTime - {start}) < 0.1")
    shown = "document.querySelector('sound-picture').view"
    comes_true(page, f"{shown}.from <= {start} && {shown}.to >= {start}")
    assert page.evaluate("document.activeElement.dataset.event") == event
    expect(row).to_be_in_viewport()


def detail_comes_with_nearness(page) -> None:
    """From far away no track is fetched; near by, those in view are."""
    tracks = """document.querySelector('sound-picture').events
                  .filter(({ voices }) => voices[0].track).length"""
    comes_true(page, f"{tracks} > 10")
    assert page.evaluate(tracks) < EVENTS / 2


def a_span_is_played_again_and_again(page) -> None:
    span = page.evaluate(
        """() => { const { from, to } = document.querySelector("sound-picture").view;
             const span = [from + (to - from) * 0.4, from + (to - from) * 0.4 + 0.6];
             document.querySelector("sound-picture").select(span); return span }"""
    )
    page.locator("clip-desk").focus()
    page.keyboard.press("l")
    comes_true(page, "!document.querySelector('video').paused")
    places = page.evaluate(
        """() => new Promise((resolve) => {
             const [video, places] = [document.querySelector("video"), []];
             const timer = setInterval(() => places.push(video.currentTime), 30);
             setTimeout(() => { clearInterval(timer); resolve(places) }, 3000) })"""
    )
    again = sum(later < sooner - 0.2 for sooner, later in pairwise(places))
    assert again >= 2
    assert min(places) > span[0] - 0.1
    assert max(places) < span[1] + 0.3
    page.keyboard.press("Escape")
    comes_true(page, f"document.querySelector('video').currentTime > {span[1]} + 0.4")
