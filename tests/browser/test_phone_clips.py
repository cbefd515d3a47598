"""Recordings such as phones make go the whole way: in, to the listening, and into a browser twice.

Each is made here: grey, with a dark block at the upper left as one sees it, a white flash at 1 s,
and a tone that begins with the flash.
"""

from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser

from studio import media
from studio.clips import services, tasks
from studio.clips.models import Clip, Rendition
from studio.clips.storage.stores import FolderStore
from tests.cast import as_person
from tests.media.recordings import ffmpeg, turn, white_frames

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

FLASH_S, FLASH_LENGTH_S, LENGTH_S = 1.0, 0.4, 1.6
SOUND = f"sine=f=440:r=48000:d={LENGTH_S}"
H264 = ("-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p")
HEVC = ("-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=none")
DARK = "drawbox=x=0:y=0:w=iw/4:h=ih/4:color=black:t=fill"
GRAIN = "noise=alls=40:allf=t"
# What a phone does in the dark: every other frame is left out for half a second.
UNEVEN = "select='if(between(t,0.4,0.9),not(mod(n,2)),1)'"


def filmed(
    path: Path, *coding: str, size: str = "1920x1080", rate: int = 30, also: str = ""
) -> Path:
    """Write a recording; ``also`` is a filter that comes last."""
    end_s = FLASH_S + FLASH_LENGTH_S - 0.001
    flash = f"drawbox=color=white:t=fill:enable='between(t,{FLASH_S - 0.001},{end_s})'"
    shown = ",".join(
        filter(None, (f"color=gray:s={size}:r={rate}:d={LENGTH_S}", flash, DARK, also))
    )
    silent = f"volume=0:enable='lt(t,{FLASH_S})'"
    both = ("-f", "lavfi", "-i", shown, "-f", "lavfi", "-i", SOUND, "-af", silent)
    ffmpeg(*both, *coding, "-fps_mode", "vfr", "-c:a", "aac", "-b:a", "128k", str(path))
    return path


def steady(path: Path) -> Path:
    return filmed(
        path / "a.mp4", *H264, "-b:v", "9M", "-maxrate", "12M", "-bufsize", "6M", also=GRAIN
    )


def fast_60(path: Path) -> Path:
    heavy = ("-b:v", "16M", "-maxrate", "18M", "-bufsize", "4M")
    return filmed(path / "a.mov", *H264, *heavy, rate=60, also=GRAIN)


def portrait(path: Path) -> Path:
    """Filmed upright: the sensor lies, and the file says to turn it."""
    return turn(filmed(path / "a.mov", *H264, size="1080x1920", also="transpose=2"), 90)


def hevc(path: Path) -> Path:
    return filmed(path / "a.mov", *HEVC, "-tag:v", "hvc1", "-pix_fmt", "yuv420p")


def hevc_ten_bit(path: Path) -> Path:
    return filmed(path / "a.mov", *HEVC, "-tag:v", "hvc1", "-pix_fmt", "yuv420p10le")


def uneven(path: Path) -> Path:
    return filmed(path / "a.mp4", *H264, also=UNEVEN)


KINDS = {
    "1080p": (steady, (8, 20), False),
    "60-frames": (fast_60, (8, 20), False),
    "portrait": (portrait, None, True),
    "hevc": (hevc, None, False),
    "hevc-10-bit": (hevc_ten_bit, None, False),
    "uneven": (uneven, None, False),
}
# The picture at a moment: its size, how bright it is in the middle, and in the corner.
LOOK = """([address, at]) => new Promise((resolve, reject) => {
  const video = Object.assign(document.createElement('video'), {muted: true, src: address});
  video.onerror = () => reject(video.error.message);
  video.onloadedmetadata = () => { video.currentTime = at; };
  const look = () => {
    const {videoWidth: width, videoHeight: height} = video;
    const canvas = Object.assign(document.createElement('canvas'), {width, height});
    const drawn = canvas.getContext('2d');
    drawn.drawImage(video, 0, 0);
    const dot = (x, y) => drawn.getImageData(width * x, height * y, 1, 1).data;
    // On a busy machine the place is reached before its picture can be drawn: nothing is, yet.
    if (!dot(0.6, 0.6)[3]) return setTimeout(look, 20);
    const light = (x, y) => dot(x, y)[1];
    const [middle, corner, other] = [light(0.6, 0.6), light(0.1, 0.1), light(0.9, 0.1)];
    resolve({width, height, middle, corner, other});
  };
  video.onseeked = look;
})"""


@pytest.mark.sweep(1 / 3)
@pytest.mark.parametrize("kind", KINDS)
def test_it_is_taken_in_heard_and_shown_upright_and_in_time(
    kind, cast, chromium, live_server, settings, tmp_path, monkeypatch
):
    settings.MEDIA_ROOT = tmp_path / "media"
    monkeypatch.setattr(services, "dispatch", lambda clip_id, kind: True)
    make, mbit_s, is_portrait = KINDS[kind]
    source = make(tmp_path)
    if mbit_s:
        low, high = mbit_s
        assert low < 8 * source.stat().st_size / 1e6 / LENGTH_S < high
    clip = services.receive(cast.enrolment, cast.pupil, [source.read_bytes()], source.name)
    assert (clip.intake, clip.intake_code) == (Clip.Intake.RECEIVED, "")
    the_tone_is_heard_with_the_flash(source, clip, tmp_path)
    tasks.prepare_small(str(clip.pk))
    tasks.prepare_playback(str(clip.pk))
    for made, long_side in ((Rendition.Kind.SMALL, 480), (Rendition.Kind.PLAYABLE, 1280)):
        path = FolderStore().path(Rendition.objects.get(clip=clip, kind=made).path)
        the_flash_is_at_its_time(path)
        sides = (
            (long_side * 9 // 16, long_side) if is_portrait else (long_side, long_side * 9 // 16)
        )
        it_is_shown(chromium, live_server.url, cast.pupil, clip, made, sides)


def the_tone_is_heard_with_the_flash(source: Path, clip: Clip, folder: Path) -> None:
    media.extract_sound(source, folder / "heard.wav", media.MediaInfo.from_dict(clip.info))
    y, sr = media.read_sound(folder / "heard.wav")
    assert np.flatnonzero(np.abs(y) > 0.02)[0] / sr == pytest.approx(FLASH_S, abs=0.03)


def the_flash_is_at_its_time(path: Path) -> None:
    frames = white_frames(path)
    step_s = float(np.median(np.diff([at for at, _ in frames])))
    first = next(at for at, is_white in frames if is_white)
    last = [at for at, is_white in frames if is_white][-1]
    assert first == pytest.approx(FLASH_S, abs=step_s + 0.005)
    assert last == pytest.approx(FLASH_S + FLASH_LENGTH_S, abs=2 * step_s + 0.005)


def it_is_shown(chromium: Browser, url: str, who, clip: Clip, made: str, sides) -> None:
    context = chromium.new_context(base_url=url)
    for name, morsel in as_person(who).cookies.items():
        context.add_cookies([{"name": name, "value": morsel.value, "url": url}])
    page = context.new_page()
    page.goto("/log-in/")
    name = "small" if made == Rendition.Kind.SMALL else "media"
    address = f"/clips/{clip.pk}/{name}/"
    before, flash = (page.evaluate(LOOK, [address, at]) for at in (0.5, FLASH_S + 0.2))
    context.close()
    assert (before["width"], before["height"]) == pytest.approx(sides, abs=2)
    assert before["corner"] < 60 < before["other"] < 180, "the dark block is at the upper left"
    assert before["middle"] < 180 < flash["middle"]
