"""Reads off a page what a teacher would feel: when it was there, how even it moves, its weight.

*First paint* is the browser's first contentful paint; *ready* is when the ledger answers and the
picture stands with its outline and its events. Both count from the start of the navigation.
*Input to paint* counts from the key's own time stamp to the end of the first frame that shows its
effect. *Weight* is what came over the wire, the recording left out.
"""

from itertools import pairwise
from pathlib import Path
from statistics import median

from playwright.sync_api import Browser, BrowserContext, Page

from tests.deploy.processes import until

PROBE = Path(__file__).with_name("probe.js")
VIEWPORT = {"width": 1440, "height": 900}
WAIT_S = 60.0
PAUSE_MS = 700  # between two keys, so that the work of one does not count for the next
KEY_EFFECTS = {  # key: what is there when its effect shows; empty for the next frame
    "next row": ("ArrowDown", ".block [data-row]:focus"),
    "next mark": ("n", "[data-mark]:focus"),
    "zoom": ("+", ""),
    "keep": ("k", "[data-decide='keep'][aria-pressed='true']"),
}


class Desk:
    """One clip's page, in a context of its own: nothing is in its cache."""

    def __init__(self, browser: Browser, base_url: str, cookies: dict[str, str]):
        self.context: BrowserContext = browser.new_context(viewport=VIEWPORT, base_url=base_url)
        self.context.add_cookies(
            [{"name": name, "value": value, "url": base_url} for name, value in cookies.items()]
        )
        self.page: Page = self.context.new_page()
        self.page.add_init_script(path=PROBE)
        self._devtools = self.context.new_cdp_session(self.page)
        self._weigh()

    def close(self) -> None:
        self.context.close()

    def open(self, clip_id) -> dict[str, float]:
        """Go to a clip; milliseconds until first paint, ledger and picture."""
        self.page.goto(f"/clips/{clip_id}/", wait_until="commit")
        until(self._drawn, WAIT_S, "the picture is drawn")
        marks = self.page.evaluate(
            """() => Object.fromEntries(performance.getEntries()
                 .filter(({ name }) => name === "first-contentful-paint"
                                    || name.startsWith("desk:"))
                 .map(({ name, startTime }) => [name, startTime]))"""
        )
        answer = self.page.evaluate(
            "() => performance.getEntriesByType('navigation')[0].responseStart"
        )
        return {
            "answer_ms": answer,
            "first_paint_ms": marks["first-contentful-paint"],
            "ready_ms": max(marks[name] for name in ("desk:ready", "desk:drawn")),
        }

    def weight(self) -> dict[str, float]:
        """Kilobytes over the wire: of everything but the recording, and of scripts."""
        self.page.wait_for_load_state("load")
        kinds = {key: self._kinds[key] for key in self._sizes if key in self._kinds}
        scripts = sum(size for key, size in self._sizes.items() if kinds.get(key) == "Script")
        whole = sum(size for key, size in self._sizes.items() if kinds.get(key) != "Media")
        return {"page_kb": whole / 1000, "scripts_kb": scripts / 1000}

    def play_zoomed_in(self, seconds: float, presses: int = 10) -> dict[str, float]:
        """Play and look: frames a second, the slowest ones, and what each frame cost."""
        page = self.page
        for _ in range(presses):
            page.keyboard.press("+")
        until(lambda: page.evaluate("document.querySelector('video').readyState > 1"), 30, "video")
        page.keyboard.press("Space")
        until(lambda: page.evaluate("document.querySelector('video').currentTime > 1"), 30, "play")
        before = self._metrics()
        at = page.evaluate("(ms) => probe.film(ms)", seconds * 1000)
        after = self._metrics()
        page.keyboard.press("Space")
        spans = sorted(b - a for a, b in pairwise(at))
        frames = len(spans)
        cost = {name: after[name] - before[name] for name in after}
        shown = page.evaluate(
            """() => { const { droppedVideoFrames: lost, totalVideoFrames: all } =
                 document.querySelector("video").getVideoPlaybackQuality(); return [lost, all] }"""
        )
        return {
            "frames_per_s": 1000 * frames / (at[-1] - at[0]),
            "frame_p95_ms": spans[int(0.95 * frames)],
            "script_ms_per_frame": 1000 * cost["ScriptDuration"] / frames,
            "main_ms_per_frame": 1000 * cost["TaskDuration"] / frames,
            "layouts_per_s": cost["LayoutCount"] / seconds,
            "video_frames_lost_percent": 100 * shown[0] / max(shown[1], 1),
        }

    def keys(self, times: int) -> dict[str, float]:
        """Milliseconds from a key to the frame that shows its effect: the median, and the worst."""
        found: dict[str, float] = {}
        for name, (key, css) in KEY_EFFECTS.items():
            waits = [self._press(key, self._effect(name, css)) for _ in range(times)]
            figure = f"key_{name.replace(' ', '_')}"
            found |= {f"{figure}_ms": median(waits), f"{figure}_worst_ms": max(waits)}
        return found

    def _effect(self, name: str, css: str) -> str:
        if name != "keep":
            return css
        self._press("n", "[data-mark]:focus")  # a mark that is not decided yet
        return f"{css}[id='keep-{self._mark()}']"

    def _mark(self) -> str:
        return self.page.evaluate("document.activeElement.dataset.mark")

    def _press(self, key: str, css: str) -> float:
        page = self.page
        page.evaluate("document.querySelector('video').pause()")
        page.wait_for_timeout(PAUSE_MS)
        page.evaluate("(css) => probe.expect(css)", css)
        page.keyboard.press(key)
        until(lambda: page.evaluate("probe.shown !== null"), WAIT_S, f"{key} shows")
        return page.evaluate("probe.shown - probe.pressed")

    def _drawn(self) -> bool:
        wanted = "['desk:ready', 'desk:drawn']"
        return self.page.evaluate(
            f"{wanted}.every((name) => performance.getEntriesByName(name).length > 0)"
        )

    def _metrics(self) -> dict[str, float]:
        found = self._devtools.send("Performance.getMetrics")["metrics"]
        return {metric["name"]: metric["value"] for metric in found}

    def _weigh(self) -> None:
        self._kinds: dict[str, str] = {}
        self._sizes: dict[str, float] = {}
        send, on = self._devtools.send, self._devtools.on
        on("Network.responseReceived", lambda e: self._kinds.update({e["requestId"]: e["type"]}))
        on(
            "Network.loadingFinished",
            lambda e: self._sizes.update({e["requestId"]: e["encodedDataLength"]}),
        )
        send("Network.enable")
        send("Performance.enable")
