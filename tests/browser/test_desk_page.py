"""The desk in a real browser: by keyboard, by pointer, by touch; offline, in two tabs, reloaded."""

import pytest
from playwright.sync_api import expect

from studio import figures
from studio.clips.models import Stage
from studio.media import extract_sound, probe, waveform_peaks
from studio.review.comments import CommentText, add_comment, edit_comment
from studio.review.models import Comment, Decision, Return
from tests.browser.at_desk import (  # noqa: F401 (fixtures, and what they need)
    DESK,
    FIRST_S,
    LEAD_IN_S,
    LENGTH_S,
    MARKED_S,
    PHONE,
    PLAYED,
    RATE,
    SAMPLE,
    SECOND_S,
    TABLET,
    clip,
    comes_true,
    folder,
    keep,
    opened,
    plays,
    said,
    seconds,
    sent,
)
from tests.cast import as_person, make_clip, make_drill
from tests.review.heard_clip import listen_again, measurement, review_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


# -- by keyboard ---------------------------------------------------------------------------------


def test_a_whole_review_by_keyboard_alone(cast, clip, opened):
    drill = make_drill(cast.teacher, cast.studio, "Octaves, slowly")
    page = opened(cast.teacher, clip)
    keys = page.keyboard
    keys.press("n")
    expect(page.locator("[data-mark='0']")).to_be_focused()
    assert MARKED_S[0] - LEAD_IN_S - 0.1 <= seconds(page) <= MARKED_S[0] + 1
    keys.press("k")
    expect(said(page)).to_have_text("Kept.")
    keys.press("n")
    expect(page.locator("[data-mark='1']")).to_be_focused()
    keys.press("d")
    expect(said(page)).to_have_text("Dropped.")
    keys.press("p")
    keys.press("e")
    keys.press("Control+a")
    keys.type("Lean the fourth finger back.")
    keys.press("Control+Enter")
    expect(page.locator("[data-mark='0'] .sentence")).to_have_text("Lean the fourth finger back.")
    keys.press("c")
    assert not plays(page)
    at = seconds(page)
    keys.type("Keep the bow slow here, dear k, d and n.")
    keys.press("Control+Enter")
    expect(said(page)).to_have_text("Comment added.")
    keys.press("a")
    keys.type("Octaves")
    while page.evaluate("document.activeElement.name") != "goal":
        keys.press("Tab")
    keys.type("Two bows each")
    keys.press("Enter")
    expect(said(page)).to_contain_text("is set with this clip")
    keys.press("Escape")
    keys.press("r")
    page.wait_for_url("**/preview/")
    keys.press("Enter")
    page.wait_for_url("**/waiting/")

    assert list(Decision.objects.order_by("start_s").values_list("choice", "words")) == [
        ("kept", "Lean the fourth finger back."),
        ("dropped", ""),
    ]
    comment = Comment.objects.get()
    assert comment.text == "Keep the bow slow here, dear k, d and n."
    assert comment.start_s == pytest.approx(at, abs=1 / RATE)
    assert review_of(clip).drills_set.get().version == drill.newest()
    assert Return.objects.get().review.clip == clip


def test_a_key_pressed_again_keeps_and_another_takes_back(cast, clip, opened):
    page = opened(cast.teacher, clip)
    keys = page.keyboard
    for key in "nkpknd":
        keys.press(key)
    sent(page)
    assert list(Decision.objects.values_list("choice", flat=True)) == ["kept", "dropped"]
    page.reload()
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    for left in (1, 0):
        keys.press("z")
        sent(page)
        assert Decision.objects.count() == left
    keys.press("z")
    expect(said(page)).to_have_text("Nothing was decided that could be taken back.")


def test_keys_move_through_time(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowLeft")
    comes_true(page, "!document.querySelector('video').seeking")
    assert seconds(page) == pytest.approx(5.0, abs=0.01)
    page.keyboard.press(".")
    video = "document.querySelector('video')"
    comes_true(page, f"Math.abs({video}.currentTime - {(5 * RATE + 1.5) / RATE}) < 0.01")
    page.keyboard.press("s")
    speed = f"[{video}.playbackRate, {video}.preservesPitch]"
    assert page.evaluate(speed) == [0.9, True]
    page.keyboard.press("f")
    assert page.evaluate(speed)[0] == 1


def test_keys_stay_in_the_text_that_is_being_written(cast, clip, opened):
    page = opened(cast.teacher, clip)
    box = page.locator("#composer textarea")
    box.focus()
    page.keyboard.type("n k d ? r w 0")
    expect(box).to_have_value("n k d ? r w 0")
    expect(page.locator(".keys-help")).to_be_hidden()
    assert not Decision.objects.exists()
    page.keyboard.press("Escape")
    page.keyboard.press("?")
    expect(page.locator(".keys-help")).to_be_visible()
    page.keyboard.press("?")
    expect(page.locator(".keys-help")).to_be_hidden()


def test_what_one_teacher_writes_another_at_the_same_browser_does_not_see(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.locator("#composer textarea").fill("For my own eyes, as yet.")
    kept = page.evaluate("JSON.stringify({ ...localStorage })")
    hers = opened(cast.colleague, clip)
    hers.evaluate("(kept) => Object.assign(localStorage, JSON.parse(kept))", kept)
    hers.reload()
    expect(hers.locator("clip-desk")).to_have_attribute("data-ready", "")
    expect(hers.locator("#composer textarea")).to_have_value("")
    page.reload()
    expect(page.locator("#composer textarea")).to_have_value("For my own eyes, as yet.")


def test_the_page_follows_what_plays_only_where_it_is_to(cast, clip, opened):
    page = opened(cast.teacher, clip)
    follow = page.get_by_role("button", name="Follow", exact=True)
    expect(follow).to_have_attribute("aria-pressed", "true")
    page.evaluate("document.querySelector('sound-picture').zoom(1)")
    page.keyboard.press("u")
    expect(follow).to_have_attribute("aria-pressed", "false")
    view = "JSON.stringify(document.querySelector('sound-picture').view)"
    for _ in range(4):
        page.keyboard.press("+")
    stays = page.evaluate(view)
    page.evaluate("document.querySelector('sound-picture').place(14, false)")
    assert page.evaluate(view) == stays
    page.evaluate("document.querySelector('clip-player').seek(9)")
    page.keyboard.press("Space")
    comes_true(page, "document.querySelector('video').currentTime > 9.4")
    assert page.evaluate(view) == stays
    page.keyboard.press("u")
    comes_true(page, f"{view} !== '{stays}'")


def test_arrows_walk_through_the_rows_and_enter_plays(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.dataset.start") == "4.250"
    page.keyboard.press("Enter")
    comes_true(page, "!document.querySelector('video').paused")
    assert 3.7 <= seconds(page) <= 5.0


# -- by pointer ----------------------------------------------------------------------------------


def test_a_press_on_a_row_plays_from_just_before_it_and_a_second_one_stops(cast, clip, opened):
    page = opened(cast.teacher, clip)
    row = page.locator(f"[data-row][data-start='{SECOND_S:.3f}'].playing")
    row.click()
    comes_true(page, "!document.querySelector('video').paused")
    assert SECOND_S - LEAD_IN_S - 0.05 <= seconds(page) <= SECOND_S + 0.6
    expect(row).to_have_attribute("aria-pressed", "true")
    row.click()
    comes_true(page, "document.querySelector('video').paused")
    assert page.evaluate("document.querySelector('video').videoWidth") > 0


def test_playing_lights_up_the_row_that_sounds(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.locator(f"[data-row][data-start='{SECOND_S:.3f}'].playing").click()
    expect(page.locator("[aria-current='true']")).to_have_attribute("data-start", f"{SECOND_S:.3f}")
    expect(page.locator(".block.sounding .what")).to_have_text("octave C4–C5")


def test_a_press_in_the_picture_seeks_and_a_drag_selects_a_span(cast, clip, opened):
    page = opened(cast.teacher, clip)
    box = page.locator("sound-picture .over").bounding_box()
    middle = box["y"] + box["height"] / 2
    page.mouse.click(box["x"] + box["width"] / 2, middle)
    comes_true(page, "!document.querySelector('video').seeking")
    assert seconds(page) == pytest.approx(LENGTH_S / 2, abs=0.05)
    page.mouse.move(box["x"] + box["width"] * 0.25, middle)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.5, middle, steps=5)
    page.mouse.up()
    page.keyboard.press("Shift+C")
    page.keyboard.type("These two are one bow.")
    page.get_by_role("button", name="Add comment").click()
    expect(said(page)).to_have_text("Comment added.")
    comment = Comment.objects.get()
    assert comment.start_s == pytest.approx(LENGTH_S / 4, abs=0.05)
    assert comment.end_s == pytest.approx(LENGTH_S / 2, abs=0.05)


def test_the_picture_and_the_ledger_point_at_the_same(cast, clip, opened):
    page = opened(cast.teacher, clip)
    comes_true(page, "document.querySelector('sound-picture').events.length > 0")
    box = page.locator("sound-picture .over").bounding_box()
    x = box["x"] + box["width"] * (SECOND_S + 0.5) / LENGTH_S
    page.mouse.move(x, box["y"] + box["height"] / 2)
    expect(page.locator(".pointed")).to_have_attribute("data-start", f"{SECOND_S:.3f}")


def test_the_picture_draws_ink_where_something_sounds(cast, clip, opened, tmp_path):
    extract_sound(SAMPLE, tmp_path / "sound.wav", probe(SAMPLE))
    peaks = waveform_peaks(tmp_path / "sound.wav")
    keep(clip, "peaks", "application/json", ".json", peaks)
    page = opened(cast.teacher, clip)
    comes_true(page, "document.querySelector('sound-picture').events.length > 0")
    page.wait_for_timeout(300)
    ink = """([from, to, top, bottom]) => {
      const canvas = document.querySelector("sound-picture .base");
      const { width, height } = canvas;
      const box = [from * width, top * height, (to - from) * width, (bottom - top) * height];
      const { data } = canvas.getContext("2d").getImageData(...box.map(Math.round));
      return data.filter((value, n) => n % 4 === 3 && value > 60).length / (data.length / 4);
    }"""
    sounding = [(MARKED_S[0] + 0.1) / LENGTH_S, (MARKED_S[0] + 1) / LENGTH_S]
    before = [0.012, 0.05]
    voices, wave = [0.18, 0.6], [0.66, 0.86]
    assert page.evaluate(ink, [*sounding, *voices]) > 0.01 > page.evaluate(ink, [*before, *voices])
    assert page.evaluate(ink, [*sounding, *wave]) > 2 * page.evaluate(ink, [*before, *wave])


@pytest.mark.parametrize("viewport", [DESK, TABLET, PHONE], ids=["desk", "tablet", "phone"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_runs_out_of_the_page(cast, clip, opened, viewport, scheme):
    add_comment(review_of(clip), cast.teacher, CommentText("bow", "A" * 400, FIRST_S))
    page = opened(cast.teacher, clip, viewport, color_scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


def test_by_touch_a_tap_plays_and_decides(cast, clip, opened):
    page = opened(cast.teacher, clip, TABLET, has_touch=True)
    page.locator(f"[data-row][data-start='{FIRST_S:.3f}'].playing").tap()
    comes_true(page, "!document.querySelector('video').paused")
    page.locator("#keep-0").tap()
    expect(said(page)).to_have_text("Kept.")
    sent(page)
    assert Decision.objects.get().choice == "kept"


# -- nothing is lost -----------------------------------------------------------------------------


def test_what_is_being_written_survives_a_reload(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.keyboard.press("c")
    page.keyboard.type("Half a thought")
    page.locator("#composer").get_by_text("bow", exact=True).click()
    page.reload()
    expect(page.locator("#composer textarea")).to_have_value("Half a thought")
    assert page.locator("#composer input[name='kind']:checked").input_value() == "bow"
    page.get_by_role("button", name="Add comment").click()
    expect(said(page)).to_have_text("Comment added.")
    page.reload()
    expect(page.locator("#composer textarea")).to_have_value("")


def test_a_comment_written_offline_is_sent_once_when_the_connection_is_back(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.keyboard.press("c")
    page.keyboard.type("Written on a train")
    page.context.set_offline(True)
    page.keyboard.press("Control+Enter")
    expect(said(page)).to_contain_text("there is no connection")
    expect(page.locator(".comment.new .text")).to_have_text("Written on a train")
    expect(page.locator("#composer textarea")).to_have_value("")
    page.context.set_offline(False)
    expect(said(page)).to_have_text("Comment added.")
    expect(page.locator(".comment")).to_have_count(1)
    assert Comment.objects.get().text == "Written on a train"


def test_two_tabs_that_edit_one_comment_keep_both_texts(cast, clip, opened):
    comment = add_comment(review_of(clip), cast.teacher, CommentText("bow", "At first", FIRST_S))
    page = opened(cast.teacher, clip)
    page.locator(f"#edit-comment-{comment.pk} summary").click()
    page.locator(f"#edit-comment-{comment.pk} textarea").fill("My own text")
    edit_comment(comment, CommentText("bow", "The other tab's text", FIRST_S), version=1)
    page.locator(f"#edit-comment-{comment.pk}").get_by_role("button", name="Save").click()
    expect(page.locator(f"#comment-{comment.pk} [role='alert']")).to_contain_text(
        "The other tab's text"
    )
    expect(page.locator(f"#edit-comment-{comment.pk} textarea")).to_have_value("My own text")
    page.locator(f"#edit-comment-{comment.pk}").get_by_role("button", name="Save").click()
    expect(page.locator(f"#comment-{comment.pk} > .text")).to_have_text("My own text")


def test_the_desk_can_be_used_while_the_picture_is_being_prepared(cast, opened):
    waiting = make_clip(cast.enrolment, has_audio=True, duration_s=LENGTH_S)
    listen_again(waiting, measurement(PLAYED, LENGTH_S))
    Stage.objects.filter(clip=waiting, kind="playback").update(state="working", progress=0.3)
    page = opened(cast.teacher, waiting, playable=False)
    expect(page.locator(".preparing progress")).to_have_attribute("value", "30")
    page.locator(f"[data-row][data-start='{SECOND_S:.3f}'].playing").click()
    expect(page.locator(".now")).to_have_text(figures.place(SECOND_S - LEAD_IN_S, 1))
    page.keyboard.press("c")
    expect(page.locator("#composer input[name='start_s']")).to_have_value("0:08.05")
    keep(waiting, "playable", "video/mp4", ".mp4", SAMPLE.read_bytes())
    Stage.objects.filter(clip=waiting, kind="playback").update(state="playable")
    expect(page.locator(".preparing")).to_have_count(0)
    assert page.evaluate("document.querySelector('video').videoWidth") > 0


def test_the_summary_goes_along_to_the_preview_and_no_comment_stays_behind(cast, clip, opened):
    page = opened(cast.teacher, clip)
    page.locator("#summary textarea").fill("Much steadier than last week.")
    page.locator("#composer textarea").fill("Half a thought")
    page.locator("clip-desk").focus()
    page.keyboard.press("r")
    expect(said(page)).to_contain_text("a comment that is not added yet")
    expect(page.locator("#composer textarea")).to_be_focused()
    page.keyboard.press("Control+Enter")
    expect(said(page)).to_have_text("Comment added.")
    page.keyboard.press("r")
    page.wait_for_url("**/preview/")
    expect(page.locator(".summary")).to_have_text("Much steadier than last week.")
    expect(page.locator(".moments")).to_contain_text("Half a thought")


def test_a_clip_that_waits_can_be_passed_over_by_key(cast, clip, opened):
    make_clip(cast.other_enrolment, "Second", has_audio=True)
    page = opened(cast.teacher, clip)
    page.keyboard.press("w")
    expect(page.locator(".about b")).to_have_text("Second")
    page.keyboard.press("Shift+W")  # at once: the page may still be loading
    expect(page.locator(".about b")).to_have_text("Octaves")


def test_without_scripts_the_forms_do_the_work(cast, clip, chromium, live_server):
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False)
    for name, morsel in as_person(cast.teacher).cookies.items():
        context.add_cookies([{"name": name, "value": morsel.value, "url": live_server.url}])
    page = context.new_page()
    page.goto(f"/clips/{clip.pk}/")
    page.locator("#keep-0").click()
    expect(page.locator("#keep-0")).to_have_attribute("aria-pressed", "true")
    page.locator("#composer input[name='start_s']").fill("0:04.5")
    page.locator("#composer textarea").fill("Slower bow")
    page.get_by_role("button", name="Add comment").click()
    expect(page.locator(".comment .text")).to_have_text("Slower bow")
    page.locator("#summary textarea").fill("Good work.")
    page.locator("#summary").get_by_role("button", name="Preview and return").click()
    page.get_by_role("button", name="Return to").click()
    expect(page.locator(".messages")).to_contain_text("Returned to")
    context.close()
    snapshot = Return.objects.get().snapshot
    assert [moment["type"] for moment in snapshot["moments"]] == ["mark", "comment"]
