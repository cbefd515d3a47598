"""A clip at the desk in a real browser: fixtures, and what may be asked of the page."""

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from studio.clips.models import Clip, Rendition
from studio.clips.storage import spool
from tests.cast import as_person, make_clip
from tests.deploy.processes import until
from tests.review.heard_clip import listen_again, measurement
from tests.samples import SAMPLE

LENGTH_S, RATE = 13.4, 15.0
FIRST_S, SECOND_S = 2.75, 8.55
PLAYED = (("Bb3", FIRST_S, (40.0, 27.0)), ("C4", SECOND_S, (-2.0, 30.0)))
MARKED_S = (4.25, 10.05)  # the last playing of each run
LEAD_IN_S = 0.5
WAIT_S = 30.0
DESK, TABLET, PHONE = (
    {"width": 1440, "height": 900},
    {"width": 820, "height": 1180},
    {"width": 390, "height": 844},
)


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def clip(cast) -> Clip:
    made = make_clip(
        cast.enrolment, "Octaves", has_audio=True, duration_s=LENGTH_S, frame_rate=RATE
    )
    listen_again(made, measurement(PLAYED, LENGTH_S))
    keep(made, "playable", "video/mp4", ".mp4", SAMPLE.read_bytes())
    return made


def keep(clip: Clip, kind: str, content_type: str, ending: str, data: bytes) -> None:
    part = spool.bench_path(ending)
    part.write_bytes(data)
    stored = spool.keep(spool.finished(part), f"{spool.clip_folder(clip.pk)}/{kind}{ending}")
    Rendition.objects.create(
        clip=clip,
        kind=kind,
        path=stored.path,
        sha256=stored.sha256,
        size_bytes=stored.size_bytes,
        content_type=content_type,
    )


@pytest.fixture
def opened(chromium: Browser, live_server):
    """A page for a person; what the browser complains of fails the test at the end."""
    contexts, complaints = [], []

    def open_page(who, clip: Clip, viewport: dict = DESK, *, playable=True, **options):
        context = chromium.new_context(viewport=viewport, base_url=live_server.url, **options)
        contexts.append(context)
        for name, morsel in as_person(who).cookies.items():
            context.add_cookies([{"name": name, "value": morsel.value, "url": live_server.url}])
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda said: said.type == "error" and complaints.append(said.text))
        page.goto(f"/clips/{clip.pk}/")
        expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
        if playable:
            comes_true(page, "document.querySelector('video').readyState > 0")
        return page

    yield open_page
    for context in contexts:
        context.close()
    known = re.compile(r"net::ERR_|status of (403|404|409|422)")
    assert [said for said in complaints if not known.search(said)] == []


def seconds(page: Page) -> float:
    return page.evaluate("document.querySelector('video, audio').currentTime")


def plays(page: Page) -> bool:
    return page.evaluate("!document.querySelector('video, audio').paused")


def comes_true(page: Page, what: str) -> None:
    """Playwright's own waiting evaluates text in the page, which the page's policy forbids."""
    until(lambda: page.evaluate(what), WAIT_S, what)


def said(page: Page):
    return page.locator("#said")


# A page that was reloaded leaves its acts to the next, which takes them on once it has gone.
NONE_KEPT = """() => Object.entries(localStorage).every(([name, kept]) =>
  !name.startsWith("desk-acts:") || JSON.parse(kept).acts.length === 0)"""


def sent(page: Page) -> None:
    """Everything that was pressed is with the server; the browser keeps none of it any more."""
    desk = page.locator("clip-desk")
    expect(desk).to_have_attribute("data-ready", "")
    page.wait_for_function(NONE_KEPT)
    expect(desk).not_to_have_attribute("data-unsent", "")
