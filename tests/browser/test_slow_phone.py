"""A returned phone clip of three minutes, watched over 400 kbit/s with 400 ms (CDP emulation).

The web process is the real one with its own settings, and so is nginx with the deployed site. The
recording is 1080p at 1.5 Mbit/s and more, 30 MB, with the uneven frame times of a phone.
"""

import json
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.conf import settings as django_settings
from playwright.sync_api import Browser, BrowserContext, CDPSession, Page

from studio import media
from studio.clips import services, tasks
from studio.clips.models import Clip, Rendition, Stage
from studio.clips.processing import stages
from studio.clips.storage import spool
from studio.clips.storage.stores import FolderStore
from studio.review.waiting.submissions import begin_review
from tests.cast import Cast, as_person, make_cast, make_return
from tests.deploy.processes import until
from tests.live import live_web
from tests.media.recordings import ffmpeg
from tests.servers import Nginx

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = {"width": 390, "height": 844}
LINE_BITS_S, LATENCY_MS = 400_000, 400
COLD_S, WARM_S = 6.0, 3.0
PLAYS_ON_S = 20.0  # all of it comes faster than it plays, so that a stop comes soon or never
LENGTH_S, PIECE_S = 180, 12
# Frames come up to 2 ms late, as a phone's do (in units of 1/15360 s).
UNEVEN = "setts=ts=TS+30*mod(N*7\\,11)/11"

# Presses play as soon as the page is there, and notes when the picture first moves.
WATCH = """
window.seen = {stops: []};
document.addEventListener('DOMContentLoaded', () => {
  const player = document.querySelector('video#player');
  if (!player) return;
  const moving = () => {
    if (!window.seen.playing && player.videoWidth > 0 && player.readyState > 2) {
      window.seen.playing = performance.now() / 1000;
    }
  };
  player.addEventListener('playing', moving);
  player.addEventListener('timeupdate', moving);
  player.addEventListener('waiting', () => {
    if (window.seen.playing) window.seen.stops.push(player.currentTime);
  });
  player.muted = true;
  player.play().catch(() => {});
});
"""


@dataclass(frozen=True)
class Ready:
    """A studio in which a phone clip was returned."""

    cast: Cast
    clip: Clip
    data: Path

    def rendition(self, kind: str) -> Rendition:
        return Rendition.objects.get(clip=self.clip, kind=kind)


@pytest.fixture(scope="module")
def recording(tmp_path_factory) -> Path:
    """One piece, twelve seconds long, fifteen times over."""
    folder = tmp_path_factory.mktemp("phone")
    moving = f"testsrc2=s=1920x1080:r=30:d={PIECE_S}"
    coding = ("-c:v", "libx264", "-preset", "ultrafast", "-b:v", "2M", "-pix_fmt", "yuv420p")
    sounding = ("-f", "lavfi", "-i", f"sine=f=440:r=48000:d={PIECE_S}", "-c:a", "aac")
    piece, even, whole = (folder / f"{name}.mp4" for name in ("piece", "even", "whole"))
    ffmpeg("-f", "lavfi", "-i", moving, *sounding, "-b:a", "128k", *coding, str(piece))
    again = ("-stream_loop", str(LENGTH_S // PIECE_S - 1), "-i", str(piece), "-t", str(LENGTH_S))
    ffmpeg(*again, "-c", "copy", str(even))
    ffmpeg("-i", str(even), "-c", "copy", "-bsf:v", UNEVEN, str(whole))
    return whole


@pytest.fixture(scope="module")
def made_once(tmp_path_factory) -> Callable[..., media.PlayableInfo]:
    """Makes the smaller picture at the first call; it is the same at each that follows."""
    kept, make, said = tmp_path_factory.mktemp("small") / "small.mp4", media.make_small, []

    def make_small(source: Path, target: Path, *how, **more) -> media.PlayableInfo:
        if not said:
            said.append(make(source, kept, *how, **more))
        shutil.copyfile(kept, target)
        return said[0]

    return make_small


@pytest.fixture
def ready(recording, made_once, settings, monkeypatch) -> Iterator[Ready]:
    data = Path(tempfile.mkdtemp(prefix="studio-slow-phone-"))
    data.chmod(0o711)
    (data / "media").mkdir(mode=0o755)
    settings.MEDIA_ROOT = data / "media"
    monkeypatch.setattr(services, "dispatch", lambda clip_id, kind: True)
    monkeypatch.setattr(media, "make_small", made_once)
    cast = make_cast()
    content = recording.read_bytes()
    assert len(content) > 30_000_000
    clip = services.receive(cast.enrolment, cast.pupil, [content], "phone.mp4")
    assert clip.intake == Clip.Intake.RECEIVED
    tasks.prepare_small(str(clip.pk))
    _stand_in_for_the_full_picture(clip, content)
    clip.stages.filter(kind=Stage.Kind.LISTENING).update(state=Stage.State.HEARD)
    begin_review(clip)
    make_return(clip)
    yield Ready(cast, clip, data)
    shutil.rmtree(data)


def _stand_in_for_the_full_picture(clip: Clip, content: bytes) -> None:
    """What came, as it came: to encode three minutes of it again would show nothing more here."""
    stage = stages.claim(clip.pk, Stage.Kind.PLAYBACK)
    name = f"{spool.clip_folder(clip.pk)}/playable-whole.mp4"
    kept = spool.keep(spool.spool([content], 10**9), name)

    def write(published: Clip) -> None:
        Rendition.objects.create(
            clip=published,
            kind=Rendition.Kind.PLAYABLE,
            path=kept.path,
            sha256=kept.sha256,
            size_bytes=kept.size_bytes,
            content_type="video/mp4",
        )

    stages.publish(stage, write)


def opened(chromium: Browser, url: str, who, cookie: str) -> tuple[BrowserContext, Page]:
    """A phone on the slow line, in which somebody is logged in."""
    context = chromium.new_context(viewport=PHONE, base_url=url, ignore_https_errors=True)
    value = as_person(who).cookies["session"].value
    context.add_cookies([{"name": cookie, "value": value, "url": url, "secure": "__" in cookie}])
    page = context.new_page()
    page.add_init_script(WATCH)
    slow(context.new_cdp_session(page))
    return context, page


def slow(session: CDPSession) -> None:
    session.send("Network.enable")
    line = {"downloadThroughput": LINE_BITS_S / 8, "uploadThroughput": LINE_BITS_S / 8}
    said = {"offline": False, "latency": LATENCY_MS, **line}
    session.send("Network.emulateNetworkConditions", said)


def first_seen_s(page: Page, address: str) -> float:
    """Seconds from the navigation until the picture moved."""
    page.goto(address, wait_until="commit")
    # Evaluated from outside: the page's own policy allows no function made of text.
    return until(lambda: page.evaluate("window.seen?.playing"), 30, "the picture moves")


def bytes_of(page: Page) -> dict[str, int]:
    """What came over the line before the recording, by name."""
    found = page.evaluate("""() => [
        ...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource'),
    ].filter((one) => one.initiatorType !== 'video').map((one) => [one.name, one.transferSize])""")
    return {name.rpartition("/")[2] or "page": size for name, size in found}


def test_a_returned_phone_clip_plays_at_once_on_a_slow_line_and_goes_on(
    ready, chromium, tmp_path, capsys
):
    small = ready.rendition(Rendition.Kind.SMALL)
    rate = 8 * small.size_bytes / LENGTH_S
    assert rate < 0.8 * LINE_BITS_S, "so that all of it comes faster than it plays"
    variables = {"STUDIO_DATA": str(ready.data), "SECRET_KEY": django_settings.SECRET_KEY}
    address = f"/clips/{ready.clip.pk}/"
    with live_web(tmp_path, **variables) as studio:
        context, page = opened(chromium, studio.url, ready.cast.pupil, "session")
        cold_s, sizes = first_seen_s(page, address), bytes_of(page)
        at = "document.querySelector('#player').currentTime"
        until(lambda: page.evaluate(at) > PLAYS_ON_S, 90, "it goes on")
        stops = page.evaluate("window.seen.stops")
        playing = page.evaluate("document.querySelector('#player').currentSrc")
        warm_s = min(first_seen_s(page, address) for _ in range(2))
        came = page.evaluate(
            "performance.getEntriesByType('resource').filter((one) => one.transferSize)"
            ".map((one) => one.name)"
        )
        context.close()
    figures = {
        "cold_s": round(cold_s, 2),
        "warm_s": round(warm_s, 2),
        "kbit_s": round(rate / 1000),
        "original_mb": round(ready.clip.original.size_bytes / 1e6, 1),
        "small_mb": round(small.size_bytes / 1e6, 1),
        "page_bytes": sum(sizes.values()),
    }
    with capsys.disabled():
        print(f"\nover 400 kbit/s and 400 ms: {json.dumps(figures)}\n{json.dumps(sizes)}")
    assert playing.endswith("/small/"), "by what the page measured"
    assert stops == []
    assert cold_s < COLD_S
    assert warm_s < WARM_S
    assert [name for name in came if "/static/" in name] == [], "the page's files were there"
    assert sum(sizes.values()) < 40_000


def test_behind_the_deployed_nginx_it_plays_as_soon(ready, chromium, tmp_path, capsys):
    variables = {"STUDIO_DATA": str(ready.data), "SECRET_KEY": django_settings.SECRET_KEY}
    variables |= {"HTTPS": "1", "MEDIA_BY_NGINX": "1"}
    with live_web(tmp_path, **variables) as studio:
        nginx = Nginx(int(studio.url.rpartition(":")[2]), FolderStore().root)
        try:
            nginx.start()
            url = f"https://localhost:{nginx.port}"
            context, page = opened(chromium, url, ready.cast.pupil, "__Host-session")
            cold_s = first_seen_s(page, f"/clips/{ready.clip.pk}/")
            encoding, protocol = page.evaluate("""async () => [
                (await fetch(location.href)).headers.get('content-encoding'),
                performance.getEntriesByType('navigation')[0].nextHopProtocol,
            ]""")
            context.close()
        finally:
            nginx.remove()
    with capsys.disabled():
        print(f"\nthrough nginx, over 400 kbit/s and 400 ms: {cold_s:.2f} s ({protocol})")
    assert (encoding, protocol) == ("gzip", "h2")
    assert cold_s < COLD_S
