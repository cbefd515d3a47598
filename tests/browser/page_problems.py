"""What is wrong with a page that stands open: too wide, without a name, too small to touch."""

from playwright.sync_api import Page

from tests.browser.measured import SETTLED

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1440, "height": 900}
TOUCH_PX = 44


def problems(page: Page, viewport: dict) -> list[str]:
    """What is wrong with the page that stands open, in a window of that size."""
    page.set_viewport_size(viewport)
    page.evaluate(SETTLED)
    return [f"{viewport['width']} px: {what}" for what in page.evaluate(PROBLEMS, TOUCH_PX)]


# Too wide, without a name, or too small to touch. A link within a sentence may be small.
PROBLEMS = """(touch) => {
  const problems = [];
  if (document.documentElement.scrollWidth > innerWidth) problems.push("wider than the screen");
  if (document.querySelectorAll("h1").length !== 1) problems.push("not one h1");
  for (const field of document.querySelectorAll("input, select, textarea")) {
    if (field.type !== "hidden" && !field.labels.length) problems.push(`no label: ${field.name}`);
  }
  const pressed = "button, .button, .tabs a, select, input:not([type=hidden], [type=file])";
  for (const control of document.querySelectorAll(pressed)) {
    const { width, height } = control.getBoundingClientRect();
    if (width && (height < touch - 0.5 || width < touch - 0.5)) {
      problems.push(`${control.outerHTML.slice(0, 60)}: ${width} by ${height}`);
    }
  }
  return problems;
}"""
