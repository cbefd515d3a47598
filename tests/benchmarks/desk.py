"""The review desk with a clip of a quarter of an hour and two thousand events, in a real browser.

The studio's own web process serves it, with its files as they are deployed; each clip is opened
once, by a process that has never judged it and by a browser that has nothing in its cache. See
``reviewing/browser.py`` for what each figure is. The browser draws without a graphics card, so
frames a second is what two cores can paint beside the decoder, the server and this program.
"""

import argparse
import contextlib
import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.deploy.processes import free_port, started, until

TARGETS = {  # the most there may be, or, for frames, the least
    "first_paint_ms": 1000,
    "ready_ms": 2000,
    "page_kb": 300,
    "scripts_kb": 120,
    "frames_per_s": 55,
    "key_next_mark_ms": 100,
    "key_zoom_ms": 100,
    "key_next_row_ms": 100,
    "key_keep_ms": 100,
}
CHROMIUM = "/usr/bin/chromium"
OPTIONS = ["--no-sandbox", "--disable-gpu", "--autoplay-policy=no-user-gesture-required"]


@contextlib.contextmanager
def studio(many: int, folder: Path) -> Iterator[tuple[str, dict[str, str], list]]:
    """A served studio: its address, a teacher's cookies, and clips that nobody has opened."""
    port = free_port()
    os.environ.update(
        STUDIO_DATA=str(folder / "data"), PORT=str(port), DJANGO_SETTINGS_MODULE="studio.settings"
    )
    os.environ.setdefault("WEB_PROCESSES", "1")
    from studio.serving import prepare

    prepare(with_demo=False)
    from tests.benchmarks.reviewing.clips import make_long_clips
    from tests.cast import as_person, make_cast

    cast = make_cast()
    clips = make_long_clips(cast, many, folder)
    cookies = {name: str(morsel.value) for name, morsel in as_person(cast.teacher).cookies.items()}
    command = [sys.executable, "-m", "gunicorn", "-c", "python:studio.gunicorn_settings"]
    url = f"http://127.0.0.1:{port}"
    with started(command, folder / "web.log"):
        until(lambda: _answers(url), 60, f"an answer of {url}")
        yield url, cookies, clips


def _answers(url: str) -> bool:
    import urllib.request

    try:
        with urllib.request.urlopen(f"{url}/log-in/", timeout=2) as answer:
            return answer.status == 200
    except OSError:
        return False


def measure(quick: bool) -> dict[str, float]:
    """Open the clips one after the other; work with the last one."""
    from playwright.sync_api import sync_playwright

    opened: list[dict[str, float]] = []
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="studio-desk-")))
        url, cookies, clips = stack.enter_context(studio(3 if quick else 7, folder))
        playwright = stack.enter_context(sync_playwright())
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=OPTIONS)
        from tests.benchmarks.reviewing.browser import Desk

        Desk(browser, url, cookies).close()  # the browser itself starts once
        for clip in clips:
            desk = Desk(browser, url, cookies)
            opened.append(desk.open(clip.pk))
            if clip != clips[-1]:
                desk.close()
        again = Desk(browser, url, cookies)
        second = again.open(clips[-2].pk)  # still in the memory of the web process
        again.close()
        figures = {key: statistics.median(one[key] for one in opened) for key in opened[0]}
        figures |= {f"{key}_again": value for key, value in second.items()}
        figures |= desk.weight()
        figures |= desk.keys(3 if quick else 7)
        figures |= desk.play_zoomed_in(4.0 if quick else 10.0)
        browser.close()
    return figures


def table(figures: dict[str, float]) -> str:
    lines = [f"{'figure':<24}{'measured':>10}{'target':>10}"]
    for name, value in figures.items():
        target = TARGETS.get(name)
        sign = "" if target is None else ("≥ " if name == "frames_per_s" else "≤ ") + str(target)
        lines.append(f"{name:<24}{value:>10.1f}{sign:>10}{_verdict(name, value)}")
    return "\n".join(lines)


def _verdict(name: str, value: float) -> str:
    target = TARGETS.get(name)
    if target is None:
        return ""
    good = value >= target if name == "frames_per_s" else value <= target
    return "" if good else "  not reached"


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--quick", action="store_true", help="fewer clips, a shorter play")
    quick = arguments.parse_args().quick
    begun, load = time.monotonic(), os.getloadavg()[0]
    figures = measure(quick)
    print(table(figures))
    load = (load + os.getloadavg()[0]) / 2
    print(f"\nLoad of the machine meanwhile: {load:.1f} on {os.cpu_count()} cores.")
    figures |= {"load": load, "cores": os.cpu_count() or 0}
    figures["seconds"] = time.monotonic() - begun
    print(json.dumps({name: round(value, 2) for name, value in figures.items()}))
    return 0


if __name__ == "__main__":
    sys.exit(main())
