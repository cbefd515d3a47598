"""What makes a page hard to read or use, or moves by itself: axe-core, in each theme and width."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from studio.clips import services
from tests.browser import measured
from tests.cast import as_person

AXE = (Path(__file__).parent / "vendor/axe-core-4.14.1/axe.min.js").read_text()
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1440, "height": 900}
EVERY_RULE: dict = {"rules": {"target-size": {"enabled": True}}}
COLOURS: dict = {"runOnly": ["color-contrast", "link-in-text-block"]}
LAYOUT: dict = {"runOnly": ["target-size", "scrollable-region-focusable"]}


# Which elements are shown; the width that some have is another matter.
SHOWN = """() => [...document.querySelectorAll("body *")]
  .map((element) => Number(element.checkVisibility({ visibilityProperty: true }))).join("")"""

# What is serious or worse, as "rule: element"; the engine comes in beside the page's own policy.
ISSUES = """async (options) => {
  const found = await axe.run(document, { resultTypes: ["violations"], ...options });
  return found.violations
    .filter(({ impact }) => ["serious", "critical"].includes(impact))
    .flatMap(({ id, nodes }) => nodes.map((node) =>
      `${id}: ${node.target.join(" ")}: ${node.any.map(({ message }) => message).join("; ")}`));
}"""

# What moves by itself; that something becomes visible at once is not motion.
MOTION = """() => {
  const moving = ({ transitionDuration, scrollBehavior }) =>
    /[1-9]/.test(transitionDuration) || scrollBehavior === "smooth";
  const still = ["visibility", "offset", "computedOffset", "easing", "composite"];
  const animated = document.getAnimations()
    .filter((one) => one.effect.getKeyframes().some((frame) =>
      Object.keys(frame).some((name) => !still.includes(name))))
    .map((one) => `animation: ${one.effect.target.outerHTML.slice(0, 80)}`);
  const styled = [...document.querySelectorAll("*")]
    .filter((element) => [null, "::before", "::after"]
      .some((part) => moving(getComputedStyle(element, part))))
    .map((element) => `transition or scroll: ${element.outerHTML.slice(0, 80)}`);
  return [...animated, ...styled];
}"""


@pytest.fixture(autouse=True)
def surroundings(monkeypatch):
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: True)


@pytest.fixture
def opened(chromium: Browser, live_server):
    """A window for a person in which motion is to be reduced."""
    contexts = []

    def open_window(who, **options) -> Page:
        options = {"viewport": PHONE, "reduced_motion": "reduce"} | options
        context = chromium.new_context(base_url=live_server.url, **options)
        contexts.append(context)
        for name, morsel in as_person(who).cookies.items():
            context.add_cookies([{"name": name, "value": morsel.value, "url": live_server.url}])
        context.route("**/clips/*/media/", lambda route: route.fulfill(status=204))
        return context.new_page()

    yield open_window
    for context in contexts:
        context.close()


def issues(page: Page) -> list[str]:
    """Every rule where something else is shown than on a phone; else what the layout decides."""
    page.evaluate(AXE)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.evaluate(measured.SETTLED)
    on_phone = page.evaluate(SHOWN)
    found = judged(page, "phone, light", EVERY_RULE)
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    found += judged(page, "phone, dark", COLOURS)
    page.set_viewport_size(DESK)
    differs = page.evaluate(SHOWN) != on_phone
    found += judged(page, "desk, dark", COLOURS) if differs else []
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    found += judged(page, "desk, light", EVERY_RULE if differs else LAYOUT)
    page.set_viewport_size(PHONE)
    return found


def judged(page: Page, at: str, options: dict) -> list[str]:
    return [f"{at}: {issue}" for issue in page.evaluate(ISSUES, options)]


def troubles(page: Page) -> list[str]:
    found = issues(page) + page.evaluate(MOTION) + measured.layout(page)
    page.set_viewport_size(PHONE)
    return [f"{page.url}: {what}" for what in found]
