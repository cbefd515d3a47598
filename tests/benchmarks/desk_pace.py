"""How many keys and seconds a clip takes at the desk: forty of the demo's clips, each returned.

A studio of real processes serves the demo's data and more takes of its pupils
(``reviewing/takes.py``); once all are heard, a browser reviews one after the other by keyboard
alone at a teacher's pace (``reviewing/hands.py``), and at the end the database is asked whether
every clip was returned as it was decided.

*Seconds* of a clip count from its page being there until the next one's is: looking, hearing,
deciding, reading the proposed summary, returning. *Waited* is what of them the program took: all
but her own pauses; it grows with the load of the machine. *Keys*: one with Shift or Ctrl is one.
The first page is opened by a press on the waiting list. A clip of single notes with a question gets
a voice reply; its figures are listed apart, since how long somebody speaks is none of the desk's.
"""

import argparse
import contextlib
import json
import os
import statistics
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.reviewing.hands import HURRIED, Pace, Reviewed, Teacher
from tests.deploy.processes import free_port, started, until

MOST_KEYS, MOST_S = 12, 45.0
CLIPS, QUICK_CLIPS = 40, 3
PREPARED_S = 1800.0  # for all of them; two cores make about four a minute beside other work
SEED = 7
CHROMIUM = "/usr/bin/chromium"
OPTIONS = [
    *("--no-sandbox", "--disable-gpu", "--autoplay-policy=no-user-gesture-required"),
    *("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"),
]


@contextlib.contextmanager
def studio(many: int, folder: Path, with_history: bool) -> Iterator[str]:
    """A served demo in which at least so many clips wait, heard and playable: its address."""
    port = free_port()
    os.environ.update(
        STUDIO_DATA=str(folder / "data"),
        PORT=str(port),
        DJANGO_SETTINGS_MODULE="studio.settings",
        DJANGO_ALLOW_ASYNC_UNSAFE="1",  # the browser's own loop runs in this thread
    )
    os.environ.setdefault("WEB_PROCESSES", "1")
    from studio.serving import prepare

    prepare(with_demo=False)
    from tests.benchmarks.reviewing import takes

    clips = takes.send(takes.fill(with_history), many, folder / "made")
    url = f"http://127.0.0.1:{port}"
    with started([sys.executable, "-m", "studio", "serve"], folder / "studio.log"):
        until(lambda: _answers(url), 120, f"an answer of {url}")
        takes.wait_for(clips, PREPARED_S)
        yield url


def _answers(url: str) -> bool:
    import urllib.request

    try:
        with urllib.request.urlopen(f"{url}/log-in/", timeout=2) as answer:
            return answer.status == 200
    except OSError:
        return False


def review_all(url: str, pace: Pace) -> list[Reviewed]:
    """Every clip that waits, the longest wait first, until the list is empty."""
    from playwright.sync_api import sync_playwright

    from studio.demo.people import PASSWORD, address

    done: list[Reviewed] = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=OPTIONS)
        page = browser.new_page(base_url=url, viewport={"width": 1440, "height": 900})
        page.goto("/log-in/")
        page.locator("input[name=username]").fill(address("teacher"))
        page.locator("input[name=password]").fill(PASSWORD)
        page.keyboard.press("Enter")
        page.wait_for_url("**/waiting/")
        page.locator(".wait a.stretch").first.click()
        page.locator("clip-desk[data-ready]").wait_for()
        teacher = Teacher(page, pace, SEED)
        while "/clips/" in page.url:
            done.append(teacher.review())
            print(line(done[-1]), flush=True)
        browser.close()
    return done


def wrong(done: list[Reviewed]) -> list[str]:
    """What the database does not hold as it was pressed."""
    from studio.review.marks.judging import judged
    from studio.review.models import Return, Review

    found = []
    for one in done:
        review = Review.objects.get(clip=one.clip)
        if not Return.objects.filter(review=review).exists():
            found.append(f"{one.title}: not returned")
        marks = {mark.about: mark.choice for mark in judged(review).marks}
        if marks != one.choices:
            found.append(f"{one.title}: {marks} is not {one.choices}")
        if one.unheard:
            found.append(f"{one.title}: {one.unheard} times nothing was playing")
    return found


def line(one: Reviewed) -> str:
    over = [f"{len(one.keys)} keys"] * (len(one.keys) > MOST_KEYS)
    over += [f"{one.seconds:.0f} s"] * (one.seconds > MOST_S)
    said = f"{one.title[:34]:<36}{one.way:<16}{one.marks:>5}{len(one.keys):>6}{one.seconds:>9.1f}"
    return said + (f"  over: {' and '.join(over)}" if over else "")


def figures(done: list[Reviewed]) -> dict[str, float]:
    """Median and worst: where nothing is spoken, where something is, and of the waiting."""
    silent = [one for one in done if one.way != "spoken"]
    found: dict[str, float] = {"clips": len(done), "spoken": len(done) - len(silent)}
    for name, ones in (("", silent), ("spoken_", [one for one in done if one.way == "spoken"])):
        for what, values in (
            ("keys", [len(one.keys) for one in ones]),
            ("seconds", [one.seconds for one in ones]),
        ):
            if values:
                found[f"{name}{what}_median"] = statistics.median(values)
                found[f"{name}{what}_worst"] = max(values)
    waited = [one.seconds - one.paused for one in done]
    found |= {"waited_median": statistics.median(waited), "waited_worst": max(waited)}
    found["over_keys"] = sum(len(one.keys) > MOST_KEYS for one in silent)
    found["over_seconds"] = sum(one.seconds > MOST_S for one in silent)
    found["marks_worst"] = max(one.marks for one in done)
    return found


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--quick", action="store_true", help="a few clips, without the history")
    arguments.add_argument("--clips", type=int, help="how many clips wait")
    arguments.add_argument("--hurried", action="store_true", help="no teacher's pace: to try it")
    asked = arguments.parse_args()
    many = asked.clips or (QUICK_CLIPS if asked.quick else CLIPS)
    pace = HURRIED if asked.hurried else Pace()
    load = os.getloadavg()[0]
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="studio-pace-")))
        url = stack.enter_context(studio(many, folder, with_history=not asked.quick))
        print(f"Assumed pace: {pace.in_words()}\n")
        print(f"{'clip':<36}{'answered by':<16}{'marks':>5}{'keys':>6}{'seconds':>9}")
        done = review_all(url, pace)
        found, faults = figures(done), wrong(done)
    print(f"\nWanted where nothing is spoken or typed: at most {MOST_KEYS} keys, {MOST_S:g} s.")
    for name, value in found.items():
        print(f"{name:<24}{value:>10.1f}")
    print(*(faults or ["Every clip was returned as it was decided."]), sep="\n")
    load = (load + os.getloadavg()[0]) / 2
    print(f"Load of the machine meanwhile: {load:.1f} on {os.cpu_count()} cores.")
    found |= {"faults": len(faults), "load": load, "cores": os.cpu_count() or 0}
    print(json.dumps({name: round(value, 2) for name, value in found.items()}))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
