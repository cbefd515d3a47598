"""A studio's first day, from an empty installation: all of it by what people do in browsers.

No row is made here and none is read, and no test client speaks for a browser. The operator adds
the studio and hands its teacher a link; everything else is clicked, typed and read by a teacher,
a pupil of twelve on a phone, and her guardian, each in a browser of their own.
"""

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Locator, Page, expect

from tests.browser.watched import Watched
from tests.deploy.processes import ROOT
from tests.live import LiveStudio, live_studio
from tests.media.recordings import AAC, ffmpeg, turn

pytestmark = [pytest.mark.browser, pytest.mark.worker]

SHORT_OCTAVES = ROOT / "sample_media" / "clips" / "short-octaves.mp4"
PHONE = {"viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True}
DESK = {"viewport": {"width": 1440, "height": 900}}
PASSWORD = "four strings and a bow"
CHILD_AGE = 12
FILMED_S = 8.0  # to the end of the run that is left wide
PREPARED_MS = 120_000
COMPLAINT = re.compile(r"Traceback|\b\w*(Error|Exception)\b|\b(WARNING|ERROR|CRITICAL)\b")
# The child who pressed “Send a clip” before a grown-up had agreed; on a busy machine, a stage that
# waited its turn for so long that its message was sent a second time.
EXPECTED = re.compile(
    r"WARNING django\.request: Forbidden \(Permission denied\): /send/$"
    r"|WARNING studio\.clips\.tasks: sending \w+ of [\w-]+ again \(was waiting\)$"
)
# Whoever reads the log is to learn of nobody: names, addresses, titles, words, links, secrets.
PERSONAL = re.compile(
    r"Mira|Edda|Sandholm|Ottilie|Brandt|Larkhill|@home|@studio\.example|kitchen|once more|beats"
    r"|beating|bow by bow|settled|IMG_0042|/invitation/[\w-]{8}|X-Forwarded|\b127\.0\.0\.1 - "
)
# What the installation is to find for itself; an empty variable counts as unset.
UNSET = dict.fromkeys(("DATABASE_URL", "BROKER_URL", "EMAIL_URL", "SECRET_KEY"), "")


@pytest.fixture
def studio(tmp_path) -> Iterator[LiveStudio]:
    empty = str(tmp_path / "data")
    with live_studio(tmp_path, lend=False, STUDIO_DATA=empty, **UNSET) as running:
        yield running


@pytest.fixture
def opened(whole_chromium: Browser) -> Iterator[dict[str, Watched]]:
    """Everybody's browser; what went wrong in any is told at the end."""
    people = {
        name: Watched(whole_chromium, **device)
        for name, device in {"teacher": DESK, "pupil": PHONE, "guardian": PHONE}.items()
    }
    yield people
    for browser in people.values():
        browser.close()


def test_the_first_day(studio, opened, tmp_path):
    teacher, pupil, guardian = (opened[name].page for name in ("teacher", "pupil", "guardian"))
    come_in(teacher, link_for_the_first_teacher(studio, tmp_path))
    link = invite(teacher, "pupil", "Mira Sandholm", year_of_birth=str(this_year() - CHILD_AGE))
    come_in(pupil, link)
    nothing_is_sent_without_consent(opened["pupil"])
    come_in(guardian, invite(teacher, "guardian", "Edda Sandholm", child="Mira Sandholm"))
    agree(guardian, "Mira Sandholm")

    send(pupil, filmed_by_a_phone(tmp_path), "Octaves in the kitchen", "The second one beats.")
    send(pupil, SHORT_OCTAVES, "Octaves once more")
    review(teacher, "Octaves in the kitchen")
    return_it(teacher, "Mira Sandholm")

    read(pupil, "Octaves in the kitchen")
    tick_off(pupil, "Octaves, bow by bow")
    read_as_guardian(guardian, "Mira Sandholm", "Octaves in the kitchen")
    end_the_lessons(teacher, "Mira Sandholm")
    nothing_is_left(pupil, "Octaves in the kitchen")
    for page in (teacher, pupil, guardian):
        log_out(page)

    assert [trouble for browser in opened.values() for trouble in browser.troubles] == []
    assert [line for line in complaints(studio.log) if not EXPECTED.search(line)] == []
    assert [line for line in studio.log.splitlines() if PERSONAL.search(line)] == []


def this_year() -> int:
    return timezone.localdate().year


# -- coming in ---------------------------------------------------------------------------------


def link_for_the_first_teacher(studio: LiveStudio, folder: Path) -> str:
    """As the operator: add the studio, and take the link from what the command prints."""
    who = ("--teacher-name", "Ottilie Brandt", "--teacher-email", "ottilie@studio.example")
    done = subprocess.run(
        [sys.executable, "-m", "studio", "add_studio", "Larkhill strings", *who],
        cwd=ROOT,
        env=studio.environment,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    return re.search(r"http://\S+/invitation/\S+", done.stdout)[0]


def come_in(page: Page, link: str) -> None:
    """Open an invitation and choose a password; the name stands there already."""
    page.goto(link)
    expect(page.get_by_label("Your name")).not_to_have_value("")
    for field in ("A password", "The password again"):
        page.get_by_label(field, exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Accept").click()
    expect(page.get_by_role("button", name="Log out")).to_be_visible()
    assert urlsplit(link).path not in page.url


def invite(page: Page, role: str, name: str, **about: str) -> str:
    """As the teacher, on the page People; the link that is shown once, to hand on."""
    main_link(page, "People").click()
    sheet = unfold(page, f"Invite a {role}")
    if "child" in about:
        sheet.get_by_label("Child").select_option(label=about["child"])
    sheet.get_by_label("Name").fill(name)
    sheet.get_by_label("E-mail").fill(f"{name.split()[0].lower()}@home.example")
    if "year_of_birth" in about:
        sheet.get_by_label("Year of birth").fill(about["year_of_birth"])
    sheet.get_by_role("button").click()
    link = page.get_by_role("textbox", name=f"The link for {name}").input_value()
    page.get_by_role("link", name="Done").click()
    return link


def nothing_is_sent_without_consent(browser: Watched) -> None:
    """A child is told who has to agree, instead of a form that would be refused."""
    browser.expected = {403}
    main_link(browser.page, "Send a clip").click()
    expect(browser.page.get_by_role("main")).to_contain_text("agree")
    expect(browser.page.locator("input[type=file]")).to_have_count(0)
    browser.page.get_by_role("main").get_by_role("link").click()
    expect(browser.page.get_by_role("heading", name="Practice")).to_be_visible()
    browser.expected = set()


def agree(page: Page, child: str) -> None:
    page.get_by_role("link", name=child).click()
    page.get_by_role("link", name=f"Consent for {child.split()[0]}").click()
    page.locator("main a.button.main").click()
    page.get_by_role("button", name="I agree").click()
    expect(page.get_by_role("main")).to_contain_text("Given by Edda Sandholm")


# -- a clip goes and comes back ----------------------------------------------------------------


def filmed_by_a_phone(folder: Path) -> Path:
    """Portrait by its display matrix, 1080p and 30 frames a second, 12 Mbit/s, in MOV."""
    path, seconds = folder / "IMG_0042.MOV", str(FILMED_S)
    picture = ("-f", "lavfi", "-i", "testsrc2=size=1920x1080:rate=30")
    rate = ("-b:v", "12M", "-maxrate", "12M", "-bufsize", "12M", "-g", "30")
    ffmpeg(
        *("-i", str(SHORT_OCTAVES), *picture, "-map", "1:v", "-map", "0:a", "-t", seconds),
        *("-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", *rate, *AAC, str(path)),
    )
    return turn(path, 90)


def send(page: Page, recording: Path, title: str, note: str = "") -> None:
    main_link(page, "Send a clip").click()
    page.locator("input[type=file]").set_input_files(recording)
    page.get_by_label("A name for it").fill(title)
    page.get_by_role("textbox", name=re.compile("teacher", re.I)).fill(note)
    page.get_by_role("button", name="Send it").click()
    expect(page.get_by_role("link", name=title)).to_be_visible(timeout=PREPARED_MS)


def review(page: Page, title: str) -> None:
    """Wait in the list until it is heard; keep the mark, say something, write a drill."""
    main_link(page, "Waiting").click()
    row = page.get_by_role("listitem").filter(has_text=title)
    expect(row).to_contain_text(re.compile(r"1 mark\b"), timeout=PREPARED_MS)
    row.get_by_role("link", name=title).click()
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.get_by_role("button", name="Kept", exact=True)).to_be_visible()
    composer = page.locator("#composer")
    composer.get_by_label("Comment at").fill("0:03.0")
    composer.get_by_role("textbox", name="Comment", exact=True).fill("Wait until it stops beating.")
    composer.get_by_role("button", name="Add comment").click()
    expect(page.get_by_role("button", name=re.compile("comment's moment"))).to_be_visible()
    drill = unfold(page, "Write a new drill")
    drill.get_by_label("Title").fill("Octaves, bow by bow")
    drill.get_by_label("What to practise").fill("One bow each, until it is still.")
    drill.get_by_role("button").click()
    expect(page.locator("#drills li").filter(has_text="Octaves, bow by bow")).to_be_visible()


def return_it(page: Page, pupil: str) -> None:
    """Preview, return, and do not wait for the delay in which it can be taken back."""
    page.get_by_role("textbox", name="Summary").fill("The lower notes are **settled**.")
    page.get_by_role("main").get_by_role("button", name="Preview and return").last.click()
    expect(page.get_by_role("main")).to_contain_text("Wait until it stops beating.")
    page.get_by_role("button", name=f"Return to {pupil}").click()
    page.get_by_role("button", name=re.compile("seen now")).first.click()
    expect(page.get_by_role("button", name=re.compile("seen now"))).to_have_count(0)


def read(page: Page, title: str) -> None:
    """Open the answer from one's first page; a press on a moment plays from before it."""
    page.locator("a.brand").click()
    page.get_by_role("link", name=re.compile(f"answered.*{title}", re.I)).click()
    answered(page)
    moments = page.locator(".moments > li")
    expect(moments).to_have_count(2)  # the mark that was kept, and the comment
    video = page.locator("video").first
    expect(video).to_have_js_property("readyState", 4, timeout=PREPARED_MS)
    assert video.evaluate("one => one.videoHeight > one.videoWidth"), "filmed upright"
    moments.last.get_by_role("button").first.click()
    page.wait_for_function("document.querySelector('video').currentTime > 1.2")


def answered(page: Page) -> None:
    for said in ("The lower notes are settled.", "Wait until it stops beating."):
        expect(page.get_by_role("main")).to_contain_text(said)


def tick_off(page: Page, drill: str) -> None:
    page.get_by_role("main").get_by_role("link", name="To the queue").click()
    page.get_by_role("button", name=f"Done: {drill}").click()
    unfold(page, "Ticked off")
    expect(page.get_by_role("button", name=f"Open again: {drill}")).to_be_visible()
    expect(page.locator("[hx-trigger^=every]")).to_have_count(0, timeout=PREPARED_MS)


def read_as_guardian(page: Page, child: str, title: str) -> None:
    main_link(page, "Children").click()
    page.get_by_role("link", name=child).click()
    page.get_by_role("main").get_by_role("link", name=title).last.click()
    answered(page)


# -- the end -----------------------------------------------------------------------------------


def end_the_lessons(page: Page, pupil: str) -> None:
    main_link(page, "People").click()
    page.get_by_role("link", name=f"End the lessons of {pupil}").click()
    page.get_by_role("button", name="End the lessons").click()
    expect(page.locator(".messages")).to_contain_text(pupil)
    expect(page.get_by_role("link", name=f"End the lessons of {pupil}")).to_have_count(0)


def nothing_is_left(page: Page, title: str) -> None:
    page.locator("a.brand").click()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    expect(page.get_by_role("link", name=title)).to_have_count(0)


def log_out(page: Page) -> None:
    page.get_by_role("button", name="Log out").click()
    expect(page.get_by_role("button", name="Log in")).to_be_visible()


def complaints(log: str) -> list[str]:
    """What the log holds beside what it says of ordinary work."""
    return [line for line in log.splitlines() if COMPLAINT.search(line)]


# -- finding things as people do ---------------------------------------------------------------


def main_link(page: Page, name: str) -> Locator:
    return page.get_by_role("navigation", name="Main").get_by_role("link", name=name)


def unfold(page: Page, words: str) -> Locator:
    """Open what is folded under these words, unless it is open; all of it."""
    folded = page.locator("details").filter(has=page.locator("summary", has_text=words))
    if folded.get_attribute("open") is None:
        folded.locator("summary").first.click()
    return folded
