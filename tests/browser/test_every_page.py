"""Every page in a real browser: reachable and legible for those who do not see, or move, as most.

Sources: W3C, Web Content Accessibility Guidelines 2.2, levels A and AA, as far as the rules of
axe-core (in vendor/) can tell; for motion, Media Queries Level 5, ``prefers-reduced-motion``.
"""

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from tests import addresses as matrix
from tests.browser import every_page, legible, measured
from tests.browser.legible import AXE, COLOURS, DESK, EVERY_RULE, MOTION, issues, judged, troubles
from tests.review.heard_clip import heard_clip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

world = matrix.world  # the fixture: the arguments of every address
opened, surroundings = legible.opened, legible.surroundings  # fixtures

SHARE = 1 / 8  # of a person's pages, where a run draws


@pytest.mark.parametrize("part", ["teacher", "pupil", "guardian", "operator", "anonymous"])
def test_no_page_has_a_serious_issue_or_moves_by_itself(cast, world, opened, drawn, part):
    more = every_page.furnish(cast)
    page, found, seen = opened(cast.people().get(part)), [], set()
    addresses = [*every_page.addresses(part, world), *more[part]]
    for address in drawn(addresses, SHARE):
        answer = page.goto(address)
        assert answer.headers["content-type"].startswith("text/html"), address
        if page.url not in seen:  # some lead on to others
            seen.add(page.url)
            found += troubles(page)
    assert seen  # of what a share draws for nobody, all may lead to the log-in
    assert not found, "\n".join(found)


def show(page: Page, html: str) -> None:
    """Put a page before the browser as if the studio had answered with it."""
    page.unroute_all()
    page.route("**/told/", lambda route: route.fulfill(body=html, content_type="text/html"))
    page.goto("/told/")


def test_no_page_that_says_what_happened_has_a_serious_issue(opened, drawn):
    page, found = opened(None), []
    for name in drawn(every_page.TOLD, 1 / 3):
        show(page, every_page.told(name))
        found += [f"{name}: {what}" for what in issues(page)]
    assert not found, "\n".join(found)


@pytest.mark.sweep(1 / 3)
@pytest.mark.parametrize(
    ("part", "name", "form"),
    [
        (None, "log_in", "main form"),
        ("teacher", "drill_new", "main form"),
        ("teacher", "drill_import", "main form"),
        ("teacher", "drill_reading", "main form"),
        ("teacher", "people", "form[action*='invite']"),
    ],
)
def test_no_refused_form_has_a_serious_issue(cast, world, opened, part, name, form):
    page = opened(cast.people().get(part))
    page.goto(reverse(name, kwargs=world.get(name, {})))
    with page.expect_navigation():
        page.evaluate("(form) => document.querySelector(form).submit()", form)
    expect(page.locator("main .error, main [role='alert']").first).to_be_visible()
    assert issues(page) == []


def test_no_serious_issue_in_what_opens_on_the_desk(cast, opened):
    clip = heard_clip(cast.enrolment)
    page = opened(cast.teacher, viewport=DESK)
    page.goto(f"/clips/{clip.pk}/")
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    page.evaluate(AXE)
    for key in ("?", "Escape", "n", "e", "Escape", "c", "Escape", "v", "a"):
        page.keyboard.press(key)
        for theme in ("light", "dark"):
            page.emulate_media(color_scheme=theme, reduced_motion="reduce")
            assert judged(page, f"{key}, {theme}", COLOURS if theme == "dark" else EVERY_RULE) == []


SCROLLS = """
  window.scrolls = [];
  Element.prototype.scrollIntoView = function ({ behavior }) { window.scrolls.push(behavior); };
"""


@pytest.mark.parametrize(("motion", "smooth"), [("reduce", False), ("no-preference", True)])
def test_the_ledger_scrolls_smoothly_only_where_motion_is_welcome(cast, opened, motion, smooth):
    clip = heard_clip(cast.enrolment)
    page = opened(cast.teacher, viewport=DESK, reduced_motion=motion)
    page.add_init_script(SCROLLS)
    page.goto(f"/clips/{clip.pk}/")
    expect(page.locator("clip-desk")).to_have_attribute("data-ready", "")
    page.keyboard.press("n")
    page.keyboard.press("n")
    scrolls = page.evaluate("window.scrolls")
    assert scrolls
    assert ("smooth" in scrolls) is smooth


def test_what_is_wrong_is_found(opened):
    page = opened(None, reduced_motion="no-preference")
    page.goto(reverse("log_in"))
    assert any(what.startswith("transition") for what in page.evaluate(MOTION))
    pale = '<body bgcolor="#ffffff"><main><font color="#cccccc">Pale</font><button></button></main>'
    show(page, f"<!DOCTYPE html><html lang='en'><title>Wrong</title>{pale}</html>")
    found = "\n".join(issues(page))
    assert "phone, light: color-contrast: font" in found
    assert "phone, dark: color-contrast: font" in found
    assert "phone, light: button-name: button" in found


LOW = """<style>
  .tabs { position: fixed; inset: auto 0 0; height: 5rem; background: white; }
  a, button { outline: none !important; } .far { display: block; width: 900px; }
  .tight { display: inline-block; width: 10px; height: 10px; font-size: 6px; }
</style>"""
AMISS = """<main><h1>Wrong</h1><h3>After h1</h3><a href="/a">More</a> <a href="/b">More</a>
  <p class="far">Wide</p><div style="height: 1500px"></div>
  <a class="tight" href="/c">c</a><a class="tight" href="/d">d</a>
  <svg class="engraved" viewBox="0 0 1000 99" width="99"><text y="50" font-size="20">4</text></svg>
  <input style="border: 0"><button type="button" style="position: fixed; bottom: 0">Under</button>
  </main><nav class="tabs">Bar</nav>"""


def test_what_is_wrong_with_a_layout_is_found(opened):
    page = opened(None)
    show(page, f"<!DOCTYPE html><html lang='en'><title>Wrong</title>{LOW}{AMISS}</html>")
    page.evaluate(AXE)
    found = "\n".join(measured.layout(page))
    for what in ("sticking: the page is", "small: a.tight", "has the focus under nav.tabs"):
        assert f"320 px: {what}" in found or what in found
    for what in (
        "names: link “More” leads 2 ways",
        "outline: h3 “After h1” follows h1",
        "shows no focus",
        "engraved: engraved",
        "has an edge that is hard to see",
    ):
        assert what in found, found
