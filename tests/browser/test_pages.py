"""The pages in a real browser: sending, reading what came back, and how they behave on a phone."""

import re
import time

import pytest
from playwright.sync_api import Browser, Page, expect

from studio.clips import services
from studio.clips.models import Clip, Rendition
from studio.clips.storage.stores import FolderStore
from studio.review.comments import CommentText, add_comment
from studio.review.models import Review
from studio.review.returning.services import return_clip
from tests.browser.page_problems import DESK, PHONE, problems
from tests.cast import as_person, make_clip, make_drill, make_return, set_for
from tests.samples import SAMPLE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# The browser itself complains of a refused, failed or broken request, which is what is tested.
EXPECTED = re.compile(r"net::ERR_|status of (422|500)")


@pytest.fixture(autouse=True)
def surroundings(monkeypatch, settings, tmp_path):
    """Nothing goes to a queue or to a shared folder."""
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: True)
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def opened(chromium: Browser, live_server):
    """A page for a person; every complaint of the browser fails the test at the end."""
    contexts, complaints = [], []

    def open_page(who, address: str, viewport: dict = PHONE) -> Page:
        context = chromium.new_context(viewport=viewport, base_url=live_server.url)
        contexts.append(context)
        for name, morsel in as_person(who).cookies.items():
            context.add_cookies([{"name": name, "value": morsel.value, "url": live_server.url}])
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda said: said.type == "error" and complaints.append(said.text))
        page.goto(address)
        return page

    yield open_page
    for context in contexts:
        context.close()
    unexpected = [said for said in complaints if not EXPECTED.search(said)]
    assert unexpected == []


def choose(page: Page, name: str, data: bytes, kind: str) -> None:
    page.set_input_files('input[type="file"]', {"name": name, "mimeType": kind, "buffer": data})


def refusal(page: Page):
    return page.locator('[data-part="refusal"]')


def send_button(page: Page):
    return page.locator('[data-part="send"]')


def test_a_recording_is_chosen_looked_at_and_sent(cast, opened):
    assignment = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    page = opened(cast.pupil, f"/send/?assignment={assignment.pk}")
    page.set_input_files('input[type="file"]', SAMPLE)
    expect(page.locator("video")).to_be_visible()
    expect(page.locator('[data-part="details"]')).to_contain_text("MB")
    page.get_by_label("A name for it").fill("B♭ octaves, third day")
    page.get_by_label("Words for your teacher").fill("Is the fourth finger still too high?")
    send_button(page).click()
    page.wait_for_url("**/queue/")
    expect(page.locator(".messages")).to_contain_text("Your clip has arrived.")
    clip = Clip.objects.get()
    assert (clip.title, clip.note[:5]) == ("B♭ octaves, third day", "Is th")
    assert clip.original.size_bytes == SAMPLE.stat().st_size
    assert Review.objects.get(clip=clip).answers == assignment


def test_what_cannot_work_is_refused_before_anything_is_sent(cast, opened, settings):
    settings.MAX_UPLOAD_BYTES = 1_500_000
    page = opened(cast.pupil, "/send/")
    choose(page, "letter.pdf", b"%PDF-1.4 dear teacher", "application/pdf")
    expect(refusal(page)).to_contain_text("does not look like a recording")
    expect(send_button(page)).to_be_disabled()
    choose(page, "long.mp4", b"0" * 1_600_000, "video/mp4")
    expect(refusal(page)).to_contain_text("The file is 1.6 MB; at most 1.5 MB can be sent.")
    choose(page, "nothing.mp4", b"", "video/mp4")
    expect(refusal(page)).to_contain_text("The file is empty.")
    assert not Clip.objects.exists()


def test_a_recording_that_is_too_long_is_refused_by_its_length(cast, opened, settings):
    settings.MAX_CLIP_S = 5
    page = opened(cast.pupil, "/send/")
    page.set_input_files('input[type="file"]', SAMPLE)
    expect(refusal(page)).to_contain_text("at most 0:05 can be sent")
    expect(send_button(page)).to_be_disabled()


def test_what_only_the_server_can_tell_is_said_in_the_page(cast, opened):
    page = opened(cast.pupil, "/send/")
    choose(page, "clip.mp4", b"not a recording " * 99, "video/mp4")
    expect(refusal(page)).to_be_hidden()
    send_button(page).click()
    expect(refusal(page)).to_contain_text("not a recording we can read")
    page.set_input_files('input[type="file"]', SAMPLE)
    send_button(page).click()
    page.wait_for_url("**/queue/")
    assert set(Clip.objects.values_list("intake", flat=True)) == {"refused", "received"}


@pytest.fixture
def answered(cast, settings) -> Clip:
    """A returned clip with three moments, and a file that really plays."""
    clip = make_clip(cast.enrolment, "Octaves", duration_s=sample_length_s())
    FolderStore().root.mkdir(parents=True, exist_ok=True)
    (FolderStore().root / "clip.mp4").write_bytes(SAMPLE.read_bytes())
    Rendition.objects.create(
        clip=clip,
        kind=Rendition.Kind.PLAYABLE,
        path="clip.mp4",
        sha256="0" * 64,
        size_bytes=SAMPLE.stat().st_size,
        content_type="video/mp4",
    )
    review = Review.objects.get(clip=clip)
    for start_s, text in ((1.0, "The first"), (5.0, "The second"), (5.6, "The third")):
        add_comment(review, cast.teacher, CommentText("bow", text, start_s, start_s + 0.5))
    return_clip(review, cast.teacher, "Steadier than before.")
    return clip


def sample_length_s() -> float:
    import av

    with av.open(str(SAMPLE)) as container:
        return container.duration / av.time_base


def position(page: Page) -> float:
    return page.evaluate("document.querySelector('#player').currentTime")


def until_position(page: Page, position_s: float) -> None:
    """Wait until the player has come that far (the page's policy forbids Playwright's own wait)."""
    deadline = time.monotonic() + 15
    while position(page) <= position_s:
        assert time.monotonic() < deadline, f"still at {position(page)} s"
        page.wait_for_timeout(50)


def current(page: Page):
    return page.locator('.moments li[aria-current="true"]')


def poster_is_missing(page: Page) -> None:
    """The clip of this test has no poster; the browser's complaint about it is expected."""
    page.route("**/poster/", lambda route: route.fulfill(status=204))


def test_a_press_plays_from_two_seconds_before_and_marks_the_moment(cast, opened, answered):
    page = opened(cast.pupil, "/queue/")
    poster_is_missing(page)
    page.goto(f"/clips/{answered.pk}/")
    page.get_by_role("button", name="from just before 0:05").first.click()
    until_position(page, 3.2)
    assert 3.0 <= position(page) < 5.0
    assert page.evaluate("document.querySelector('#player').videoWidth") > 0
    expect(current(page)).to_contain_text("The second")
    until_position(page, 5.1)
    expect(current(page)).to_contain_text("The second")


def test_keys_and_thumb_reach_every_moment(cast, opened, answered):
    page = opened(cast.pupil, "/queue/")
    poster_is_missing(page)
    page.goto(f"/clips/{answered.pk}/")
    page.locator("[data-play-from]").first.focus()
    page.keyboard.press("Enter")
    expect(current(page)).to_contain_text("The first")
    for text in ("The second", "The third", "The third"):
        page.get_by_role("button", name="Next moment").click()
        expect(current(page)).to_contain_text(text)
    page.get_by_role("button", name="Previous moment").click()
    expect(current(page)).to_contain_text("The second")
    page.get_by_role("button", name="Pause", exact=True).click()
    expect(page.get_by_role("button", name="Play", exact=True)).to_be_visible()
    assert page.evaluate("document.querySelector('#player').paused")


def test_progress_is_polled_until_nothing_moves(cast, opened):
    clip = make_clip(cast.enrolment, "Moving")
    clip.stages.filter(kind="listening").update(state="working", progress=0.4)
    page = opened(cast.pupil, "/queue/")
    expect(page.locator("#sent progress")).to_have_attribute("value", "40")
    clip.stages.filter(kind="listening").update(state="heard")
    expect(page.locator("#sent")).to_contain_text("Your teacher has it.")
    expect(page.locator("#sent[hx-trigger]")).to_have_count(0)


def test_an_answer_shows_its_recording_as_soon_as_it_is_prepared(cast, opened):
    clip = make_clip(cast.enrolment, "Answered at once")
    clip.stages.filter(kind="playback").update(state="working", progress=0.4)
    make_return(clip)
    page = opened(cast.pupil, "/queue/")
    page.route("**/clips/*/media/", lambda route: route.fulfill(status=204))
    poster_is_missing(page)
    page.goto(f"/clips/{clip.pk}/")
    expect(page.get_by_role("main")).to_contain_text("Listen to the upper note.")
    expect(page.locator("#player")).to_have_count(0)
    clip.stages.filter(kind="playback").update(state="playable")
    expect(page.locator("#player")).to_be_visible(timeout=8000)
    expect(page.locator("[data-play-from]")).to_have_count(1)
    expect(page.locator("[hx-trigger]")).to_have_count(0)


def test_every_page_fits_and_its_controls_are_named_and_large_enough(cast, opened):
    """On a phone and a desk; pages open once, and are made wider."""
    drill = make_drill(cast.teacher, cast.studio, "Octaves of a rather long name, and then more")
    assignment = set_for(cast.enrolment, drill)
    waiting = make_clip(cast.enrolment, "A very-long-name-without-any-space-that-could-break" * 3)
    pages = {
        cast.teacher: ["/waiting/", "/pupils/", f"/pupils/{cast.enrolment.pk}/", "/drills/",
                       "/drills/new/", f"/drills/{drill.pk}/"],
        cast.pupil: ["/queue/", f"/send/?assignment={assignment.pk}", f"/clips/{waiting.pk}/"],
        cast.guardian: ["/children/", f"/children/{cast.enrolment.pk}/"],
        None: ["/log-in/"],
    }  # fmt: skip
    for person, addresses in pages.items():
        page = opened(person, addresses[0])
        page.route("**/clips/*/media/", lambda route: route.fulfill(status=204))
        poster_is_missing(page)
        for address in addresses:
            page.goto(address)
            for viewport in (DESK, PHONE):
                assert problems(page, viewport) == [], address


def test_a_pupil_asks_at_a_moment_and_finds_the_answer(cast, opened):
    clip = make_clip(cast.enrolment, "Thirds in G")
    clip.stages.filter(kind="playback").update(state="waiting")  # no recording is asked for
    make_return(clip, "Roll the finger back a little.")
    make_clip(cast.other_enrolment, "Waits")
    make_clip(cast.enrolment, "Waits too")
    phone = opened(cast.pupil, f"/clips/{clip.pk}/")
    phone.get_by_role("link", name="Ask about this").click()
    phone.get_by_label("Your question").fill("Back to where?")
    phone.get_by_role("button", name="Send the question").click()
    expect(phone.locator(".messages .success")).to_be_visible()

    desk = opened(cast.teacher, "/waiting/", DESK)
    desk.get_by_role("link", name="Jonas Weidegger").first.click()  # the question lies over nothing
    expect(desk).to_have_url(re.compile("pupil="))
    desk.get_by_role("link", name="Back to where?").click()
    desk.get_by_label("Your answer").fill("To the scroll.")
    desk.get_by_role("button", name="Answer", exact=True).click()
    expect(desk.locator(".messages .success")).to_be_visible()

    phone.goto(phone.url.split("/questions/")[0] + "/queue/")
    phone.get_by_role("link", name="Back to where?").click()
    expect(phone.get_by_text("To the scroll.")).to_be_visible()
