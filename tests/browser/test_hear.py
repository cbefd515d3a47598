"""Hearing the target in a real browser: its sound by our own engine, and its controls."""

import base64
import json
import time
from collections.abc import Callable

import numpy as np
import pytest
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.urls import path
from playwright.sync_api import Browser, Page, expect

from studio.intonation import Options, listen
from studio.notation import Request, Score, Written, generate, tones
from studio.theory import Pitch, beat_hz, cents_between, interval_between
from studio.urls import urlpatterns as studio_urls

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1440, "height": 900}
TOUCH_PX = 44
SR = 44_100
A4_HZ = 442.0
PAGE = """
  {% extends "base.html" %}
  {% block content %}{% include "drills/hear.html" %}{% endblock %}
"""


def mixed() -> Score:
    """A double stop, a chord and a single note."""
    names = ("A3 F#4", "G3 E4 C5", "D4")
    pitches = [tuple(map(Pitch.parse, text.split())) for text in names]
    items = [
        Written(id=f"n{bar}", pitches=row, bar=bar, manner="together" if len(row) > 1 else "alone")
        for bar, row in enumerate(pitches, start=1)
    ]
    return Score(title="Made up", instrument="violin", key="G major", written=tuple(items))


DRILLS: dict[str, Callable[[], Score]] = {
    "sixths": lambda: generate(Request(interval="sixths", key="G major", start=1)),
    "mixed": mixed,
}


@login_not_required
def hear(request: HttpRequest, name: str) -> HttpResponse:
    """A page with nothing but the part that is tested."""
    context = {"hearing": tones.hearing(DRILLS[name](), a4_hz=A4_HZ)}
    return HttpResponse(engines["django"].from_string(PAGE).render(context, request))


urlpatterns = [*studio_urls, path("hear/<slug:name>/", hear)]

# Counts what is sent to the loudspeakers: the loudest sample of the last moments.
TAP = """
  const connect = AudioNode.prototype.connect;
  window.taps = [];
  AudioNode.prototype.connect = function (to, ...rest) {
    if (to === this.context.destination && this.context instanceof AudioContext) {
      const tap = new AnalyserNode(this.context, { fftSize: 8192 });
      connect.call(this, tap);
      window.taps.push(tap);
    }
    return connect.call(this, to, ...rest);
  };
  window.heard = () => {
    const seen = new Float32Array(8192);
    const levels = window.taps.map((tap) => {
      tap.getFloatTimeDomainData(seen);
      return Math.max(...seen.map(Math.abs));
    });
    return Math.max(0, ...levels);
  };
"""


@pytest.fixture
def opened(chromium: Browser, live_server, settings):
    """The part on a page of its own; every complaint of the browser fails the test at the end."""
    settings.ROOT_URLCONF = __name__
    contexts, complaints = [], []

    def open_page(name: str = "sixths", viewport: dict = PHONE, **more) -> Page:
        context = chromium.new_context(viewport=viewport, base_url=live_server.url, **more)
        contexts.append(context)
        context.add_init_script(TAP)
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda said: said.type == "error" and complaints.append(said.text))
        page.goto(f"/hear/{name}/")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []


def until(page: Page, true: Callable[[float], bool], what: str, seconds: float = 5.0) -> None:
    """Wait for a level at the loudspeakers."""
    end = time.monotonic() + seconds
    while not true(level := page.evaluate("window.heard()")):
        assert time.monotonic() < end, f"{what}; the level stayed {level}"
        page.wait_for_timeout(50)


def sounds(page: Page) -> None:
    until(page, lambda level: level > 0.01, "it sounds")


def silent(page: Page) -> None:
    until(page, lambda level: level < 0.0005, "it is silent")


def part(page: Page, name: str):
    return page.locator(f'hear-target [data-part="{name}"]')


def button(page: Page, name: str):
    return page.locator("hear-target").get_by_role("button", name=name, exact=True)


# -- the sound -----------------------------------------------------------------------------------

RENDER = """
  async ([hz, seconds, sr]) => {
    const { schedule } = await import("/static/tones/sounding.js");
    const { notes, plan } = await import("/static/tones/tones.js");
    const context = new OfflineAudioContext(1, Math.round(seconds * sr), sr);
    schedule(context, context.destination, notes(plan("both", hz.length, seconds), hz));
    const samples = (await context.startRendering()).getChannelData(0);
    const bytes = new Uint8Array(samples.buffer);
    let text = "";
    for (let at = 0; at < bytes.length; at += 8192) {
      text += String.fromCharCode(...bytes.subarray(at, at + 8192));
    }
    return btoa(text);
  }
"""


@pytest.fixture(scope="module")
def render(chromium, django_db_blocker):
    """The samples that the page's own modules make in this browser."""

    def render_it(page: Page, hz: tuple[float, ...], seconds: float = 2.0) -> np.ndarray:
        data = base64.b64decode(page.evaluate(RENDER, [list(hz), seconds, SR]))
        return np.frombuffer(data, dtype=np.float32).astype(float)

    return render_it


JUST = ("A3 C4", "A3 C#4", "A3 D4", "A3 E4", "A3 F4", "A3 F#4", "A3 C5", "A3 C#5", "E5 C#6")


def test_what_the_browser_plays_is_heard_by_our_engine_within_half_a_cent(opened, render):
    page = opened()
    for names in JUST:
        for tuning in ("just", "equal") if names == "A3 F#4" else ("just",):
            meant = tones.held_hz([Pitch.parse(name) for name in names.split()], tuning, A4_HZ)
            (event,) = listen(render(page, meant), SR, Options()).events
            found = [voice.f0_hz for voice in event.voices]
            errors = [cents_between(*pair) for pair in zip(meant, found, strict=True)]
            assert max(map(abs, errors)) < 0.5, (names, tuning, errors)


def test_a_mistuned_octave_is_heard_as_wide_as_it_is(opened, render):
    page = opened()
    meant = tones.mistuned((220.0, 440.0), 15.0)
    (event,) = listen(render(page, meant), SR, Options()).events
    (interval,) = event.intervals
    assert interval.size_cents == pytest.approx(1215.0, abs=0.5)


@pytest.mark.parametrize("hz", [(195.556,), (293.333, 488.889), (65.4, 2637.0)])
def test_the_browser_and_the_server_make_the_same_sound(opened, render, hz):
    theirs, ours = render(opened(), hz, 1.0), tones.render_hz(hz, 1.0, SR)
    assert len(theirs) == len(ours)
    assert np.abs(theirs - ours).max() < 0.01 * np.abs(ours).max()
    assert np.abs(theirs[:200]).max() < 0.01 * np.abs(theirs).max()


# -- the controls --------------------------------------------------------------------------------


def test_nothing_sounds_before_a_press_and_a_press_is_heard(opened):
    page = opened()
    expect(part(page, "notes")).to_have_text("G3 and E4")
    page.wait_for_timeout(300)
    assert page.evaluate("window.taps.length") == 0
    button(page, "Listen").click()
    expect(part(page, "said")).to_have_text("Sounding: G3 and E4.")
    sounds(page)
    assert page.evaluate("window.heard()") < 0.3
    button(page, "Silence").click()
    silent(page)
    expect(part(page, "said")).to_have_text("")


def test_listen_then_move_on_goes_through_the_drill_at_ones_own_pace(opened):
    page = opened()
    drill = DRILLS["sixths"]()
    count = len(tones.hearing(drill)["steps"])
    for place in range(1, 4):
        expect(part(page, "where")).to_have_text(f"Bar {place} · {place} of {count}")
        button(page, "Next").click()
    sounds(page)
    button(page, "Back").click()
    expect(part(page, "where")).to_have_text(f"Bar 3 · 3 of {count}")
    page.select_option("#hear-place", index=count - 1)
    silent(page)
    button(page, "Next").click()
    expect(part(page, "where")).to_contain_text(f"{count} of {count}")


def test_the_keyboard_does_it_too_and_typing_is_left_alone(opened):
    page = opened()
    button(page, "Listen").focus()
    page.keyboard.press("n")
    expect(part(page, "where")).to_contain_text("Bar 2")
    page.keyboard.press("b")
    page.keyboard.press("a")
    expect(part(page, "where")).to_contain_text("Bar 1")
    sounds(page)
    page.keyboard.press("Escape")
    silent(page)
    page.locator("#hear-a4").focus()
    page.keyboard.press("n")
    expect(part(page, "where")).to_contain_text("Bar 1")


def test_a_tone_ends_by_itself_and_says_so(opened):
    page = opened()
    page.select_option("#hear-seconds", "2")
    button(page, "Listen").click()
    sounds(page)
    expect(part(page, "panel")).to_have_attribute("data-sounding", "step")
    expect(part(page, "panel")).to_have_attribute("data-sounding", "")
    silent(page)


def test_a_drone_stays_until_it_is_stopped_and_only_one_thing_sounds(opened):
    page = opened()
    labels = page.locator("#hear-drone option").all_inner_texts()
    assert labels[:4] == ["G3", "D4", "A4", "E5"]
    assert "F♯4" in labels[4:]
    page.select_option("#hear-drone", label="D4")
    button(page, "Start the drone").click()
    expect(part(page, "said")).to_have_text("Drone: D4.")
    sounds(page)
    page.select_option("#hear-drone", label="A4")
    expect(part(page, "said")).to_have_text("Drone: A4.")
    button(page, "Listen").click()
    expect(button(page, "Start the drone")).to_be_visible()
    button(page, "Start the drone").click()
    button(page, "Stop the drone").click()
    silent(page)


@pytest.mark.parametrize("event", ["visibilitychange", "pagehide"])
def test_it_falls_silent_when_the_page_is_left(opened, event):
    page = opened()
    button(page, "Start the drone").click()
    sounds(page)
    page.evaluate(
        """(event) => {
          Object.defineProperty(document, "hidden", { get: () => true, configurable: true });
          const target = event === "pagehide" ? window : document;
          target.dispatchEvent(new Event(event));
        }""",
        event,
    )
    silent(page)
    expect(button(page, "Start the drone")).to_be_visible()


def slide(page: Page, cents: int) -> None:
    page.locator("#hear-cents").fill(str(cents))


def test_a_mistuning_shows_its_beats_as_the_theory_has_them(opened):
    page = opened()
    page.select_option("#hear-place", index=1)
    expect(part(page, "size")).to_have_text("major sixth, 884.4 cents in just tuning, 5 to 3")
    expect(part(page, "beats")).to_have_text("No beats: the two notes stand still together.")
    pair = [Pitch.parse(name) for name in ("A3", "F#4")]
    low, high = tones.held_hz(pair, "just", A4_HZ)
    beats = beat_hz(*tones.mistuned((low, high), 10.0), interval_between(*pair))
    slide(page, 10)
    expect(part(page, "mistuning")).to_have_text("10 cents too wide")
    expect(part(page, "beats")).to_have_text(f"{beats:.1f} beats a second.")
    button(page, "Back in tune").click()
    expect(part(page, "beats")).to_have_text("No beats: the two notes stand still together.")
    page.select_option("#hear-tuning", "equal")
    expect(part(page, "beats")).to_contain_text("beats a second")


FREQUENCIES = """() => window.oscillators.slice(-2).map((one) => one.frequency.value)"""
KEEP = """() => {
  window.oscillators = [];
  const make = BaseAudioContext.prototype.createOscillator;
  BaseAudioContext.prototype.createOscillator = function () {
    const made = make.call(this);
    window.oscillators.push(made);
    return made;
  };
}"""


def test_what_is_moved_while_it_sounds_is_heard_at_once(opened):
    page = opened()
    page.evaluate(KEEP)
    page.select_option("#hear-seconds", "Infinity")
    page.select_option("#hear-place", index=1)
    button(page, "Listen").click()
    sounds(page)
    low, high = page.evaluate(FREQUENCIES)
    assert high / low == pytest.approx(5 / 3, rel=1e-6)
    slide(page, -20)
    page.locator("#hear-a4").fill("415")
    page.wait_for_timeout(600)
    low, high = page.evaluate(FREQUENCIES)
    assert cents_between(low, high) == pytest.approx(884.359 - 20, abs=0.05)
    assert low == pytest.approx(207.5, rel=1e-4)
    page.locator("#hear-a4").fill("4")  # half typed: the drill's own A4 counts
    page.wait_for_timeout(600)
    assert page.evaluate(FREQUENCIES)[0] == pytest.approx(A4_HZ / 2, rel=1e-4)


def test_a_chord_and_a_single_note_offer_what_they_have(opened):
    page = opened("mixed")
    expect(page.get_by_label("lower note")).to_be_enabled()
    button(page, "Next").click()
    expect(part(page, "notes")).to_have_text("G3, E4 and C5")
    expect(page.locator("#hear-cents")).to_be_disabled()
    button(page, "Next").click()
    expect(part(page, "notes")).to_have_text("D4")
    expect(page.get_by_label("lower note")).to_be_disabled()
    sounds(page)


def test_a_note_chosen_on_the_page_leads_to_its_double_stop_silently(opened):
    page = opened()
    page.evaluate(
        """() => {
          window.steps = [];
          document.addEventListener("hear-step", ({ detail }) => window.steps.push(detail.ref));
          const detail = { ref: "n4" };
          document.body.dispatchEvent(new CustomEvent("note-chosen", { bubbles: true, detail }));
        }"""
    )
    expect(part(page, "where")).to_contain_text("Bar 2")
    assert page.evaluate("window.taps.length") == 0
    assert page.evaluate("window.steps") == ["n6"]


def test_either_note_alone_and_one_by_one(opened):
    page = opened()
    page.get_by_label("upper note").check()
    button(page, "Listen").click()
    expect(part(page, "said")).to_have_text("Sounding: E4 alone.")
    page.get_by_label("one by one").check()
    expect(part(page, "said")).to_have_text("Sounding: G3, E4, then together.")
    sounds(page)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_it_fits_and_every_control_has_a_name_and_room_for_a_finger(opened, viewport, scheme):
    page = opened("sixths", viewport, color_scheme=scheme)
    expect(button(page, "Listen")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    for control in page.locator("hear-target :is(button, select, input)").all():
        name = control.evaluate("(one) => one.labels?.[0]?.textContent ?? one.textContent")
        assert name.strip()
        target = control.evaluate(
            """(one) => (one.type === "radio" ? one.closest("label") : one)
              .getBoundingClientRect().height"""
        )
        assert target >= TOUCH_PX - 0.5, name


def test_without_scripts_it_says_why_there_is_nothing_to_hear(opened):
    page = opened("sixths", java_script_enabled=False)
    expect(page.get_by_text("made by a script in this page")).to_be_visible()
    expect(button(page, "Listen")).to_be_hidden()


def test_the_page_is_given_no_more_than_it_needs(opened):
    page = opened()
    text = page.locator('hear-target script[type="application/json"]').text_content()
    assert len(text) < 12_000
    assert json.loads(text)["a4_hz"] == A4_HZ
