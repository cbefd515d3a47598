"""The recorder's pure modules, run where they run: in the browser."""

import base64
import subprocess
from pathlib import Path

import numpy as np
import pytest

from sample_media.bowing import SR, bowed
from studio.notation.tones import scale_hz
from studio.theory import VIOLA, VIOLIN, Pitch
from tests.media.recordings import ffmpeg

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(scope="module")
def page(chromium, live_server):
    made = chromium.new_page()
    made.goto(f"{live_server.url}/static/pages/sizes.js")
    yield made
    made.close()


@pytest.fixture(scope="module")
def call(page):
    """Call a function of a module with JSON arguments. One window for all: the modules are pure."""
    return lambda module, function, *arguments: page.evaluate(
        "([m, f, a]) => import(`/static/recording/${m}.js`).then((all) => all[f](...a))",
        [module, function, list(arguments)],
    )


# -- "we hear you" ---------------------------------------------------------------------------

WINDOW = 32_768


def spectrum(y: np.ndarray) -> list[float]:
    """Levels in dB as an AnalyserNode gives them.

    Source: W3C, Web Audio API, "FFT Windowing and Smoothing over Time": Blackman's window of
    alpha 0.16, the transform divided by its length, 20 log10 of its magnitude.
    """
    n = np.arange(WINDOW)
    window = 0.42 - 0.5 * np.cos(2 * np.pi * n / WINDOW) + 0.08 * np.cos(4 * np.pi * n / WINDOW)
    magnitude = np.abs(np.fft.rfft(y[:WINDOW] * window)) / WINDOW
    return [round(float(level), 2) for level in 20 * np.log10(magnitude + 1e-9)][:9000]


def open_strings(instrument) -> list[dict]:
    names = ("pure", "equal")
    sizes = ("pythagorean", "equal")
    return [
        {name: scale_hz(pitch, size) for name, size in zip(names, sizes, strict=True)}
        for pitch in instrument.open_strings
    ]


def heard(call, instrument, *hz: float) -> dict[int, float]:
    rng = np.random.default_rng(3)
    y = sum(0.1 * bowed(each, 0.8, rng) for each in hz) + 1e-4 * rng.standard_normal(
        round(0.8 * SR)
    )
    found = call("open-strings", "sounding", spectrum(y), SR / WINDOW, open_strings(instrument))
    return {one["at"]: one["hz"] for one in found}


def off(cents: float, name: str) -> float:
    return Pitch.parse(name).frequency() * 2 ** (cents / 1200)


@pytest.mark.parametrize(("at", "name"), enumerate(["G3", "D4", "A4", "E5"]))
def test_each_open_string_is_heard_alone_and_to_two_cents(call, at, name):
    for cents in (-25.0, 0.0, 12.0):
        found = heard(call, VIOLIN, off(cents, name))
        assert list(found) == [at]
        assert 1200 * np.log2(found[at] / off(cents, name)) == pytest.approx(0, abs=2)


def test_two_open_strings_at_once_are_both_heard_and_stopped_notes_are_not_taken_for_them(call):
    assert set(heard(call, VIOLIN, off(0, "D4"), off(2, "A4"))) == {1, 2}
    assert heard(call, VIOLIN, off(0, "A3")) == {}, "its third partial is E5, its second A4"
    assert heard(call, VIOLA, off(0, "D3")) == {}
    assert heard(call, VIOLIN, off(0, "C5")) == {}


def test_a_string_is_in_tune_in_pure_fifths_and_in_equal_temperament(call):
    g = open_strings(VIOLIN)[0]  # 195.556 and 195.998 Hz: domain arithmetic from A = 440 Hz
    assert call("open-strings", "off", g, 195.556, 440) == pytest.approx(0, abs=0.01)
    assert call("open-strings", "off", g, 195.998, 440) == pytest.approx(0, abs=0.01)
    assert call("open-strings", "off", g, 195.556 * 2 ** (-9 / 1200), 440) == pytest.approx(
        -9, abs=0.01
    )
    at_442 = call("open-strings", "off", g, 195.998 * 442 / 440, 440, 442)
    assert at_442 == pytest.approx(0, abs=0.01)
    assert call("take-words", "stringSaid", -9.2, 6) == "heard, 9 cents too low"
    assert call("take-words", "stringSaid", 4.0, 6) == "heard, in tune"


# -- loudness, and what is done to the sound -------------------------------------------------


def test_loudness_is_judged_by_the_loudest_of_the_last_seconds(call):
    judged = [call("levels", "judged", level) for level in (0.001, 0.02, 0.3, 0.99)]
    assert judged == ["silent", "soft", "good", "clipped"]
    levels: list[dict] = []
    for ms in range(0, 9000, 1000):
        levels = call("levels", "noted", levels, {"ms": ms, "level": 0.9 if ms == 0 else 0.02})
    assert call("levels", "loudestOf", levels) == 0.02, "what was loud is long past"


def test_what_a_track_reports_is_said_and_not_what_it_was_asked_for(call):
    clean = {"echoCancellation": False, "noiseSuppression": False, "autoGainControl": False}
    assert call("devices", "doneTo", clean) == []
    assert call("devices", "saysAll", clean)
    assert not call("devices", "saysAll", {"echoCancellation": False})
    some = clean | {"echoCancellation": "remote-only", "autoGainControl": True}
    done = call("devices", "doneTo", some)
    assert done == ["echo cancellation", "automatic loudness"]
    said = call("take-words", "changedSaid", done, {"saysAll": True, "isNarrow": False})
    assert said.startswith("This browser changes the sound: echo cancellation and automatic")
    assert call("devices", "isNarrow", {"sampleRate": 16_000})


def test_the_picture_is_asked_for_as_it_is_held_and_the_sound_is_never_touched(call):
    chosen = {"kind": "video", "camera": "", "microphone": "m", "size": "small", "way": "upright"}
    still, turns = (call("devices", "asked", chosen, turns) for turns in (False, True))
    assert [still["video"][side]["ideal"] for side in ("width", "height")] == [360, 640]
    assert [turns["video"][side]["ideal"] for side in ("width", "height")] == [640, 360]
    assert still["audio"] == {
        "echoCancellation": False,
        "noiseSuppression": False,
        "autoGainControl": False,
        "deviceId": {"exact": "m"},
    }
    assert call("devices", "asked", chosen | {"kind": "voice"}, False)["video"] is False


# -- cutting the ends ------------------------------------------------------------------------

PICTURE = "testsrc=s=160x120:r=10:d=6"
SOUND = "sine=f=440:r=48000:d=6"
LIVE_WEBM = ("-c:v", "libvpx", "-g", "10", "-c:a", "libopus", "-cluster_time_limit", "500")
FRAGMENTS = "frag_keyframe+empty_moov+default_base_moof"
LIVE_MP4 = ("-c:v", "libx264", "-g", "10", "-bf", "0", "-c:a", "aac", "-movflags", FRAGMENTS)
KINDS = {"webm": (*LIVE_WEBM, "-live", "1", "-f", "webm"), "mp4": LIVE_MP4}
CUT = """async ([bytes, type, from, to]) => {
  const { placesOf, kept, cut } = await import("/static/recording/cutting.js");
  const raw = Uint8Array.from(atob(bytes), (one) => one.charCodeAt(0));
  const file = new File([raw], "take", { type });
  const places = await placesOf(file);
  const stays = kept(places, from, to, 6);
  const whole = kept(places, 0, 6, 6);
  const made = new Uint8Array(await (await cut(file, places, stays)).arrayBuffer());
  return [btoa(made.reduce((text, one) => text + String.fromCharCode(one), "")), stays, whole];
}"""


def packets(path: Path, which: str) -> list[str]:
    """What each packet of a stream holds, by its hash: read by ffmpeg, which is not ours."""
    asked = ["-select_streams", which, "-show_packets", "-show_data_hash", "md5"]
    shown = ["-show_entries", "packet=data_hash", "-of", "csv=p=0"]
    command = ["ffprobe", "-v", "error", *asked, *shown, str(path)]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()


@pytest.mark.parametrize("kind", KINDS)
def test_cutting_leaves_out_whole_packets_and_changes_none(page, tmp_path, kind):
    whole, part = tmp_path / f"whole.{kind}", tmp_path / f"part.{kind}"
    sources = ("-f", "lavfi", "-i", PICTURE, "-f", "lavfi", "-i", SOUND)
    ffmpeg(*sources, "-pix_fmt", "yuv420p", *KINDS[kind], str(whole))
    bytes_ = base64.b64encode(whole.read_bytes()).decode()
    made, stays, nothing = page.evaluate(CUT, [bytes_, f"video/{kind}", 2.5, 4.2])
    part.write_bytes(base64.b64decode(made))
    assert nothing is None, "all of it stays: there is nothing to cut"
    assert 1.4 <= stays["fromS"] <= 2.5
    assert 4.2 <= stays["toS"] <= 5.3
    for which in ("v", "a"):
        before, after = packets(whole, which), packets(part, which)
        place = before.index(after[0])
        assert place > 0
        assert before[place : place + len(after)] == after
        assert len(after) < len(before) - place
