"""A moment of a returned clip by ear, in a real browser: what the player would hear is measured."""

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from studio.accounts.models import Enrolment
from studio.drills.services import add_drill
from studio.notation import Request, generate
from studio.review.marks.decisions import decide_all
from studio.review.marks.judging import judged
from studio.review.returning.services import return_clip
from studio.review.waiting.submissions import begin_review
from studio.theory import in_cents
from tests.browser.at_desk import LENGTH_S, MARKED_S, PHONE, PLAYED, RATE, comes_true, keep
from tests.cast import as_person, make_clip, make_drill, set_for
from tests.review.heard_clip import HOLD_S, listen_again, measurement, review_of
from tests.samples import SAMPLE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LEVELS_DB = (-20.0, -26.0)
SR = 44_100
# What the page gives to the loudspeakers: which recordings from where, and each oscillator.
EARS = """
  window.played = [];
  window.tones = [];
  const play = HTMLMediaElement.prototype.play;
  HTMLMediaElement.prototype.play = function () {
    window.played.push({ src: this.currentSrc || this.src, from: this.currentTime,
      rate: this.playbackRate, media: this });
    return play.call(this);
  };
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (when) {
    if (!(this.context instanceof OfflineAudioContext)) {
      window.tones.push({ hz: this.frequency.value, when, node: this });
    }
    return start.call(this, when);
  };
"""
# The sound of a moment in tune, made by the page's own modules into an array.
RENDERED = """
  async ([moment, rate]) => {
    const [{ inTune }, { schedule }] = await Promise.all(
      [import("/static/pages/by-ear.js"), import("/static/tones/sounding.js")]);
    const notes = inTune(moment, rate);
    const context = new OfflineAudioContext(1, Math.ceil(notes[0].seconds * 44100), 44100);
    schedule(context, context.destination, notes);
    const made = await context.startRendering();
    return [...made.getChannelData(0)];
  }
"""


@pytest.fixture
def clips(cast, settings, tmp_path):
    """Two returned clips of one drill, each with a kept mark in both of its runs."""
    settings.MEDIA_ROOT = tmp_path / "media"
    assignment = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    made = []
    for title in ("First", "Second"):
        clip = make_clip(
            cast.enrolment, title, has_audio=True, duration_s=LENGTH_S, frame_rate=RATE
        )
        heard = measurement(PLAYED, LENGTH_S)
        for event in heard["events"]:
            for voice, level in zip(event["voices"], LEVELS_DB, strict=False):
                voice["level_db"] = level
        listen_again(clip, heard)
        keep(clip, "playable", "video/mp4", ".mp4", SAMPLE.read_bytes())
        begin_review(clip, assignment)
        review = review_of(clip)
        decide_all(review, judged(review), "", "kept", cast.teacher)
        return_clip(review, cast.teacher, "")
        made.append(clip)
    return made


@pytest.fixture
def octaves(cast):
    """A drill with a page of music, set for the pupil."""
    asked = Request(key="C major", interval="octaves", direction="up", manner="together")
    score = generate(asked).to_dict()
    drill = add_drill(cast.studio, cast.teacher, title="C major", words="Slowly", score=score)
    return set_for(cast.enrolment, drill)


@pytest.fixture
def page(cast, clips, chromium, live_server):
    context = chromium.new_context(viewport=PHONE, base_url=live_server.url, has_touch=True)
    for name, morsel in as_person(cast.pupil).cookies.items():
        context.add_cookies([{"name": name, "value": morsel.value, "url": live_server.url}])
    context.add_init_script(EARS)
    opened, complaints = context.new_page(), []
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.goto(f"/clips/{clips[1].pk}/")
    yield opened
    context.close()
    assert complaints == []


def tones(y: list[float]) -> list[float]:
    """Frequencies in Hz of the strongest partials about the two notes."""
    held = np.asarray(y)[int(0.3 * SR) : int(1.3 * SR)]
    window = np.hanning(len(held))
    size = 1 << 18
    spectrum = np.abs(np.fft.rfft(held * window, size))
    hz = np.fft.rfftfreq(size, 1 / SR)
    found = []
    for low, high in ((200.0, 300.0), (400.0, 560.0)):
        band = np.flatnonzero((hz > low) & (hz < high))
        top = band[np.argmax(spectrum[band])]
        found.append(float(hz[top]))
    return found


def pressed(page: Page, moment: int, what: str):
    button = page.get_by_role("group", name=f"Moment {moment} by ear").get_by_role(
        "button", name=what
    )
    button.click()
    return button


def quiet(page: Page) -> None:
    comes_true(page, "document.querySelector('#player').paused")


def test_a_moment_is_heard_as_played_in_tune_in_turn_and_as_it_was_then(page, clips):
    # as played: from just before the moment to just after it, and no further
    played = pressed(page, 1, "What I played")
    expect(played).to_have_attribute("aria-pressed", "true")
    expect(played).not_to_have_attribute("aria-pressed", "true")
    [heard] = page.evaluate("window.played.map(({ from, rate }) => [from, rate])")
    assert heard == [pytest.approx(MARKED_S[0] - 0.15, abs=0.05), 1]
    quiet(page)
    stopped = page.evaluate("document.querySelector('#player').currentTime")
    assert MARKED_S[0] + HOLD_S <= stopped <= MARKED_S[0] + HOLD_S + 1.0

    # in tune: an octave of 1200 cents on the note that stayed, as loud as the recording
    moment = page.evaluate("JSON.parse(document.querySelector('[data-by-ear]').dataset.byEar)")
    hz = tones(page.evaluate(RENDERED, [moment, 1]))
    assert in_cents(hz[1] / hz[0]) == pytest.approx(1200.0, abs=1.0)
    assert in_cents(hz[0] / moment["hz"][0]) == pytest.approx(0.0, abs=1.0)
    samples = np.asarray(page.evaluate(RENDERED, [moment | {"levels": [-20, -80]}, 0.5]))
    assert len(samples) == pytest.approx(2 * 1.5 * SR, abs=2), "half speed: twice as long"
    rms = 20 * np.log10(np.sqrt(np.mean(samples[SR // 2 : SR * 2] ** 2)))
    assert rms == pytest.approx(-20.0, abs=0.2)
    pressed(page, 1, "In tune")
    comes_true(page, "window.tones.length === 2")
    assert page.evaluate("window.tones.map(({ hz }) => hz)") == pytest.approx(
        moment["hz"], abs=0.01
    )
    assert page.evaluate("document.querySelector('#player').paused")

    # both in turn, by keyboard, while the picture is hidden; the second press takes its place
    page.evaluate("document.querySelector('clip-picture').style.visibility = 'hidden'")
    page.get_by_label("Half speed").check()
    both = page.get_by_role("group", name="Moment 1 by ear").get_by_role(
        "button", name="Both in turn"
    )
    both.focus()
    page.keyboard.press("Enter")
    comes_true(page, "window.tones.length === 4")
    rates = page.evaluate("window.played.map(({ rate }) => rate)")
    assert rates == [1, 0.5]
    page.keyboard.press("Escape")
    expect(both).not_to_have_attribute("aria-pressed", "true")

    # then and now: the earlier clip's own recording, and this one's
    pressed(page, 2, "Then")
    comes_true(page, "window.played.length === 3")
    assert str(clips[0].pk) in page.evaluate("window.played[2].src")
    comes_true(page, f"window.played[2].media.currentTime > {MARKED_S[1] - 0.2}")
    assert page.evaluate("window.played[2].media.playbackRate") == 0.5
    pressed(page, 2, "Now")
    comes_true(page, "window.played.length === 4 && window.played[2].media.paused")
    assert str(clips[1].pk) in page.evaluate("window.played[3].src")

    # the clip's own controls take the sound over
    pressed(page, 2, "In tune")
    comes_true(page, "window.tones.length === 6")
    page.get_by_role("button", name="Play", exact=True).click()
    expect(page.locator("[data-hear][aria-pressed]")).to_have_count(0)


def test_a_child_s_page_is_read_and_heard_under_one_thumb(page, cast, clips, octaves):
    Enrolment.objects.filter(pk=cast.enrolment.pk).update(reads_simply=True)
    page.goto(f"/clips/{clips[1].pk}/")
    expect(page.get_by_role("heading", name="Try this next")).to_be_visible()
    expect(page.get_by_text("The two notes are too far apart.").first).to_be_visible()
    expect(page.get_by_text("cents wide").first).to_be_hidden()
    pressed(page, 1, "Hear it in tune")
    comes_true(page, "window.tones.length === 2")
    for button in page.locator("[data-hear]:visible").all():
        box = button.bounding_box()
        assert min(box["width"], box["height"]) >= 44
        assert box["x"] + box["width"] <= PHONE["width"]
    page.get_by_text("More of moment 1").click()
    expect(page.get_by_text("27 ± 1 cents wide")).to_be_visible()

    # a note of the drill sounds when it is tapped, once a tap
    page.goto(f"/assignments/{octaves.pk}/")
    page.locator(".for-phone .written").nth(1).click()
    comes_true(page, "window.tones.length === 2")
    low, high = page.evaluate("window.tones.map(({ hz }) => hz)")
    assert in_cents(high / low) == pytest.approx(1200.0, abs=0.1)
    page.locator(".for-phone .written").nth(2).click()
    comes_true(page, "window.tones.length === 4")
