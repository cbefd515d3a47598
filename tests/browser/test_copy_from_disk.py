"""A copy is asked for, taken and read: on a phone, by keyboard, and from a disk without a line."""

import zipfile
from pathlib import Path
from threading import Thread

import pytest
from django.db import connection
from playwright.sync_api import Browser, Page, expect

from studio.rights.copies import services
from studio.rights.models import Copy
from studio.rights.tasks import make_copy
from tests.cast import as_person
from tests.media.recordings import ffmpeg
from tests.rights.copies import lessons

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = {"width": 360, "height": 740}
WAIT_MS = 30_000
WIDTH = "document.documentElement.scrollWidth"
CUES = """video => new Promise(resolve => {
  const told = () => resolve([...video.textTracks[0].cues].map(
    cue => [cue.startTime, cue.endTime, cue.getCueAsHTML().textContent]));
  const track = video.querySelector("track");
  if (track.readyState === 2) told();
  else track.addEventListener("load", told);
})"""


@pytest.fixture(scope="module")
def voice() -> bytes:
    tone = ("-f", "lavfi", "-i", "sine=frequency=440:duration=3")
    return ffmpeg(*tone, "-c:a", "aac", "-movflags", "frag_keyframe", "-f", "mp4", "pipe:1")


@pytest.fixture
def furnished(cast, voice, settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT = tmp_path / "media"
    monkeypatch.setattr(services, "send", lambda *args: True)
    return lessons.furnish(cast, voice)


def pressed(page: Page, name: str) -> None:
    """Reach a button or link by the Tab key alone, and press it."""
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText") == name:
            page.keyboard.press("Enter")
            return
    raise AssertionError(f"no way to {name} by keyboard")


def made_elsewhere() -> None:
    """A worker makes what waits."""

    def work() -> None:
        try:
            make_copy(copy_id=str(Copy.objects.get().pk))
        finally:
            connection.close()

    worker = Thread(target=work)
    worker.start()
    worker.join()


def test_a_guardian_takes_a_copy_by_keyboard_and_reads_it_offline(
    furnished, chromium: Browser, live_server, tmp_path
):
    session = as_person(furnished.cast.guardian).cookies["session"].value
    context = chromium.new_context(viewport=PHONE, accept_downloads=True)
    context.add_cookies([{"name": "session", "value": session, "url": live_server.url}])
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(f"{live_server.url}/children/")
    pressed(page, "What is kept, and a copy of it")
    expect(page.get_by_role("heading", name="Your data")).to_be_visible()
    assert page.evaluate(WIDTH) == PHONE["width"]
    lessons_here = page.get_by_role("region", name=f"{furnished.cast.pupil}’s lessons")
    lessons_here.get_by_role("button", name="Make a copy").focus()
    page.keyboard.press("Enter")
    expect(lessons_here.get_by_text("is about to be made")).to_be_visible()
    made_elsewhere()
    expect(lessons_here.get_by_text("Your copy is ready")).to_be_visible(timeout=WAIT_MS)
    assert page.evaluate(WIDTH) == PHONE["width"]
    with page.expect_download() as download:
        pressed(page, "Download it")
    assert download.value.suggested_filename.startswith("mira-sandholm-")
    saved = tmp_path / "copy.zip"
    download.value.save_as(saved)
    context.close()
    with zipfile.ZipFile(saved) as file:
        file.extractall(tmp_path / "unpacked")
    _read_from_disk(chromium, tmp_path / "unpacked", scripts=True)
    _read_from_disk(chromium, tmp_path / "unpacked", scripts=False)


def _read_from_disk(chromium: Browser, folder: Path, scripts: bool) -> None:
    context = chromium.new_context(viewport=PHONE, offline=True, java_script_enabled=scripts)
    troubles, asked = [], []
    context.on("request", lambda request: asked.append(request.url))
    context.on("weberror", lambda error: troubles.append(str(error.error)))
    context.on("console", lambda said: troubles.append(said.text) if said.type == "error" else None)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto((folder / "index.html").as_uri())
    expect(page.get_by_role("heading", name="Octaves, slowly <b>")).to_be_visible()
    expect(page.get_by_text("Much steadier than last week.").first).to_be_visible()
    assert page.get_by_text("not yet decided").count() == 0
    assert page.evaluate(WIDTH) == PHONE["width"]
    if scripts:
        _plays(page)
    else:
        link = page.get_by_role("link", name="Play from 0:04").get_attribute("href")
        assert link.endswith("playable.mp4#t=2.0")
    assert troubles == []
    assert {url.partition(":")[0] for url in asked} <= {"file", "data"}
    context.close()


def _plays(page: Page) -> None:
    """The clip plays from the moment that is pressed, with both captions; so does the reply."""
    video = page.locator("video").first
    found = video.evaluate(CUES)
    assert [cue[:2] for cue in found] == [[4, 8], [6.5, 8.25]]
    assert found[0][2] == "Upper note --> listen\nto it & <i>lean</i>"
    page.get_by_role("link", name="Play from 0:04").press("Enter")
    page.wait_for_function("document.querySelector('video').currentTime > 2.2")
    assert video.evaluate("video => video.videoWidth") > 0
    reply = page.locator("audio").first
    reply.evaluate("audio => audio.play()")
    page.wait_for_function("document.querySelector('audio').currentTime > 0.2")
    still = page.locator("figure.still img")
    still.scroll_into_view_if_needed()
    page.wait_for_function("document.querySelector('figure.still img').naturalWidth > 0")
