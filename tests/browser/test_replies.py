"""What goes with a comment, in a real browser with a made-up microphone and camera."""

import re

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect

from studio.clips.models import Clip
from studio.review.enclosures import dispatch, drawings
from studio.review.models import Comment, Enclosure, Return
from studio.review.returning.services import return_clip
from studio.review.tasks import prepare_enclosure
from tests.browser.at_desk import keep
from tests.browser.conftest import CHROMIUM, OPTIONS
from tests.cast import as_person, make_clip
from tests.deploy.processes import until
from tests.review.heard_clip import listen_again, review_of
from tests.samples import SAMPLE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

DEVICES = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
DESK, PHONE = {"width": 1440, "height": 900}, {"width": 390, "height": 844}
WAIT_S = 30.0


@pytest.fixture(scope="module")
def chromium(playwright: Playwright):
    browser = playwright.chromium.launch(executable_path=CHROMIUM, args=[*OPTIONS, *DEVICES])
    yield browser
    browser.close()


@pytest.fixture
def clip(cast, settings, tmp_path, monkeypatch) -> Clip:
    settings.MEDIA_ROOT = tmp_path / "media"
    monkeypatch.setattr(dispatch, "send", lambda *args: True)
    made = make_clip(cast.enrolment, "Octaves", has_audio=True, duration_s=13.4, frame_rate=15.0)
    listen_again(made)
    keep(made, "playable", "video/mp4", ".mp4", SAMPLE.read_bytes())
    return made


@pytest.fixture
def context_of(chromium: Browser, live_server):
    contexts: list[BrowserContext] = []

    def context(who, viewport: dict) -> BrowserContext:
        made = chromium.new_context(viewport=viewport, base_url=live_server.url)
        contexts.append(made)
        for name, morsel in as_person(who).cookies.items():
            made.add_cookies([{"name": name, "value": morsel.value, "url": live_server.url}])
        return made

    yield context
    for made in contexts:
        made.close()


def watched(page: Page, complaints: list[str]) -> Page:
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda said: said.type == "error" and complaints.append(said.text))
    return page


def comes_true(page: Page, what: str) -> None:
    until(lambda: page.evaluate(what), WAIT_S, what)


def record(page: Page, which: str, seconds: int = 1) -> None:
    page.get_by_role("button", name=f"Record {which}").click()
    speak(page, seconds)
    page.get_by_role("button", name="Stop recording").click()
    expect(page.get_by_label("Your reply, before it is sent")).to_be_visible()
    expect(page.get_by_role("button", name="Add comment")).to_be_focused()


# “v” and Ctrl+Enter with nothing in between, as no hand is quick enough to press them.
AT_ONCE = """() => {
  const press = (more) => document.activeElement.dispatchEvent(
    new KeyboardEvent("keydown", { bubbles: true, cancelable: true, ...more }));
  press({ key: "v" });
  press({ key: "Enter", ctrlKey: true });
}"""


# “v” in the instant in which what was recorded is there, and is not yet kept.
# What is said from then on is noted.
IN_THAT_INSTANT = """() => document.addEventListener("focusin", ({ target }) => {
  window.saidSince = "";
  const line = document.querySelector("reply-recorder [data-part=words]");
  new MutationObserver(() => window.saidSince += line.textContent)
    .observe(line, { childList: true });
  target.dispatchEvent(new KeyboardEvent("keydown", { key: "v", bubbles: true, cancelable: true }));
}, { once: true })"""


def speak(page: Page, seconds: int = 1) -> None:
    expect(page.get_by_text(re.compile(f"0:0{seconds} of 3:00"))).to_be_visible()
    level = "Number(document.querySelector('[data-part=level]').style.transform.slice(7, -1))"
    comes_true(page, f"{level} > 0.1")


def test_a_reply_is_recorded_survives_reload_and_lost_connection_and_is_heard_by_the_pupil(
    cast, clip, context_of
):
    complaints: list[str] = []
    context = context_of(cast.teacher, DESK)
    page = watched(context.new_page(), complaints)
    page.goto(f"/clips/{clip.pk}/")
    comes_true(page, "document.querySelector('video').readyState > 0")
    page.keyboard.press("v")
    speak(page)
    page.keyboard.press("v")
    expect(page.get_by_text("Kept in this browser until it is sent.")).to_be_visible()

    page.reload()
    expect(page.get_by_text("Recorded earlier and not sent yet.")).to_be_visible()
    context.set_offline(True)
    page.get_by_role("button", name="Add comment").click()
    expect(page.locator("#said")).to_contain_text("Not sent yet: there is no connection.")
    assert not Comment.objects.exists()
    context.set_offline(False)
    expect(page.get_by_text("It is being prepared")).to_be_visible()
    enclosure = Enclosure.objects.get()
    assert (enclosure.kind, enclosure.comment.text) == ("voice", "")
    assert 0.8 <= enclosure.duration_s <= 4.0
    comes_true(page, "Object.keys(localStorage).every((key) => !key.startsWith('studio:reply'))")

    prepare_enclosure(enclosure_id=str(enclosure.pk))
    player = page.get_by_label(re.compile("Voice reply, 0:0"))
    expect(player).to_be_visible(timeout=WAIT_S * 1000)
    page.evaluate("document.querySelector('clip-player video').play()")
    player.evaluate("(one) => one.play()")
    comes_true(page, "document.querySelector('clip-player video').paused")

    return_clip(review_of(clip), cast.teacher, "")
    assert Return.objects.get().snapshot["moments"][0]["enclosures"]
    hears_it_at_its_moment(watched(context_of(cast.pupil, PHONE).new_page(), complaints), clip)
    known = re.compile(r"net::ERR_|status of 404")  # the connection, a poster
    assert [said for said in complaints if not known.search(said)] == []


def test_of_a_recording_that_a_crash_cut_off_the_first_seconds_are_kept(cast, clip, context_of):
    complaints: list[str] = []
    context = context_of(cast.teacher, DESK)
    page = watched(context.new_page(), complaints)
    page.goto(f"/clips/{clip.pk}/")
    page.keyboard.press("v")
    comes_true(page, "Object.keys(localStorage).some((key) => key.startsWith('studio:reply'))")
    page.close()  # nothing of the page runs any more

    page = watched(context.new_page(), complaints)
    page.goto(f"/clips/{clip.pk}/")
    expect(page.get_by_text("Recorded earlier and not sent yet.")).to_be_visible()
    page.get_by_role("button", name="Add comment").click()
    expect(page.get_by_text("It is being prepared")).to_be_visible()
    assert 3.5 <= Enclosure.objects.get().duration_s <= 9.0
    assert complaints == []


HEARD = """() => {
  window.heard = [];
  const clip = document.querySelector("#player");
  const note = () => window.heard.push(clip.paused);
  document.querySelector("[data-reply]").addEventListener("playing", note);
}"""


def hears_it_at_its_moment(page: Page, clip: Clip) -> None:
    """Only with the switch on does the clip stop for the reply; then it goes on by itself."""
    playing = "!document.querySelector('{}').paused"
    page.goto(f"/clips/{clip.pk}/")
    stop = page.get_by_label("Stop for replies")
    expect(stop).not_to_be_checked()
    comes_true(page, "document.querySelector('#player').readyState > 0")
    page.evaluate("document.querySelector('#player').play()")
    comes_true(page, "document.querySelector('#player').currentTime > 0.6")
    assert not page.evaluate(playing.format("[data-reply]"))
    page.evaluate("document.querySelector('#player').pause()")
    start = Comment.objects.get().start_s
    stop.check()
    page.evaluate(f"document.querySelector('#player').currentTime = {max(start - 0.4, 0)}")
    page.evaluate(HEARD)  # the reply lasts a second: who only looks now and then misses it
    page.evaluate("document.querySelector('#player').play()")
    comes_true(page, "window.heard.length > 0")
    assert page.evaluate("window.heard") == [True], "the clip stops for it"
    comes_true(page, "document.querySelector('[data-reply]').ended")
    comes_true(page, playing.format("#player"))


def test_refusals_say_what_to_do_a_video_is_shown_and_log_out_forgets(cast, clip, context_of):
    complaints: list[str] = []
    page = watched(context_of(cast.teacher, PHONE).new_page(), complaints)
    page.goto(f"/clips/{clip.pk}/")
    page.locator("#composer textarea").focus()
    page.locator("#enclose-new summary").click()
    page.evaluate("""() => {
        const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
        navigator.mediaDevices.getUserMedia = (asked) => {
            if (asked.video) return real(asked);
            globalThis.asked = asked.audio;
            return Promise.reject(new DOMException("", "NotAllowedError"));
        };
    }""")
    page.get_by_role("button", name="Record voice").click()
    expect(page.get_by_text("Allow it beside the page’s address")).to_be_visible()
    assert page.evaluate("globalThis.asked") == {
        "echoCancellation": False,
        "noiseSuppression": False,
        "autoGainControl": False,
    }
    record(page, "video")
    assert page.locator("reply-recorder video[data-reply]").count() == 1
    comes_true(page, "Object.keys(localStorage).some((key) => key.startsWith('studio:reply'))")
    # By keyboard: the reply's picture may still move what a pointer was aimed at.
    page.locator("header form[action$='log-out/'] button").first.press("Enter")
    page.wait_for_url("**/log-in/**")
    comes_true(page, "localStorage.length === 0")
    page.wait_for_function("indexedDB.databases().then((all) => all.length === 0)")
    assert complaints == []


STROKES = [
    {"kind": "line", "points": [[0.1, 0.1], [0.2004, 0.3333], [0.3, 0.1]]},
    {"kind": "arrow", "from": [0.2, 0.2], "to": [0.61, 0.35]},
    {"kind": "circle", "at": [0.5, 0.25], "radius": 0.1235},
    {"kind": "label", "at": [0.1, 0.4], "text": "bow arm"},
]


def drag(page: Page, box: dict, *points: tuple[float, float]) -> None:
    """Over the picture, whose corners are (0, 0) and (1, 1)."""
    for n, (x, y) in enumerate(points):
        page.mouse.move(box["x"] + x * box["width"], box["y"] + y * box["height"])
        if n == 0:
            page.mouse.down()
    page.mouse.up()


def test_a_still_is_drawn_on_by_pointer_and_by_keys_reloaded_saved_and_edited(
    cast, clip, context_of
):
    complaints: list[str] = []
    page = watched(context_of(cast.teacher, DESK).new_page(), complaints)
    page.goto(f"/clips/{clip.pk}/")
    comes_true(page, "document.querySelector('video').readyState > 1")
    module = "(strokes) => import('/static/desk/strokes.js').then((all) => all.shapes(strokes))"
    assert page.evaluate(module, STROKES) == drawings.shapes(STROKES)

    page.evaluate("document.querySelector('clip-player video').currentTime = 3.4")
    page.keyboard.press("i")
    picture = page.get_by_role("application")
    expect(picture).to_be_focused()
    drag(page, picture.bounding_box(), (0.2, 0.2), (0.4, 0.3), (0.6, 0.3))
    expect(page.get_by_text("Arrow drawn.")).to_be_visible()
    page.get_by_text("Circle", exact=True).click()
    picture.focus()
    for key in ("ArrowRight", "Enter", "ArrowDown", "ArrowDown", "ArrowDown", "Enter"):
        page.keyboard.press(key)
    expect(page.get_by_text("Circle drawn.")).to_be_visible()
    drag(page, picture.bounding_box(), (0.8, 0.8), (0.9, 0.9))
    page.get_by_role("button", name="Undo").click()
    drag(page, picture.bounding_box(), (0.8, 0.2))  # a press, without dragging (2.5.7)
    expect(page.get_by_text("Press where it ends")).to_be_visible()
    drag(page, picture.bounding_box(), (0.9, 0.4))
    expect(page.locator("still-drawing path.ink:not(.cross)")).to_have_count(3)
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Done").click()
    expect(page.get_by_text("Say in words what the drawing shows")).to_be_visible()
    page.keyboard.type("The wrist bends in")

    page.reload()
    page.get_by_role("button", name="Edit the drawing").click()
    expect(page.get_by_label("What it shows").last).to_have_value("The wrist bends in")
    assert page.locator("still-drawing path.ink").count() == 2
    page.get_by_role("button", name="Done").click()
    page.get_by_role("button", name="Add comment").click()
    expect(page.get_by_text("It is being prepared")).to_be_visible()
    enclosure = Enclosure.objects.get()
    assert [stroke["kind"] for stroke in enclosure.strokes] == ["arrow", "circle"]
    assert enclosure.strokes[0]["to"] == pytest.approx([0.6, 0.3 * 9 / 16], abs=0.005)
    assert enclosure.strokes[1] == {"kind": "circle", "at": [0.52, 0.2813], "radius": 0.06}
    assert enclosure.frame_s == pytest.approx(3.4, abs=0.01)
    expect(page.locator("#composer [name='drawing']")).to_have_value("")

    prepare_enclosure(enclosure_id=str(enclosure.pk))
    shown = page.get_by_role("img", name="The wrist bends in")
    expect(shown).to_be_visible(timeout=WAIT_S * 1000)
    page.get_by_text("Edit the drawing").click()
    page.get_by_role("button", name="Draw on it again").click()
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Done").click()
    page.get_by_role("button", name="Save", exact=True).last.click()
    expect(page.locator("#said")).to_have_text("Drawing changed.")
    assert len(Enclosure.objects.get().strokes) == 1
    assert [said for said in complaints if "status of 404" not in said] == []


def test_a_reply_takes_three_presses_and_is_not_recorded_over(cast, clip, context_of):
    page = context_of(cast.teacher, DESK).new_page()
    page.goto(f"/clips/{clip.pk}/")
    comes_true(page, "document.querySelector('video').readyState > 0")
    page.keyboard.press("v")
    speak(page)
    page.evaluate(IN_THAT_INSTANT)
    page.keyboard.press("v")
    expect(page.get_by_label("Your reply, before it is sent")).to_be_visible()
    expect(page.get_by_role("button", name="Add comment")).to_be_focused()
    expect(page.get_by_text("There is a reply already.")).to_be_visible()
    page.keyboard.press("Control+Enter")
    until(lambda: Enclosure.objects.exists(), WAIT_S, "the reply is with the server")
    assert 0.8 <= Enclosure.objects.get().duration_s <= 4.0
    assert "Kept" not in page.evaluate("window.saidSince")
    page.keyboard.press("v")
    speak(page, 2)
    page.evaluate(AT_ONCE)  # what is being stopped goes along
    until(lambda: Enclosure.objects.count() == 2, WAIT_S, "the second reply is with the server")
