"""The recording page, with a made-up camera and a microphone that plays a known double stop."""

from pathlib import Path

import psutil
import pytest
from playwright.sync_api import BrowserContext, Page, Playwright, expect

from sample_media.bowing import SR, Stroke, perform, write_wav
from studio.accounts.models import Person
from studio.theory import Pitch
from tests.browser.conftest import CHROMIUM, OPTIONS
from tests.cast import as_person
from tests.deploy.processes import until

PHONE = {"width": 390, "height": 844}
WIDE_CENTS = 30.0
JUST_SIXTH = 5 / 3
PERIOD_S, BEGINS_S, ENDS_S = 3.0, 0.4, 2.7  # the microphone plays it again and again


@pytest.fixture(scope="module")
def microphone(tmp_path_factory) -> Path:
    return double_stop(tmp_path_factory.mktemp("microphone") / "sixth.wav")


def log_in(context: BrowserContext, who: Person, address: str) -> None:
    for name, morsel in as_person(who).cookies.items():
        context.add_cookies([{"name": name, "value": morsel.value, "url": address}])


def double_stop(path: Path) -> Path:
    """A major sixth of two stopped notes, wider than the just one by ``WIDE_CENTS``."""
    low = Pitch.parse("E4").frequency()
    high = low * JUST_SIXTH * 2 ** (WIDE_CENTS / 1200)
    strokes = [Stroke(BEGINS_S, ENDS_S, hz, 0.0) for hz in (low, high)]
    write_wav(path, perform(strokes, PERIOD_S, snr_db=40.0, seed=7))
    assert path.stat().st_size > PERIOD_S * SR
    return path


def options(microphone: Path) -> list[str]:
    return [
        *OPTIONS,
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-audio-capture={microphone}",
    ]


def whole_browser(playwright: Playwright, profile: Path, microphone: Path) -> BrowserContext:
    """A browser whose folder outlives it, so that it can be killed and opened again."""
    return playwright.chromium.launch_persistent_context(
        str(profile), executable_path=CHROMIUM, args=options(microphone), viewport=PHONE
    )


def kill(profile: Path) -> None:
    """As the system does when a phone runs out of memory: nothing is said before."""
    own = [each for each in psutil.process_iter(["cmdline"]) if _is_of(each, profile)]
    assert own, "the browser runs"
    for process in own:
        process.kill()
    psutil.wait_procs(own, timeout=10)


def _is_of(process: psutil.Process, profile: Path) -> bool:
    return f"--user-data-dir={profile}" in (process.info["cmdline"] or [])


def turn_on(page: Page, *, picture: bool = True) -> None:
    """Camera (the small picture) and microphone, at the recording page."""
    if not page.url.endswith("/record/"):
        page.goto("/record/")
    if not picture:
        page.get_by_label("sound alone").check()
    else:
        page.get_by_text("Choose camera, microphone and picture size").click()
        page.get_by_label("Size of the picture").select_option("small")
    page.locator('[data-part="begin"]').click()
    expect(page.locator('[data-part="record"]')).to_be_enabled()


def record(page: Page, seconds: float) -> None:
    """One take of about so long; it is in the list then."""
    takes = page.locator("li.take").count()
    begin(page, seconds)
    page.get_by_role("button", name="Stop", exact=True).click()
    expect(page.locator("li.take")).to_have_count(takes + 1)


def begin(page: Page, seconds: float) -> None:
    page.locator('[data-part="record"]').click()
    time = "document.querySelector('[data-part=time]').textContent.split(' ')[0].split(':').pop()"
    until(lambda: page.evaluate(f"Number({time})") >= seconds, 30, f"{seconds} s are recorded")


def is_emptied(page: Page) -> bool:
    """Whether the browser has nothing of a recording any more."""
    noted = page.evaluate("Object.keys(localStorage).filter((name) => name.includes('take'))")
    kept = page.evaluate(
        """() => new Promise((resolve) => {
          const opening = indexedDB.open("studio-takes", 1);
          opening.onupgradeneeded = () => opening.transaction.abort();
          opening.onerror = () => resolve(0);
          opening.onsuccess = () => {
            const database = opening.result;
            const counting = database.transaction("pieces").objectStore("pieces").count();
            counting.onsuccess = () => { database.close(); resolve(counting.result); };
          };
        })"""
    )
    return noted == [] and kept == 0
