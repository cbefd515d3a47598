"""The whole way through, with real parts: browser, web server, workers, file queue, sample clip.

A pupil sends a clip; it is heard; the marks agree with what was planted; the teacher keeps, drops,
edits, comments, sets a drill and returns it; the pupil sees exactly that, and the drill.
"""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from sample_media.make import build, read_truth
from studio.clips.models import Clip, Stage
from studio.intonation.wording.sentences import render
from studio.review.marks.judging import judged
from studio.review.models import Decision, Return
from tests.cast import PASSWORD, make_drill, set_for
from tests.deploy.processes import until
from tests.live import LiveStudio, live_studio

pytestmark = [
    pytest.mark.browser,
    pytest.mark.worker,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("real_passwords"),
]

MARK_WITHIN_S = 0.1
MARK_WITHIN_CENTS = 5.0
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1440, "height": 900}
WAIT_S = 90.0


@pytest.fixture
def studio(tmp_path) -> LiveStudio:
    with live_studio(tmp_path) as running:
        yield running


@pytest.fixture
def sample(tmp_path) -> Path:
    return build("octaves-in-b-flat", tmp_path)


@pytest.fixture
def drill(cast):
    return make_drill(cast.teacher, cast.studio, "B-flat major in octaves")


@pytest.fixture
def assignment(cast, drill):
    return set_for(cast.enrolment, drill)


def log_in(browser: Browser, studio: LiveStudio, person, viewport: dict) -> Page:
    page = browser.new_context(viewport=viewport, base_url=studio.url).new_page()
    page.goto("/log-in/")
    page.get_by_label(re.compile("address", re.I)).fill(person.email)
    page.get_by_label(re.compile("password", re.I)).fill(PASSWORD)
    page.get_by_role("button", name=re.compile("log in", re.I)).click()
    page.wait_for_url(lambda url: "log-in" not in url)
    return page


def test_the_whole_story(chromium, studio, cast, sample, drill, assignment):
    pupil = log_in(chromium, studio, cast.pupil, PHONE)
    clip = send(pupil, sample, assignment)
    heard(clip)
    expect_marks_as_planted(clip, read_truth(sample))

    pupil.goto(f"/clips/{clip.pk}/")
    for hidden in ("cents", "Keep", "wide"):
        assert hidden not in pupil.inner_text("main"), "nothing unreturned is shown"

    teacher = log_in(chromium, studio, cast.teacher, DESK)
    said = review(teacher, studio, clip, drill)
    expect_video_plays_and_seeks(teacher, clip)
    return_it(teacher, clip)

    expect_exactly_what_was_returned(pupil, clip, said)
    expect_drill_in_queue(pupil)
    guardian = log_in(chromium, studio, cast.guardian, PHONE)
    expect_exactly_what_was_returned(guardian, clip, said | {"kept": said["kept_of_her"]})
    stranger = log_in(chromium, studio, cast.foreign_teacher, DESK)
    assert stranger.goto(f"/clips/{clip.pk}/").status == 404


# -- the pupil sends -------------------------------------------------------------------------


def send(page: Page, sample: Path, assignment) -> Clip:
    page.goto(f"/send/?assignment={assignment.pk}")
    page.locator("input[type=file]").set_input_files(sample)
    page.get_by_role("button", name="Send it").click()
    clip = until(Clip.objects.first, 30, "the clip has arrived")
    assert clip.intake == Clip.Intake.RECEIVED
    assert clip.review.answers == assignment
    return clip


def heard(clip: Clip) -> None:
    for kind, state in Stage.DONE.items():
        until(
            lambda kind=kind, state=state: Stage.objects.get(clip=clip, kind=kind).state == state,
            WAIT_S,
            f"{kind} is done",
        )


def expect_marks_as_planted(clip: Clip, truth: dict) -> None:
    """Every run whose last playing is planted out of tune is marked there, and nothing else."""
    marks = judged(clip.review).marks
    planted = [run for run in truth["runs"] if run["mark_expected"]]
    spans = {event["id"]: event for event in truth["events"]}
    assert len(marks) == len(planted), [mark.sentence for mark in marks]
    for mark, run in zip(marks, planted, strict=True):
        last = spans[run["events"][-1]]
        assert abs(mark.start_s - last["start_s"]) < MARK_WITHIN_S, mark.sentence
        assert abs(mark.end_s - last["end_s"]) < MARK_WITHIN_S, mark.sentence
        off = mark.params["deviation_cents"] - run["last_cents"]
        assert abs(off) < MARK_WITHIN_CENTS, mark.sentence


# -- the teacher answers ---------------------------------------------------------------------


def review(page: Page, studio: LiveStudio, clip: Clip, drill) -> dict:
    """Keep one mark, keep one in other words, drop the rest, comment, set a drill.

    While the comment is being written the web server is killed; the supervisor starts another.
    """
    page.goto("/waiting/")
    page.locator(f"a[href='/clips/{clip.pk}/']").first.click()
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    marks = judged(clip.review).marks
    page.locator(f"#keep-{marks[0].id}").click()
    expect(page.locator(f"#keep-{marks[0].id}")).to_have_text("Kept")
    page.locator(f"#edit-mark-{marks[1].id} summary").click()
    page.locator(f"#words-{marks[1].id}").fill("Let the hand move as one.")
    page.locator(f"#edit-mark-{marks[1].id}").get_by_role(
        "button", name="Keep in these words"
    ).click()
    expect(page.locator(f"#keep-{marks[1].id}")).to_have_text("Kept")
    for mark in marks[2:]:
        page.locator(f"#drop-{mark.id}").click()
        expect(page.locator(f"#drop-{mark.id}")).to_have_text("Dropped")
    until(lambda: Decision.objects.count() == len(marks), 10, "decisions are stored")
    composer = page.locator("#composer")
    composer.locator("[name=start_s]").fill("0:12.5")
    text = composer.locator("[name=text]")
    text.press_sequentially("Here you waited ")
    kill_web(studio)
    text.press_sequentially("for the beating to stop.")
    composer.get_by_role("button", name="Add comment").click()
    expect(page.locator("#said")).to_contain_text("Not sent yet")
    until(clip.review.comments.exists, 60, "the comment is stored, the server being back")
    assert [c.text for c in clip.review.comments.all()] == [
        "Here you waited for the beating to stop."
    ]
    form = page.locator("#set-from-shelf")
    form.locator("[name=drill]").select_option(label=str(drill))
    form.locator("[name=goal]").fill("Three still octaves")
    form.get_by_role("button", name="Set this drill").click()
    until(lambda: clip.review.drills_set.count() == 1, 10, "the drill is set")
    return {
        "kept": [marks[0].sentence, "Let the hand move as one."],
        "kept_of_her": [
            render(marks[0].code, marks[0].params, clip.enrolment.pupil.first_name),
            "Let the hand move as one.",
        ],
        "dropped": [mark.sentence for mark in marks[2:]] + [marks[1].sentence],
        "comment": "Here you waited for the beating to stop.",
    }


def kill_web(studio: LiveStudio) -> None:
    """As when the machine's memory runs out: no chance to end what it is doing."""
    for process in studio.supervisor.children():
        if any("gunicorn" in part for part in process.cmdline()):
            for each in (*process.children(recursive=True), process):
                each.kill()
            return
    raise AssertionError("no web server is running")


def expect_video_plays_and_seeks(page: Page, clip: Clip) -> None:
    def video(expression: str):
        return page.evaluate(
            f"(() => {{ const v = document.querySelector('video'); {expression} }})()"
        )

    until(lambda: video("return v.readyState >= 2"), 20, "the video can be shown")
    assert video("return v.videoWidth") > 0
    assert abs(video("return v.duration") - clip.duration_s) < 0.2
    video("v.currentTime = 40;")
    until(lambda: video("return !v.seeking && Math.abs(v.currentTime - 40) < 0.1"), 20, "at 40 s")
    video("v.muted = true; v.play();")
    until(lambda: video("return v.currentTime > 40.5"), 20, "it plays on from there")
    video("v.pause();")


def return_it(page: Page, clip: Clip) -> None:
    page.locator("#summary [name=summary]").fill("The lower octaves are settled.")
    page.locator("#summary").get_by_role("button", name="Preview and return").click()
    page.get_by_role("button", name=re.compile("^Return to")).click()
    until(lambda: Return.objects.filter(review__clip=clip).exists(), 10, "it is returned")


# -- the pupil reads -------------------------------------------------------------------------


def expect_exactly_what_was_returned(page: Page, clip: Clip, said: dict) -> None:
    page.goto(f"/clips/{clip.pk}/")
    text = page.inner_text("main")
    assert "The lower octaves are settled." in text
    for shown in [*said["kept"], said["comment"]]:
        assert shown in text
    for hidden in said["dropped"]:
        assert hidden not in text
    rows = page.locator(".moments > li")
    assert rows.count() == len(said["kept"]) + 1
    starts = rows.evaluate_all("rows => rows.map((row) => Number(row.dataset.start))")
    assert starts == sorted(starts)
    page.locator("[data-play-from]").first.click()
    expected = max(0.0, starts[0] - 2.0)
    until(
        lambda: 0 <= page.evaluate("document.querySelector('video').currentTime") - expected < 3.0,
        20,
        "it plays from two seconds before",
    )


def expect_drill_in_queue(page: Page) -> None:
    page.goto("/queue/")
    queue = page.locator("section", has_text="To practise").first.inner_text()
    assert "B-flat major in octaves" in queue
    assert "Three still octaves" in queue
