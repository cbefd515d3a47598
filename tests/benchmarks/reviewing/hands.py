"""A teacher's hands at the desk: the keys she presses, and how long she listens, thinks and reads.

All pauses are assumptions, stated in :class:`Pace` and printed with the figures: nobody has been
timed. A mark is *heard* only if the recording really plays meanwhile. ``MANY`` marks and more are
heard in a row, those that are not right dropped on the way, and the rest kept with one key.
"""

import time
from dataclasses import dataclass, field
from random import Random

from playwright.sync_api import Page

from tests.deploy.processes import until

WAIT_S = 30.0
MANY = 6
KEPT = 0.8  # of the marks; a teacher who drops less has less to press
MOVES = "(() => { const v = document.querySelector('video, audio'); return v.currentTime })()"


@dataclass(frozen=True, slots=True)
class Pace:
    """Seconds from and to, evenly spread; words a second of silent reading."""

    looks: tuple[float, float] = (1.0, 3.0)  # at a page that is new: whose it is, what was written
    hears: tuple[float, float] = (2.0, 4.0)  # of each mark
    thinks: tuple[float, float] = (0.5, 1.5)  # before each decision
    watches: tuple[float, float] = (6.0, 10.0)  # of a clip without marks
    speaks: tuple[float, float] = (5.0, 9.0)  # in a voice reply
    words_per_s: float = 4.0  # of the proposed summary, in its preview

    def in_words(self) -> str:
        spans = {
            "looks at a new page": self.looks,
            "hears each mark": self.hears,
            "thinks before each decision": self.thinks,
            "watches a clip without marks": self.watches,
            "speaks a reply": self.speaks,
        }
        said = "; ".join(f"{what} {a:g} to {b:g} s" for what, (a, b) in spans.items())
        return f"{said}; reads {self.words_per_s:g} words a second."


HURRIED = Pace((0.2, 0.4), (0.5, 0.8), (0.1, 0.2), (1.0, 1.5), (1.5, 2.0), 40.0)


@dataclass(slots=True)
class Reviewed:
    """One clip: what it was, what was decided, the keys and seconds it took."""

    clip: str
    title: str
    marks: int
    way: str
    keys: list[str] = field(default_factory=list)
    choices: dict[str, str] = field(default_factory=dict)
    unheard: int = 0
    seconds: float = 0.0
    paused: float = 0.0  # of them: her own looking, hearing, thinking, speaking, reading


class Teacher:
    """At a page of the desk that is open already; presses keys and nothing else."""

    def __init__(self, page: Page, pace: Pace, seed: int):
        self.page, self.pace, self.rng = page, pace, Random(seed)

    def review(self) -> Reviewed:
        """From the page as it stands until the clip is returned and the next page is there."""
        begun, desk = time.monotonic(), self.page.locator("clip-desk")
        marks = self.page.locator("[data-about]").count()
        plain = "plain" in (desk.get_attribute("class") or "")
        title = self.page.locator(".about b").inner_text()
        way = "spoken" if plain else "marks" if marks else "nothing marked"
        self.now = Reviewed(desk.get_attribute("data-clip"), title, marks, way)
        self._pause(self.pace.looks)
        {"marks": self._marks, "spoken": self._speak, "nothing marked": self._watch}[way]()
        self._read()
        self._press("Enter")
        self._next_page()
        self.now.seconds = time.monotonic() - begun
        return self.now

    def _marks(self) -> None:
        many = self.now.marks >= MANY
        for _ in range(self.now.marks):
            self._hear("n", self.pace.hears)
            self._pause(self.pace.thinks)
            keep = self.rng.random() < KEPT
            about = self.page.locator("[data-selected]").get_attribute("data-about")
            self.now.choices[about] = "kept" if keep else "dropped"
            if not keep:
                self._press("d")
            elif not many:
                self._press("k")
        if many:
            self._press("Shift+K")
        self._press("Shift+P")

    def _watch(self) -> None:
        self._hear("Space", self.pace.watches)
        self._press("Shift+P")

    def _speak(self) -> None:
        self._hear("Space", self.pace.watches)
        self._press("v")
        self._until("document.querySelector('[data-part=stop]')?.checkVisibility()", "it records")
        self._pause(self.pace.speaks)
        self._press("v")
        made = "document.querySelector('#composer input[type=file]').files.length > 0"
        self._until(made, "the reply is there")
        self._press("Control+Enter")
        self._press("r")

    def _read(self) -> None:
        """The preview, where the button that returns has the focus."""
        self.page.wait_for_url("**/preview/", timeout=WAIT_S * 1000)
        summary = self.page.locator(".summary").first
        words = len(summary.inner_text().split()) if summary.count() else 0
        looks = self.rng.uniform(*self.pace.looks) / 2
        self._rest(looks + words / self.pace.words_per_s)

    def _hear(self, key: str, span: tuple[float, float]) -> None:
        self._press(key)
        before = self.page.evaluate(MOVES)
        self._pause(span)
        after = self.page.evaluate(MOVES)
        self.now.unheard += after - before < span[0] / 4

    def _next_page(self) -> None:
        self.page.wait_for_url(lambda url: "/preview/" not in url, timeout=WAIT_S * 1000)
        if "/clips/" in self.page.url:
            self._until("document.querySelector('clip-desk')?.dataset.ready === ''", "the desk")

    def _until(self, what: str, why: str) -> None:
        until(lambda: self.page.evaluate(f"Boolean({what})"), WAIT_S, why)

    def _press(self, key: str) -> None:
        self.now.keys.append(key)
        self.page.keyboard.press(key)

    def _pause(self, span: tuple[float, float]) -> None:
        self._rest(self.rng.uniform(*span))

    def _rest(self, seconds: float) -> None:
        self.now.paused += seconds
        time.sleep(seconds)
