"""The desk by hands that are faster than the line."""

import random
import time

import pytest
from playwright.sync_api import Page, Route

from tests.cast import make_clip
from tests.review.heard_clip import listen_again, measurement

NOTES = ("C4", "D4", "E4", "F4", "G4", "A4")
MARKED = tuple((note, 1.6 + 6.0 * n, (40.0 + n,)) for n, note in enumerate(NOTES))
LONG_S = 40.0


@pytest.fixture
def marked(cast):
    """A clip with six marks, one after the other."""
    made = make_clip(cast.enrolment, "Octaves", has_audio=True, duration_s=LONG_S)
    listen_again(made, measurement(MARKED, LONG_S))
    return made


def slow(page: Page, at_least_s: float = 0.2, at_most_s: float = 0.2, lost: float = 0.0) -> None:
    """What is posted arrives late; some of it is lost on the way, or its answer is."""
    rng = random.Random(7)

    def late(route: Route) -> None:
        if route.request.method != "POST":
            return route.continue_()
        time.sleep(rng.uniform(at_least_s, at_most_s))
        fate = rng.random()
        if fate < lost / 2:
            return route.abort()
        if fate < lost:
            route.fetch()
            return route.abort()
        return route.continue_()

    page.route("**/clips/**", late)


def press(page: Page, keys, ms: float) -> None:
    """Keys as hands press them: by the browser's own clock, whatever the line does."""
    page.evaluate(
        """async ([keys, ms]) => {
          for (const key of keys) {
            const target = document.activeElement ?? document.body;
            const down = { key, bubbles: true, cancelable: true };
            target.dispatchEvent(new KeyboardEvent("keydown", down));
            const pause = Array.isArray(ms) ? ms.shift() : ms;
            await new Promise((resolve) => setTimeout(resolve, pause));
          }
        }""",
        [list(keys), ms],
    )
