"""Sending over bad connections, in a real browser: cut, gone, reloaded, closed; one whole clip."""

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from studio.clips import services
from studio.clips.models import Clip, Upload
from studio.clips.uploads import partial
from studio.clips.uploads import services as uploads
from studio.review.web import sending
from tests.browser import sending as sending_page
from tests.browser.link import Link
from tests.browser.sending import MB, WAIT_MS, amount, page_with, press_send, refusal, words
from tests.cast import as_person
from tests.deploy.processes import until
from tests.samples import SAMPLE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

recording = sending_page.recording  # the fixture: 30 MB of noise


@pytest.fixture(autouse=True)
def surroundings(monkeypatch, settings, tmp_path):
    """Nothing goes to a queue or to a shared folder."""
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: True)
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def link(live_server) -> Iterator[Link]:
    made = Link(("127.0.0.1", int(live_server.url.rpartition(":")[2])))
    yield made
    made.close()


@pytest.fixture
def phone(chromium: Browser, cast, link) -> Iterator[BrowserContext]:
    """The pupil's browser, at the far end of the link."""
    address = f"http://localhost:{link.port}"
    context = chromium.new_context(viewport={"width": 390, "height": 844}, base_url=address)
    for name, morsel in as_person(cast.pupil).cookies.items():
        context.add_cookies([{"name": name, "value": morsel.value, "url": address}])
    context.set_default_timeout(WAIT_MS)
    yield context
    context.close()


def arrived_whole(page: Page, recording: Path) -> None:
    """The page is told so, and there is one clip with the file's own hash."""
    page.wait_for_url("**/queue/")
    expect(page.locator(".messages")).to_contain_text("Your clip has arrived.")
    clip = Clip.objects.get()
    assert clip.original.sha256 == hashlib.sha256(recording.read_bytes()).hexdigest()
    assert not Upload.objects.filter(clip=None).exists()


def test_a_connection_that_is_cut_again_and_again_delays_a_clip_no_more(phone, link, recording):
    page = page_with(phone, recording)
    link.sent, link.cuts = 0, [5 * MB, 13 * MB, 22 * MB, 29 * MB]
    press_send(page)
    expect(words(page)).to_have_text(WAITING)
    arrived_whole(page, recording)
    assert link.cuts == []
    again = link.sent - recording.stat().st_size
    assert again < 4 * (partial.SYNC_BYTES + 4 * MB), f"{again} bytes were sent twice"


WAITING = "Waiting for the connection. It goes on by itself."


def test_it_waits_while_offline_and_goes_on_at_once_when_online(phone, link, recording):
    page = page_with(phone, recording)
    page.get_by_label("A name for it").fill("Before")
    link.sent, link.holds = 0, 10 * MB
    press_send(page)
    until(lambda: page.evaluate("1") and link.sent >= 10 * MB, 30, "10 MB have gone")
    phone.set_offline(True)
    expect(words(page)).to_have_text(WAITING)
    assert Upload.objects.get().offset_bytes >= 8 * MB
    assert "left" not in amount(page).text_content(), "nobody knows how long"
    page.get_by_label("A name for it").fill("Sixths, and the wind")
    link.holds = None
    phone.set_offline(False)
    arrived_whole(page, recording)
    assert Clip.objects.get().title == "Sixths, and the wind", "as it stood at the last piece"


def test_a_closed_tab_costs_nothing_but_choosing_the_file_again(phone, link, recording):
    page = page_with(phone, recording)
    link.sent, link.holds = 0, 19 * MB
    press_send(page)
    until(lambda: page.evaluate("1") and link.sent >= 19 * MB, 30, "19 MB have gone")
    expect(amount(page)).to_have_text(re.compile(r"[\d.]+ MB of 30\.0 MB have arrived \(\d\d %\)"))
    page.close()
    until(lambda: Upload.objects.get().offset_bytes >= 16 * MB, 30, "two pieces are kept")
    link.sent, link.holds = 0, None
    page = page_with(phone, recording)
    expect(page.get_by_role("heading", name="Half sent")).to_be_visible()
    expect(page.get_by_text("noise.wav:")).to_contain_text("of 30.0 MB, kept until")
    press_send(page)
    arrived_whole(page, recording)
    assert link.sent < 16 * MB, "what was there already was sent again"


def test_stopping_keeps_what_came_and_sending_again_goes_on(phone, link, recording):
    page = page_with(phone, recording)
    link.sent, link.holds = 0, 10 * MB
    press_send(page)
    until(lambda: page.evaluate("1") and link.sent >= 10 * MB, 30, "10 MB have gone")
    page.get_by_role("button", name="Stop").click()
    expect(words(page)).to_have_text("Stopped by you. What has arrived is kept for a day.")
    link.holds, link.sent = None, 0
    expect(page.locator('[data-part="send"]')).to_have_text("Go on sending")
    press_send(page)
    arrived_whole(page, recording)
    assert link.sent < 24 * MB


def test_an_answer_that_is_lost_on_the_way_still_makes_one_clip(phone, monkeypatch):
    """The server has it, the page does not know: the same key finds the same upload."""
    answers = iter([RuntimeError("the answer is lost")])
    answer_in_json = sending.in_json

    def lose_the_first(answer, home):
        for lost in answers:
            raise lost
        return answer_in_json(answer, home)

    monkeypatch.setattr(sending, "in_json", lose_the_first)
    page = page_with(phone, SAMPLE)
    press_send(page)
    expect(refusal(page)).to_contain_text("Something went wrong on our side.")
    assert Clip.objects.count() == 1
    press_send(page)
    arrived_whole(page, SAMPLE)


def test_a_log_in_that_ran_out_is_said(phone, cast):
    page = page_with(phone, SAMPLE)
    session = [cookie for cookie in phone.cookies() if cookie["name"] != "session"]
    phone.clear_cookies()
    phone.add_cookies(session)
    press_send(page)
    expect(words(page)).to_contain_text("You are logged out.")
    assert not Clip.objects.exists()


def test_as_many_half_sent_recordings_as_may_be_are_said(phone, settings, cast):
    settings.MAX_UNFINISHED_UPLOADS = 1
    uploads.begin(cast.enrolment, cast.pupil, 9, "")
    page = page_with(phone, SAMPLE)
    press_send(page)
    expect(refusal(page)).to_contain_text("1 half-sent recording is waiting already")
    page.get_by_role("button", name=re.compile("Remove")).click()
    expect(page.locator(".messages")).to_contain_text("It was removed.")
    assert not Upload.objects.exists()


@pytest.fixture
def call(phone):
    """Call a function of a module with JSON arguments."""
    page = phone.new_page()
    page.goto("/queue/")
    return lambda module, function, *arguments: page.evaluate(
        "([m, f, a]) => import(`/static/pages/${m}.js`).then((all) => all[f](...a))",
        [module, function, list(arguments)],
    )


def test_pace_is_told_in_words_once_it_is_known(call):
    samples = [{"ms": 0, "bytes": 0}, {"ms": 10_000, "bytes": 5 * MB}]
    assert call("pace", "secondsLeft", samples, 30 * MB) == 50
    assert call("pace", "secondsLeft", samples[:1], 30 * MB) is None
    assert call("pace", "secondsLeft", [*samples[:1], {"ms": 900, "bytes": MB}], 30 * MB) is None
    late = {"ms": 20_000, "bytes": 6 * MB}
    assert call("pace", "noted", samples, late) == [samples[1], late]
    assert call("pace", "noted", samples, {"ms": 11_000, "bytes": MB}) == [
        {"ms": 11_000, "bytes": MB}
    ]
    told = call("standing", "amount", 12_345_678, 84 * MB, 130)
    assert told == "12.3 MB of 84.0 MB have arrived (14 %), about 2 minutes left"
    assert call("standing", "amount", 0, 84 * MB) == "Nothing of 84.0 MB has arrived yet"
    unknown = "How much has arrived shows once you are logged in"
    assert call("standing", "amount", 0, 84 * MB, None, "out") == unknown
    assert call("standing", "amount", 84 * MB - 1, 84 * MB).endswith("(99 %)")


def test_answers_are_tried_again_or_said(call):
    again = [status for status in (0, 400, 401, 403, 404, 409, 413, 423, 429, 460, 500, 503, 507)
             if call("answers", "worthAnother", status)]  # fmt: skip
    assert again == [0, 409, 423, 460, 500, 503]
    own = {"status": 429, "type": "text/plain; charset=utf-8", "body": "Too many."}
    assert call("answers", "sentenceOf", own) == "Too many."
    json = {"status": 403, "type": "application/json", "body": '{"sentence": "Ask a grown-up."}'}
    assert call("answers", "sentenceOf", json) == "Ask a grown-up."
    page = {"status": 403, "type": "text/html", "body": "<h1>Log in</h1>"}
    assert call("answers", "isOut", page)
    assert not call("answers", "isOut", json)
    by_nginx = {"status": 413, "type": "text/html", "body": "<h1>413</h1>"}
    assert "too large to be sent" in call("answers", "sentenceOf", by_nginx)
    broken = {"status": 502, "type": "application/json", "body": "<"}
    assert "on our side" in call("answers", "sentenceOf", broken)
