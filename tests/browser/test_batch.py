"""A batch in a real browser: looked through, written and returned by keyboard; by touch; kept."""

import json

import pytest
from playwright.sync_api import Page, expect

from studio.clips.models import Clip
from studio.clips.storage import spool
from studio.review import comments
from studio.review.comments import CommentText
from studio.review.models import Comment, Enclosure, Return
from studio.review.returning import services
from tests.browser.at_desk import PHONE, SAMPLE, comes_true, folder, keep  # noqa: F401
from tests.browser.legible import troubles
from tests.browser.watched import Watched
from tests.cast import as_person, make_clip
from tests.review.heard_clip import listen_again, measurement, review_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

WAIT_MS = 20_000  # a recording is copied and examined
IN_TUNE = (("Bb3", 2.75, (2.0,)), ("C4", 8.55, (1.0,)))
DESK = {"width": 1440, "height": 900}


@pytest.fixture
def three(cast) -> list[Clip]:
    """Three clips in tune, after one that was returned with words."""
    before = quiet_clip(cast.enrolment, "Before")
    services.return_clip(review_of(before), cast.teacher, "Well held, Mira. Slower bow.")
    return [quiet_clip(cast.enrolment, name) for name in ("One", "Two", "Three")]


def quiet_clip(enrolment, title: str) -> Clip:
    made = make_clip(enrolment, title, has_audio=True, duration_s=13.4, frame_rate=15.0)
    listen_again(made, measurement(IN_TUNE, 13.4))
    keep(made, "playable", "video/mp4", ".mp4", SAMPLE.read_bytes())
    return made


def recorded(cast) -> Enclosure:
    """A reply of the teacher's, ready to be heard, with its file as it came."""
    earlier = make_clip(cast.enrolment, "Earlier", has_audio=True, note="How?")
    comment = comments.add_comment(
        review_of(earlier), cast.teacher, CommentText("bow", "Lean in", 1.0)
    )
    reply = Enclosure.objects.create(comment=comment, kind="video", state="ready", duration_s=13.4)
    for kind in ("original", "shown"):
        stored = enclosed(reply, kind)
        reply.files.create(clip=earlier, kind=kind, content_type="video/mp4", **stored)
    return reply


def enclosed(reply: Enclosure, kind: str) -> dict:
    stored = spool.keep(spool.spool([SAMPLE.read_bytes()], 10**9), f"{reply.pk.hex}-{kind}")
    return {"path": stored.path, "sha256": stored.sha256, "size_bytes": stored.size_bytes}


@pytest.fixture
def opened(chromium, live_server):
    contexts = []

    def open_batch(who, viewport=DESK, **options) -> Page:
        browser = Watched(chromium, base_url=live_server.url, viewport=viewport, **options)
        browser.expected.add(409)  # what is left out
        contexts.append(browser)
        for name, morsel in as_person(who).cookies.items():
            cookie = {"name": name, "value": morsel.value, "url": live_server.url}
            browser.page.context.add_cookies([cookie])
        browser.page.goto("/waiting/batch/")
        return browser.page

    yield open_batch
    for browser in contexts:
        assert browser.troubles == []
        browser.close()


def plays_from_its_start(page: Page, clip: Clip) -> None:
    video = f"document.querySelector('#batch-{clip.pk.hex} video')"
    comes_true(page, f"!{video}.paused && {video}.currentTime < 5")


def test_a_batch_by_keyboard_alone(cast, three, opened):
    recorded(cast)
    one, two, three_ = three
    page = opened(cast.teacher)
    keys = page.keyboard
    expect(page.locator("batch-row")).to_have_attribute("data-ready", "")
    keys.press("n")
    expect(page.locator(f"#batch-{two.pk.hex}")).to_be_focused()
    plays_from_its_start(page, two)
    keys.press("p")
    plays_from_its_start(page, one)
    assert page.evaluate(f"document.querySelector('#batch-{two.pk.hex} video').paused")
    keys.press("1")
    keys.press("2")
    keys.press("2")
    expect(page.locator(f"#summary-{one.pk.hex}")).to_have_value("Well held, Mira. Slower bow.")
    keys.press("v")
    expect(page.locator(f"#batch-{one.pk.hex} .example video")).to_be_visible()
    keys.press("n")
    expect(page.locator(f"#batch-{one.pk.hex} .written")).to_have_text(
        "Well held, Mira. Slower bow."
    )
    keys.press("c")
    keys.type("Dear n and p, even fingers.")
    keys.press("Control+Enter")
    expect(page.locator(f"#batch-{three_.pk.hex}")).to_be_focused()
    keys.press("r")
    expect(page.get_by_role("button", name="Return 2 clips")).to_be_focused()
    expect(page.locator("[data-part='stay']")).to_have_text("1 clip without words stays.")
    keys.press("Enter")
    done = page.get_by_text("2 clips returned, each with its own summary.")
    expect(done).to_be_visible(timeout=WAIT_MS)
    assert {r.review.clip_id: r.snapshot["summary"] for r in Return.objects.all()} | {
        one.pk: "Well held, Mira. Slower bow.",
        two.pk: "Dear n and p, even fingers.",
    } == {r.review.clip_id: r.snapshot["summary"] for r in Return.objects.all()}
    assert Comment.objects.get(review__clip=one).enclosures.get().kind == "video"
    expect(page.locator("[data-clip]")).to_have_count(1)


def test_a_key_on_the_waiting_list_leads_there(cast, three, opened):
    page = opened(cast.teacher)
    page.goto("/waiting/")
    page.keyboard.press("l")
    page.wait_for_url("**/waiting/batch/")


def test_what_is_written_survives_leaving_and_the_rest_of_the_keys(cast, three, opened):
    page = opened(cast.teacher)
    page.keyboard.press("c")
    page.keyboard.type("Kept on this device")
    page.keyboard.press("Escape")
    expect(page.locator(f"#batch-{three[0].pk.hex}")).to_be_focused()
    page.keyboard.press("e")
    page.wait_for_url(f"**/clips/{three[0].pk}/")
    page.go_back()
    expect(page.locator(f"#summary-{three[0].pk.hex}")).to_have_value("Kept on this device")
    page.keyboard.press("?")
    row = page.locator(".keys-help dd").filter(has_text="attach your recorded example")
    expect(row).to_be_visible()
    expect(page.locator(".keys-help dd").filter(has_text="drop the selected")).to_have_count(0)


def test_words_kept_under_the_name_of_before_are_put_back(cast, three, opened):
    page = opened(cast.teacher)
    kept = {f"summary-{three[0].pk.hex}": "Kept before"}
    page.evaluate(
        "([name, kept]) => { localStorage.clear(); localStorage.setItem(name, kept); }",
        [f"pile:{cast.teacher.pk}", json.dumps(kept)],
    )
    page.reload()
    expect(page.locator(f"#summary-{three[0].pk.hex}")).to_have_value("Kept before")
    assert page.evaluate("Object.keys(localStorage)") == [f"batch:{cast.teacher.pk}"]


def test_what_is_left_out_is_open_with_its_words(cast, three, opened):
    page = opened(cast.teacher)
    page.locator(f"#batch-{three[1].pk.hex} h2").click()
    page.locator(f"#summary-{three[1].pk.hex}").fill("Steadier")
    listen_again(three[1], measurement(IN_TUNE, 13.4))
    page.get_by_role("button", name="Return 1 clip").click()
    expect(page.get_by_text("1 clip was not returned.")).to_be_visible()
    expect(page.locator(f"#batch-{three[1].pk.hex} .error")).to_contain_text("Look at it again.")
    expect(page.locator(f"#summary-{three[1].pk.hex}")).to_have_value("Steadier")
    page.get_by_role("button", name="Return 1 clip").click()
    expect(page.get_by_text("1 clip returned, each")).to_be_visible()


def test_a_batch_on_a_phone_by_touch(cast, three, opened):
    page = opened(cast.teacher, PHONE, has_touch=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.locator(f"#batch-{three[2].pk.hex} h2").tap()
    plays_from_its_start(page, three[2])
    page.locator(f"#batch-{three[2].pk.hex} [data-offer]").first.tap()
    page.get_by_role("button", name="Return 1 clip").tap()
    expect(page.get_by_text("1 clip returned")).to_be_visible()


def test_a_batch_without_a_script(cast, three, opened):
    page = opened(cast.teacher, java_script_enabled=False)
    page.locator(f"#summary-{three[0].pk.hex}").fill("Well held")
    page.locator(f"#summary-{three[1].pk.hex}").fill("Steadier")
    page.get_by_role("button", name="Return those that have words").click()
    expect(page.get_by_text("2 clips returned")).to_be_visible()


def test_a_full_batch_and_two_takes_have_no_serious_issue(cast, three, opened):
    recorded(cast)
    page = opened(cast.teacher, PHONE, reduced_motion="reduce")
    page.keyboard.press("1")
    page.keyboard.press("v")
    assert "\n".join(troubles(page)) == ""
    page.goto(f"/clips/{three[2].pk}/together/")
    expect(page.locator("two-takes")).to_have_attribute("data-ready", "")
    assert "\n".join(troubles(page)) == ""
