"""Back in a browser that puts whole pages aside, as people's do and playwright's own does not."""

import pytest
from playwright.sync_api import Page, Playwright, expect

from tests.browser.conftest import CHROMIUM, OPTIONS
from tests.cast import as_person

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

WATCH = """addEventListener("pageshow", ({ persisted }) => {
  if (persisted) console.info("put aside:", document.documentElement.hidden);
})"""


@pytest.fixture
def page(cast, web, playwright: Playwright):
    """A page of a teacher who is logged in."""
    browser = playwright.chromium.launch(
        executable_path=CHROMIUM,
        args=OPTIONS,
        ignore_default_args=["--disable-back-forward-cache"],
    )
    context = browser.new_context(base_url=web.url)
    session = as_person(cast.teacher).cookies["session"].value
    context.add_cookies([{"name": "session", "value": session, "url": web.url}])
    context.add_init_script(WATCH)
    yield context.new_page()
    browser.close()


def aside(page: Page) -> list[str]:
    said: list[str] = []
    page.on("console", lambda one: said.append(one.text) if "put aside" in one.text else None)
    return said


def keepable(page: Page) -> None:
    """The same page as if an older browser, or another server, let it be kept."""

    def relaxed(route) -> None:
        answer = route.fetch(max_redirects=0)
        headers = {k: v for k, v in answer.headers.items() if k != "cache-control"}
        route.fulfill(response=answer, headers=headers)

    page.route("**/people/", relaxed)


@pytest.mark.parametrize("rule", ["no-store", "none"])
def test_back_after_log_out_never_shows_the_old_page(page, rule):
    if rule == "none":
        keepable(page)
    said = aside(page)
    page.goto("/people/")
    page.get_by_role("button", name="Log out").click()
    page.wait_for_url("**/log-in/")
    page.go_back(wait_until="commit")
    page.get_by_role("heading", name="Log in").wait_for()
    assert "Mira" not in page.content()
    assert said in ([], ["put aside: true"]), "whatever was put aside was not to be seen"


def test_back_to_a_page_that_was_put_aside_asks_for_it_anew(cast, page):
    keepable(page)
    said = aside(page)
    page.goto("/people/")
    page.goto("/drills/")
    cast.pupil.name = "Mira Newname"
    cast.pupil.save()
    page.go_back(wait_until="commit")
    expect(page.locator("main")).to_contain_text("Mira Newname")
    assert said == ["put aside: true"], "the browser had the whole page, and it was hidden"
