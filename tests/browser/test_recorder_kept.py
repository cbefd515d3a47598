"""What is recorded in the page is not lost, arrives once, and stays with nobody else.

Browsers are killed, lines cut, people change on one device.
"""

import contextlib
from pathlib import Path

import pytest
from playwright.sync_api import Page, Playwright, expect

from studio import media
from studio.accounts.models import Person
from studio.clips import services
from studio.clips.models import Clip, Upload
from studio.clips.storage.stores import FolderStore
from tests.browser import recorder
from tests.browser.legible import troubles
from tests.browser.link import Link
from tests.browser.recorder import begin, log_in, record, turn_on
from tests.cast import make_drill, set_for
from tests.deploy.processes import until

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

microphone = recorder.microphone  # the fixture


@pytest.fixture(autouse=True)
def surroundings(monkeypatch, settings, tmp_path):
    """Nothing goes to a queue or to a shared folder."""
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: True)
    settings.MEDIA_ROOT = tmp_path / "media"


class Device:
    """A pupil's device: its browser can be killed and opened again, its line be cut."""

    def __init__(
        self, playwright: Playwright, profile: Path, microphone: Path, link: Link, who: Person
    ) -> None:
        self._open = lambda: recorder.whole_browser(playwright, profile, microphone)
        self._profile, self._who = profile, who
        self.address = f"http://localhost:{link.port}"
        self.page = self._opened()

    def _opened(self) -> Page:
        self.context = self._open()
        log_in(self.context, self._who, self.address)
        page = self.context.pages[0]
        page.goto(f"{self.address}/record/")
        return page

    def killed_and_opened_again(self) -> Page:
        recorder.kill(self._profile)
        with contextlib.suppress(Exception):  # whatever it was doing
            self.context.close()
        self.page = self._opened()
        return self.page


@pytest.fixture
def link(live_server):
    made = Link(("127.0.0.1", int(live_server.url.rpartition(":")[2])))
    yield made
    made.close()


@pytest.fixture
def device(playwright, cast, microphone, link, tmp_path):
    made = Device(playwright, tmp_path / "profile", microphone, link, cast.pupil)
    yield made
    made.context.close()


@pytest.mark.parametrize("goes_through", [40_000, None], ids=["a-part", "all-but-the-answer"])
def test_a_killed_browser_loses_nothing_and_what_it_was_sending_arrives_once(
    device, link, goes_through
):
    turn_on(device.page)
    begin(device.page, 4)
    page = device.killed_and_opened_again()
    expect(page.get_by_text("It broke off; what was recorded until then is here.")).to_be_visible()
    page.get_by_role("button", name="Send this take").click()
    page.get_by_label("A name for it").fill("Sixths")
    page.get_by_label("Words for your teacher").fill("The wind was loud")
    link.sent, link.holds = 0, goes_through
    if goes_through is None:
        page.route("**/arrived/", lambda route: None)
    page.get_by_role("button", name="Send it", exact=True).click()
    until(lambda: page.evaluate("1") and _has_gone(link, goes_through), 30, "so much has gone")

    link.holds = None
    page = device.killed_and_opened_again()
    page.wait_for_url("**/queue/")  # it goes on by itself
    clip = Clip.objects.get()
    assert (clip.title, clip.note) == ("Sixths", "The wind was loud")
    assert 2.5 <= clip.duration_s <= 7.0, "all but the last second"
    assert Upload.objects.filter(clip=None).count() == 0
    page.goto(f"{device.address}/record/")
    expect(page.get_by_text("None yet.")).to_be_visible()
    assert recorder.is_emptied(page)


def _has_gone(link: Link, goes_through: int | None) -> bool:
    return link.sent >= goes_through if goes_through else Clip.objects.exists()


def test_the_best_of_two_takes_is_cut_and_sent_over_a_line_that_breaks(device, link, tmp_path):
    page = device.page
    turn_on(page)
    record(page, 1)
    record(page, 5)
    expect(page.locator('[data-part="record"]')).to_have_text("Record take 3")
    best = page.locator("li.take").nth(1)
    best.get_by_role("button", name="Look and cut: take 2").click()
    best.get_by_label("From").fill("0:02")
    best.get_by_role("button", name="Cut the ends").click()
    expect(best).to_contain_text("of it is sent.")
    page.get_by_label("Delete the other takes").check()
    best.get_by_role("button", name="Send this take").click()
    link.sent, link.cuts = 0, [60_000, 150_000]
    page.get_by_role("button", name="Send it", exact=True).click()
    page.wait_for_url("**/queue/")
    clip = Clip.objects.get()
    assert 2.5 <= clip.duration_s <= 5.5
    assert recorder.is_emptied(page)
    heard = tmp_path / "heard.wav"
    source = FolderStore().path(clip.original.path)
    media.extract_sound(source, heard, media.MediaInfo.from_dict(clip.info))
    y, sr = media.read_sound(heard)
    assert len(y) / sr == pytest.approx(clip.duration_s, abs=0.2)


def test_logging_out_says_what_it_would_lose_and_leaves_nothing_for_another(device, cast):
    page = device.page
    turn_on(page, picture=False)
    record(page, 1)
    page.goto(f"{device.address}/queue/")
    expect(page.get_by_text("1 take recorded here is not sent yet.")).to_be_visible()
    page.get_by_role("button", name="Log out").click()
    expect(page.locator(".unsent")).to_contain_text("Logging out now would lose it.")
    page.get_by_role("button", name="Log out without sending").click()
    page.wait_for_url("**/log-in/**")
    assert page.evaluate("Object.keys(localStorage)") == []
    page.wait_for_function("indexedDB.databases().then((all) => all.length === 0)")
    log_in(device.context, cast.other_pupil, device.address)
    page.goto(f"{device.address}/record/")
    expect(page.get_by_text("None yet.")).to_be_visible()


# Source: W3C, Indexed Database API 3.0: a put for which there is no room aborts its transaction.
FULL = """
  const put = IDBObjectStore.prototype.put;
  let left = 2;
  IDBObjectStore.prototype.put = function (value, key) {
    if (value instanceof Blob && left-- <= 0) throw new DOMException("", "QuotaExceededError");
    return put.call(this, value, key);
  };
"""


def test_a_device_without_room_says_so_and_the_take_can_still_be_sent(device):
    device.context.add_init_script(FULL)
    page = device.page
    page.reload()
    turn_on(page, picture=False)
    record(page, 4)
    expect(page.get_by_text("This device has no room left")).to_be_visible()
    page.get_by_role("button", name="Send this take").click()
    page.get_by_role("button", name="Send it", exact=True).click()
    page.wait_for_url("**/queue/")
    assert Clip.objects.get().duration_s >= 3.5, "what could not be kept was sent too"
    assert recorder.is_emptied(page)


IN_ORDER = [
    "record",
    "kind",
    "end",
    "Choose camera, microphone and picture size",
    "microphone",
    "cameras",
    "way",
    "size",
    "Where hand and bow should be",
    "guided",
    "assignment",
    "Show it",
    "drone-note",
    "drone",
    "send",
    "look",
    "delete",
]
CALLED = """() => {
  const { dataset, name, textContent } = document.activeElement;
  return dataset.part || dataset.do || name || textContent.trim();
}"""


def test_in_use_it_has_no_serious_issue_and_keys_go_through_it_in_order(device, cast):
    set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    page = device.page
    page.reload()
    turn_on(page)
    record(page, 1)
    page.get_by_text("Where hand and bow should be").click()
    page.locator('[data-part="record"]').focus()
    met = [page.evaluate(CALLED)]
    while met[-1] != "delete" and len(met) < 40:
        page.keyboard.press("Tab")
        met.append(page.evaluate(CALLED))
    assert met == IN_ORDER
    page.get_by_role("button", name="Start the drone").click()
    page.get_by_role("button", name="Look and cut").click()
    page.get_by_role("button", name="Send this take").click()
    expect(page.get_by_role("heading", name="Send it")).to_be_visible()
    page.keyboard.press("Tab")  # who goes by keys is shown where the focus is
    found = troubles(page)
    assert not found, "\n".join(found)
