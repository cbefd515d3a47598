"""What is lost at the edges of sending, in a real browser against the real web process.

Words that are typed while it runs, a reload, Back, the same recording again, a log-out, two tabs,
two people on one device.
"""

import hashlib
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from django.db.models import F
from playwright.sync_api import Browser, BrowserContext, Page, expect

from studio.accounts.models import Consent, OpenSession, Person
from studio.clips.models import Clip, Upload
from studio.clips.uploads.protocol import decoded
from tests.browser.link import Link
from tests.browser.sending import (
    MB,
    WAIT_MS,
    amount,
    page_with,
    press_send,
    recording,
    refusal,
    words,
)
from tests.cast import PASSWORD, as_person, make_clip
from tests.deploy.processes import free_port, until
from tests.samples import SAMPLE
from tests.web_process import Web

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

recording = recording  # the fixture: 30 MB of noise
PHONE = {"width": 390, "height": 844}
HELD = 3 * MB  # what goes through before the line holds still


@pytest.fixture(scope="module")
def web(tmp_path_factory, django_db_setup) -> Iterator[Web]:
    made = Web(free_port(), tmp_path_factory.mktemp("web"))
    environment = {"STUDIO_DATA": str(made.data), "DJANGO_SETTINGS_MODULE": "studio.settings"}
    collect = [sys.executable, "-m", "studio", "collectstatic", "--noinput", "-v0"]
    subprocess.run(collect, env=os.environ | environment, check=True)
    with made.started(MAX_UNFINISHED_UPLOADS="2"):
        yield made


@pytest.fixture
def link(web, settings) -> Iterator[Link]:
    settings.MEDIA_ROOT = web.data / "media"
    made = Link(("127.0.0.1", web.port))
    yield made
    made.close()


@pytest.fixture
def device(chromium: Browser, link) -> Iterator[Callable[[], BrowserContext]]:
    """A phone's browser with nobody logged in."""
    context = chromium.new_context(viewport=PHONE, base_url=f"http://localhost:{link.port}")
    context.set_default_timeout(WAIT_MS)
    yield context
    context.close()


def log_in(device: BrowserContext, who: Person, link: Link) -> None:
    """As the log-in page does: another session, another token."""
    device.clear_cookies()
    for name, morsel in as_person(who).cookies.items():
        address = f"http://localhost:{link.port}"
        device.add_cookies([{"name": name, "value": morsel.value, "url": address}])


@pytest.fixture
def phone(device, cast, link, settings) -> BrowserContext:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]  # as there
    cast.pupil.set_password(PASSWORD)
    cast.pupil.save()
    log_in(device, cast.pupil, link)
    return device


def held(page: Page, link: Link, at: int = HELD) -> None:
    """Press Send on a line that takes so many bytes and then no more, though none says so."""
    link.sent, link.holds = 0, at
    press_send(page)
    until(lambda: page.evaluate("1") and link.sent >= at, 30, "the line holds still")


def name_of(page: Page):
    return page.get_by_label("A name for it")


def note_of(page: Page):
    return page.get_by_label("Words for your teacher")


def metadata() -> dict[str, str]:
    return decoded(Upload.objects.get().metadata)


def reload(page: Page) -> None:
    page.once("dialog", lambda dialog: dialog.accept())
    page.reload()


def choose(page: Page, recording: Path) -> None:
    page.set_input_files('input[type="file"]', recording)
    expect(page.locator('[data-part="details"]')).to_contain_text("MB")


def one_clip(recording: Path) -> Clip:
    clip = Clip.objects.get()
    assert clip.original.sha256 == hashlib.sha256(recording.read_bytes()).hexdigest()
    return clip


# -- words -----------------------------------------------------------------------------------


def test_words_typed_while_it_runs_are_there_after_a_reload_and_in_another_tab(
    phone, link, recording
):
    page = page_with(phone, recording)
    name_of(page).fill("Sixths")
    page.select_option("[name=subject]", "question")
    link.slow_s = 0.05
    press_send(page)
    until(lambda: page.evaluate("1") and kept(), 30, "some of it is kept")
    note_of(page).fill("The wind was loud")
    page.select_option("[name=subject]", "hand")
    until(lambda: page.evaluate("1") and metadata().get("note"), 10, "the server is told")
    assert metadata()["subject"] == "hand"
    reload(page)
    link.slow_s = 0
    expect(page.get_by_text("“The wind was loud”")).to_be_visible()
    assert name_of(page).input_value() == "", "they belong to the recording, which is not chosen"
    other = phone.new_page()
    page.close()
    other.goto("/send/")
    choose(other, recording)
    expect(name_of(other)).to_have_value("Sixths")
    expect(note_of(other)).to_have_value("The wind was loud")
    expect(other.locator("[name=subject]")).to_have_value("hand")
    expect(other.locator('[data-part="send"]')).to_have_text("Go on sending")
    press_send(other)
    other.wait_for_url("**/queue/")
    clip = one_clip(recording)
    assert (clip.title, clip.note, clip.subject) == ("Sixths", "The wind was loud", "hand")


def test_words_that_the_server_does_not_have_stay_in_the_browser(phone, link, recording):
    page = page_with(phone, recording)
    name_of(page).fill("Before anything was sent")
    page.select_option("[name=subject]", "question")
    reload(page)
    expect(page.locator("[name=subject]")).to_have_value("question")
    expect(name_of(page)).to_have_value("Before anything was sent")
    choose(page, recording)
    held(page, link)
    phone.set_offline(True)
    expect(words(page)).to_have_text("Waiting for the connection. It goes on by itself.")
    note_of(page).fill("Typed without a line")
    page.wait_for_timeout(600)
    link.holds = None
    phone.set_offline(False)
    page.wait_for_url("**/queue/")
    assert one_clip(recording).note == "Typed without a line"
    page.goto("/send/")
    assert (name_of(page).input_value(), note_of(page).input_value()) == ("", "")


# -- twice -----------------------------------------------------------------------------------


def test_back_after_sending_finds_an_empty_form(phone, link):
    page = page_with(phone, SAMPLE)
    name_of(page).fill("Octaves")
    press_send(page)
    page.wait_for_url("**/queue/")
    page.go_back()
    expect(page.get_by_role("heading", name="Send a clip")).to_be_visible()
    assert page.evaluate("document.querySelector('input[type=file]').files.length") == 0
    expect(name_of(page)).to_have_value("")
    press_send(page)
    expect(refusal(page)).to_contain_text("Choose a recording first")
    assert Clip.objects.count() == 1


@pytest.mark.parametrize("script", [True, False], ids=["script", "plain"])
def test_the_same_recording_again_is_asked_about(phone, chromium, link, script):
    context = phone if script else chromium.new_context(
        java_script_enabled=False, viewport=PHONE, storage_state=phone.storage_state(),
        base_url=f"http://localhost:{link.port}",
    )  # fmt: skip
    page = context.new_page()
    for title in ("Octaves", "Once more"):
        page.goto("/send/")
        page.set_input_files('input[type="file"]', SAMPLE)
        name_of(page).fill(title)
        page.get_by_role("button", name="Send it").click()
        page.wait_for_url(re.compile("/(queue|same)/"))
    expect(page.get_by_role("heading", name="This recording was sent before")).to_be_visible()
    expect(page.get_by_role("link", name="“Octaves”")).to_be_visible()
    expect(page.locator("main")).to_contain_text("sent today at")
    assert Clip.objects.count() == 1
    page.get_by_role("button", name="Leave it").click()
    expect(page.locator(".messages")).to_have_text("Left as it was: there is one clip of it.")
    assert not Upload.objects.filter(clip=None).exists()
    page.goto("/send/")
    page.set_input_files('input[type="file"]', SAMPLE)
    name_of(page).fill("Wanted twice")
    page.get_by_role("button", name="Send it").click()
    page.wait_for_url("**/same/")
    sent = link.sent
    page.get_by_role("button", name="Send it all the same").click()
    expect(page.locator(".messages")).to_contain_text("Your clip has arrived.")
    assert link.sent - sent < SAMPLE.stat().st_size, "the bytes were asked for again"
    assert set(Clip.objects.values_list("title", flat=True)) == {"Octaves", "Wanted twice"}
    page.go_back()
    page.reload()
    assert Clip.objects.count() == 2, "the question is not asked again once it is decided"
    if not script:
        context.close()


def test_two_tabs_and_a_double_press_make_one_clip(phone, link, recording):
    first, second = page_with(phone, recording), page_with(phone, recording)
    first.evaluate("document.querySelector('[data-part=send]').click()")
    first.evaluate("document.querySelector('send-clip form').requestSubmit()")
    press_send(second)
    for page in (first, second):
        page.wait_for_url(re.compile("/(queue|same)/"))
    one_clip(recording)
    assert Upload.objects.filter(clip=None).count() <= 1, "at most the question"


def test_two_recordings_of_one_name_and_length_are_told_apart(phone, link, recording, tmp_path):
    other = tmp_path / recording.name
    turned = bytearray(recording.read_bytes())
    turned[44:] = np.random.default_rng(3).bytes(len(turned) - 44)
    other.write_bytes(turned)
    page = page_with(phone, recording)
    name_of(page).fill("The first")
    held(page, link)
    link.holds = None
    reload(page)
    choose(page, other)
    expect(page.locator('[data-part="send"]')).to_have_text("Send it")
    expect(name_of(page)).to_have_value("")
    press_send(page)
    page.wait_for_url("**/queue/")
    one_clip(other)
    half = Upload.objects.get(clip=None)
    assert half.length_bytes == recording.stat().st_size, "the first waits to be gone on with"


# -- logged out ------------------------------------------------------------------------------


def log_in_beside(page: Page, who: Person, link: Link) -> None:
    """Through the page's own link, in the tab that it opens; counts what is sent from then on."""
    with page.context.expect_page() as opened:
        page.get_by_role("link", name="Log in again").click()
    tab = opened.value
    tab.get_by_label("E-mail").fill(who.email)
    tab.get_by_label("Password").fill(PASSWORD)
    link.sent = 0
    tab.get_by_role("button", name="Log in").click()
    expect(tab.get_by_role("heading", name="You are logged in again")).to_be_visible()
    tab.close()


@pytest.mark.parametrize("how", ["log_out", "ran_out"])
def test_a_session_that_ends_in_mid_upload_costs_nothing(phone, cast, link, recording, how):
    page = page_with(phone, recording)
    name_of(page).fill("Sixths")
    link.slow_s = 0.02
    press_send(page)
    until(lambda: shown(page) >= 4, 30, "the page says that some of it is kept")
    if how == "log_out":
        tab = phone.new_page()
        tab.goto("/queue/")
        tab.get_by_role("button", name="Log out").click()
        expect(tab.get_by_role("heading", name="Log in")).to_be_visible()
        tab.close()
    else:
        OpenSession.objects.all().delete()
    link.slow_s = 0
    expect(words(page)).to_have_text(
        "You are logged out. Sending rests until you are logged in as yourself again."
    )
    note_of(page).fill("Typed while logged out")
    before = kept()
    assert before >= 4 * MB
    assert 4 <= shown(page) <= before / MB + 0.05
    log_in_beside(page, cast.pupil, link)
    page.wait_for_url("**/queue/")
    clip = one_clip(recording)
    assert (clip.title, clip.note) == ("Sixths", "Typed while logged out")
    assert link.sent < clip.original.size_bytes - before + MB, "what had arrived was sent again"


def shown(page: Page) -> float:
    """The megabytes that the page says have arrived."""
    first = (amount(page).text_content() or "").partition(" ")[0]
    return 0.0 if first in ("", "Nothing") else float(first)


def kept() -> int:
    half = Upload.objects.first()
    return half.offset_bytes if half else 0


def test_what_one_person_began_is_neither_shown_to_nor_sent_by_another(
    phone, cast, link, recording
):
    page = page_with(phone, recording)
    name_of(page).fill("Mira’s secret")
    held(page, link)
    name_of(page).fill("Mira’s other secret")
    link.holds = None
    log_in(phone, cast.other_pupil, link)
    page.evaluate("window.dispatchEvent(new Event('offline'))")
    expect(words(page)).to_contain_text("Somebody else is logged in here now.")
    other = phone.new_page()
    other.goto("/send/")
    choose(other, recording)
    expect(other.get_by_role("heading", name="Half sent")).to_have_count(0)
    assert name_of(other).input_value() == ""
    assert "secret" not in other.content()
    press_send(other)
    other.wait_for_url("**/queue/")
    assert one_clip(recording).enrolment == cast.other_enrolment
    log_in(phone, cast.pupil, link)
    page.wait_for_url("**/queue/")
    mine = Clip.objects.get(enrolment=cast.enrolment)
    assert mine.title == "Mira’s other secret"


# -- how far it is ---------------------------------------------------------------------------


def test_what_is_shown_is_what_the_server_has(phone, link, recording):
    page = page_with(phone, recording)
    link.slow_s = 0.02
    press_send(page)
    until(lambda: page.evaluate("1") and kept() >= 4 * MB, 30, "some of it is kept")
    expect(amount(page)).to_contain_text("have arrived")
    said = amount(page).text_content()
    bar = page.locator('[data-part="bar"]').get_attribute("value")
    shown = float(said.split(" ")[0])
    assert shown <= kept() / MB + 0.05
    expect(words(page)).to_have_text("Sending")
    page.get_by_role("button", name="Stop").click()
    expect(words(page)).to_have_text("Stopped by you. What has arrived is kept for a day.")
    expect(amount(page)).to_contain_text(f"{kept() / MB:.1f} MB of 30.0 MB have arrived")
    percent = re.search(r"\((\d+) %\)", amount(page).text_content())[1]
    assert page.locator('[data-part="bar"]').get_attribute("value") == percent
    assert "%" not in words(page).text_content(), "one figure, in one place"
    assert float(bar) <= float(percent)
    expect(page.get_by_role("button", name="Stop")).to_be_hidden()


# -- the bounds ------------------------------------------------------------------------------


def test_what_was_removed_or_has_expired_ends_in_a_sentence_and_can_be_sent_anew(
    phone, link, recording
):
    page = page_with(phone, recording)
    held(page, link)
    phone.set_offline(True)
    expect(words(page)).to_contain_text("Waiting for the connection.")
    until(lambda: page.evaluate("1") and kept(), 10, "what came before the break is kept")
    Upload.objects.update(changed_at=F("changed_at") - Upload.LIFETIME)
    link.holds = None
    phone.set_offline(False)
    expect(refusal(page)).to_contain_text("is not there any more: nothing came for a day")
    press_send(page)
    page.wait_for_url("**/queue/")
    one_clip(recording)


def test_half_sent_recordings_are_limited_and_what_goes_gives_its_place_back(
    phone, link, recording, tmp_path
):
    files = []
    for number in range(3):
        path = tmp_path / f"{number}.wav"
        path.write_bytes(recording.read_bytes()[: 5 * MB] + bytes([number]))
        files.append(path)
    for path in files[:2]:
        page = page_with(phone, path)
        held(page, link, MB)
        link.holds = None
        page.get_by_role("button", name="Stop").click()
        expect(words(page)).to_contain_text("Stopped by you.")
    page = page_with(phone, files[2])
    press_send(page)
    expect(refusal(page)).to_contain_text("2 half-sent recordings are waiting already")
    page.get_by_role("button", name=re.compile("Remove it.*0.wav")).click()
    expect(page.locator(".messages")).to_have_text("It was removed. Nothing of it is kept.")
    choose(page, files[2])
    press_send(page)
    page.wait_for_url("**/queue/")


def test_a_refused_recording_is_put_away_by_its_pupil(phone, cast, link, tmp_path):
    letter = tmp_path / "letter.mp4"
    letter.write_bytes(b"dear teacher, " * 9999)
    page = page_with(phone, letter)
    press_send(page)
    expect(refusal(page)).to_contain_text("not a recording we can read")
    page.goto("/queue/")
    expect(page.locator("#sent")).to_contain_text("It is put away by itself")
    page.get_by_role("button", name="Put it away").click()
    expect(page.locator(".messages")).to_have_text("It was put away.")
    expect(page.locator("#sent")).to_contain_text("Nothing is on its way.")


def test_a_clip_that_nobody_may_watch_does_not_say_that_the_teacher_has_it(phone, cast, link):
    clip = make_clip(cast.enrolment, "Octaves", note="Is it better?")
    Consent.objects.update(withdrawn_at=clip.created_at, withdrawn_by=cast.guardian)
    page = phone.new_page()
    for address in ("/queue/", f"/clips/{clip.pk}/"):
        page.goto(address)
        expect(page.locator("main")).to_contain_text("Your teacher cannot watch or hear it now.")
        expect(page.locator("main")).not_to_contain_text("Your teacher has it")
