"""Without a line: what is kept is there, what is sent waits and goes, and nobody else sees it."""

import pytest
from playwright.sync_api import Page, expect

from studio.accounts.models import OpenSession
from studio.clips.models import Clip
from studio.drills.models import Drill
from studio.notation import Request, generate
from studio.review.models import Return
from tests.browser.web import log_in
from tests.cast import make_drill, make_return, set_for
from tests.deploy.processes import until
from tests.review.heard_clip import heard_clip
from tests.samples import SAMPLE

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("real_passwords"),
]

KEPT = "are kept on this device"
WORKERS = "navigator.serviceWorker.getRegistrations()"
# The pages that are to be kept, and are not yet.
MISSING = """async () => {
  const { pages } = JSON.parse(document.querySelector("#keeps").textContent);
  const kept = await Promise.all(pages.map(({ path }) => caches.match(path, { ignoreVary: true })));
  return pages.filter((page, place) => !kept[place]).map(({ path }) => path);
}"""
ALL_CACHES = "caches.keys()"
COPIES = "caches.keys().then((all) => all.filter((name) => name.startsWith('studio-kept-')))"


@pytest.fixture
def drill(cast) -> Drill:
    score = generate(Request(direction="up", manner="together")).to_dict()
    made = make_drill(cast.teacher, cast.studio, "Octaves, slowly", score=score)
    set_for(cast.enrolment, made)
    return made


def home(windows, person) -> Page:
    """The person's home page, once all copies are kept: what fails is tried again by itself."""
    page = windows.enter(person, service_workers="allow")
    page.goto("/")
    expect(page.locator("[data-kept-here] p")).to_contain_text(KEPT)
    until(lambda: page.evaluate(MISSING) == [], 60, "all of it is kept")
    return page


def copy_of(page: Page):
    return page.locator("[data-kept-copy]")


def test_a_pupil_practises_reads_and_sends_without_a_line(cast, windows, drill, tmp_path):
    make_return(heard_clip(cast.enrolment, "Octaves, returned"))
    page = home(windows, cast.pupil)
    assert Return.objects.get().read_at is None, "a copy is no reading"
    device = page.context
    device.set_offline(True)
    page.goto("/")
    expect(copy_of(page)).to_contain_text("Without a line: as of")
    page.get_by_role("link", name="Octaves, slowly").first.click()
    expect(page.locator(".leaf:visible").first).to_be_visible()
    page.get_by_role("button", name="Next").click()
    expect(page.locator("hear-target [data-part=where]")).to_contain_text("2 of 8")
    page.goto("/queue/")
    page.get_by_role("link", name="Octaves, returned").last.click()
    expect(page.get_by_text("Listen to the upper note.")).to_be_visible()
    expect(page.locator("video, audio")).to_have_count(0)
    page.goto("/account/")
    expect(page.get_by_role("heading", name="No line")).to_be_visible()
    page.get_by_role("link", name="Send a clip").click()

    chosen = tmp_path / "octaves.mp4"
    chosen.write_bytes(SAMPLE.read_bytes())
    page.set_input_files("input[type=file]", chosen)
    page.get_by_label("A name for it").fill("On the train")
    page.get_by_label("Words for your teacher").fill("It was loud")
    page.get_by_role("button", name="Send it").click()
    expect(page.locator("[data-part=kept]")).to_contain_text("It is kept on this device and takes")
    chosen.unlink()
    page.close()
    page = device.new_page()
    page.goto("/")
    expect(page.locator("kept-clips")).to_contain_text("octaves.mp4")
    expect(page.locator("kept-clips")).to_contain_text("Waiting for the connection")
    device.set_offline(False)
    expect(page.get_by_text("Your clip has arrived.")).to_be_visible()
    expect(copy_of(page)).to_have_count(0)
    expect(page.locator("kept-clips")).to_be_hidden()
    clip = Clip.objects.get(title="On the train")
    assert (clip.note, clip.original.size_bytes) == ("It was loud", SAMPLE.stat().st_size)


def test_a_log_out_says_what_waits_and_leaves_neither_copies_nor_a_worker(cast, windows, drill):
    page = home(windows, cast.pupil)
    page.context.set_offline(True)
    page.goto("/send/")
    page.set_input_files("input[type=file]", SAMPLE)
    page.get_by_role("button", name="Send it").click()
    expect(page.locator("[data-part=kept]")).to_contain_text("It is kept on this device")
    page.context.route("**/uploads/", lambda route: route.abort())  # pages come, no recording goes
    page.context.set_offline(False)
    page.goto("/queue/")
    page.get_by_role("button", name="Log out").click()
    expect(page.locator(".unsent")).to_contain_text("1 recording waits here to be sent")
    page.get_by_role("button", name="Log out without sending").click()
    page.wait_for_url("**/log-in/")
    for left in (ALL_CACHES, WORKERS, "indexedDB.databases()"):
        page.wait_for_function(f"{left}.then((all) => all.length === 0)")
    assert not Clip.objects.exists()


def test_no_copy_outlives_a_session_that_ended_elsewhere_nor_reaches_another(cast, windows, drill):
    page = home(windows, cast.pupil)
    OpenSession.objects.all().delete()
    page.goto("/queue/")
    expect(page.get_by_role("heading", name="Log in")).to_be_visible()
    page.wait_for_function(f"{COPIES}.then((all) => all.length === 0)")
    page.context.set_offline(True)
    page.goto("/queue/")
    expect(page.get_by_role("heading", name="No line")).to_be_visible()
    page.context.set_offline(False)  # and the page itself is asked for
    expect(page.get_by_role("heading", name="Log in")).to_be_visible()
    log_in(page, cast.other_pupil)
    page.goto("/queue/")
    expect(page.locator("[data-kept-here] p")).to_contain_text(KEPT)
    page.context.set_offline(True)
    page.goto("/queue/")
    expect(copy_of(page)).to_be_visible()
    assert drill.newest().title not in page.content()


def test_a_full_device_says_so_and_loses_nothing(cast, windows, drill):
    page = windows.enter(cast.pupil, service_workers="allow")
    page.goto("/queue/")
    fill(page, 200_000)
    expect(page.locator("[data-kept-here] p")).to_contain_text("This device has no room left")
    page.goto("/send/")
    page.set_input_files("input[type=file]", SAMPLE)
    page.context.set_offline(True)
    page.get_by_role("button", name="Send it").click()
    expect(page.locator("[data-part=kept]")).to_contain_text("This device has no room to keep it")
    page.context.set_offline(False)
    expect(page.get_by_text("Your clip has arrived.")).to_be_visible()


def fill(page: Page, quota_bytes: int) -> None:
    """As if the device had no more room than this for the studio."""
    tools = page.context.new_cdp_session(page)
    origin = page.evaluate("location.origin")
    tools.send("Storage.overrideQuotaForOrigin", {"origin": origin, "quotaSize": quota_bytes})
