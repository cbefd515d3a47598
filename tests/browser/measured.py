"""What the layout of a page says of WCAG 2.2: measures.js, at several widths and sizes of text.

Sources: W3C, Web Content Accessibility Guidelines 2.2: 1.4.4 Resize Text (200 %), 1.4.10 Reflow
(320 px), 1.4.11 Non-text Contrast, 1.4.12 Text Spacing (its four figures are in SPACED), 2.4.2
Page Titled, 2.4.4 Link Purpose, 2.4.7 Focus Visible, 2.4.11 Focus Not Obscured, 2.5.8 Target Size.
"""

from pathlib import Path

from playwright.sync_api import Page

MEASURES = (Path(__file__).parent / "measures.js").read_text()
HEIGHTS = {320: 640, 390: 844, 820: 1180, 1440: 900}
LAYOUT = ("sticking", "cutOff", "lapping", "small", "focusing", "engraved")
TEXT = ("sticking", "cutOff", "lapping")
ONCE = ("names", "outline", "rings", "edges")
WITHOUT_SCRIPT = ("dead", "sticking", "cutOff")

# Bars are measured in the frame after a change of size, so that frame is awaited.
SETTLED = "() => new Promise((done) => requestAnimationFrame(() => setTimeout(done)))"
MEASURE = """(names) => {
  return names.flatMap((name) => measures[name]().map((what) => `${name}: ${what}`));
}"""
STYLE = """(rules) => {
  window.added ??= document.adoptedStyleSheets.push(new CSSStyleSheet()) &&
    document.adoptedStyleSheets.at(-1);
  window.added.replaceSync(rules);
}"""
# What is skipped while out of sight has no layout to be measured.
LAID_OUT = "* { content-visibility: visible !important; }"
TWICE = LAID_OUT + "html { font-size: 200%; }"
SPACED = LAID_OUT + (
    "* { line-height: 1.5 !important; letter-spacing: 0.12em !important;"
    " word-spacing: 0.16em !important; } p { margin-bottom: 2em !important; }"
)


def layout(page: Page, open_all: bool = True) -> list[str]:
    """Everything that is wrong with a page that stands open, with the width where it is."""
    page.evaluate(MEASURES)
    if open_all:
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.evaluate(STYLE, LAID_OUT)
    found = _at(page, 390, "", *ONCE)
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    found += _at(page, 390, ", dark", "rings", "edges")
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    for width in HEIGHTS:
        found += _at(page, width, "", *LAYOUT)
    page.evaluate(STYLE, TWICE)
    for width in (320, 390, 1440):
        found += _at(page, width, ", text at 200 %", *LAYOUT[:-1])
    page.evaluate(STYLE, SPACED)
    for width in (320, 1440):
        found += _at(page, width, ", spaced", *TEXT)
    page.evaluate(STYLE, "")
    return found


def without_script(page: Page) -> list[str]:
    """What does nothing where no script runs, or does not fit."""
    page.evaluate(MEASURES)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    return page.evaluate(MEASURE, list(WITHOUT_SCRIPT))


def _at(page: Page, width: int, how: str, *names: str) -> list[str]:
    page.set_viewport_size({"width": width, "height": HEIGHTS[width]})
    page.evaluate(SETTLED)
    return [f"{width} px{how}: {what}" for what in page.evaluate(MEASURE, list(names))]
