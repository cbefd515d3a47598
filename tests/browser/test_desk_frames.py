"""Stepping from frame to frame: what is shown, what is said of it, and where a comment lands.

Every frame carries its own number as eight bars, white for 1, so that a canvas can read what the
browser really shows.
"""

import numpy as np
import pytest
from playwright.sync_api import expect

from studio.clips.models import Clip
from studio.media import frame_times, make_playable, probe
from studio.review.models import Comment
from tests.browser.at_desk import comes_true, keep, opened  # noqa: F401
from tests.cast import make_clip
from tests.media.recordings import AAC, H264, click_sound, ffmpeg
from tests.review.heard_clip import listen_again, measurement

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

BITS, BAR, HEIGHT, COUNT = 8, 16, 64, 120
# Frames 0, 3, 6 and so on of the first 60, then all: what a phone does in the dark.
UNEVEN = ("-vf", "select='if(lt(n,60),not(mod(n,3)),1)'", "-fps_mode", "vfr")
READ = """() => {
  const video = document.querySelector("video");
  const canvas = new OffscreenCanvas(128, 64);
  const context = canvas.getContext("2d");
  context.drawImage(video, 0, 0, 128, 64);
  const bits = [...Array(8).keys()].map((n) => context.getImageData(16 * n + 8, 32, 1, 1).data[0]);
  return bits.reduce((number, value, n) => number + (value > 128 ? 2 ** n : 0), 0);
}"""


def numbered(path, rate: str, *more: str):
    frames = np.zeros((COUNT, HEIGHT, BITS, BAR), np.uint8)
    for bit in range(BITS):
        frames[:, :, bit] = (235 * ((np.arange(COUNT) >> bit) & 1) + 10)[:, None, None]
    raw = ("-f", "rawvideo", "-pix_fmt", "gray", "-s", f"{BITS * BAR}x{HEIGHT}", "-r", rate)
    sound = click_sound(path.with_suffix(".wav"))
    coding = (*more, *H264, *AAC, "-shortest")
    ffmpeg(*raw, "-i", "pipe:0", "-i", str(sound), *coding, str(path), stdin=frames.tobytes())
    return path


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"


def clip_of(cast, source, copy) -> tuple[Clip, np.ndarray]:
    info = probe(source)
    made = make_playable(source, copy, info)
    clip = make_clip(
        cast.enrolment,
        has_audio=True,
        has_video=True,
        duration_s=made.duration_s,
        frame_rate=made.frame_rate,
    )
    listen_again(clip, measurement((("Bb3", 1.5, (40.0,)),), made.duration_s))
    data = copy.read_bytes()
    keep(clip, "playable", "video/mp4", ".mp4", data)
    return clip, frame_times(lambda first, length: data[first : first + length])


@pytest.mark.parametrize(
    ("rate", "more", "numbers"),
    [
        ("30000/1001", (), list(range(COUNT))),
        ("30", UNEVEN, [*range(0, 60, 3), *range(60, COUNT)]),
    ],
    ids=["29.97", "uneven"],
)
def test_steps_show_each_frame_and_a_comment_lands_in_the_one_shown(
    cast,
    opened,
    tmp_path,
    rate,
    more,
    numbers,
):
    clip, times = clip_of(cast, numbered(tmp_path / "in.mp4", rate, *more), tmp_path / "out.mp4")
    assert len(times) == len(numbers)
    page = opened(cast.teacher, clip)
    still = "!document.querySelector('video').seeking"
    at = 15
    page.evaluate(f"document.querySelector('clip-player').seek({times[at] + 0.002})")
    comes_true(page, still)
    for key, by in ((".", 1),) * 10 + ((",", -1),) * 3:
        page.keyboard.press(key)
        at += by
        comes_true(page, f"{still} && ({READ})() === {numbers[at]}")
    page.keyboard.press("c")
    expect(page.locator("#composer textarea")).to_be_focused()
    page.keyboard.type("Here")
    page.keyboard.press("Control+Enter")
    expect(page.locator("#said")).to_have_text("Comment added.")
    said_s = Comment.objects.get().start_s
    assert times[at] <= said_s < times[at + 1]
