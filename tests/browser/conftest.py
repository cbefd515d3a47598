"""One real browser for each module that asks for it."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.browser.web import real_passwords, web, windows  # noqa: F401  # fixtures

CHROMIUM = "/usr/bin/chromium"
OPTIONS = ["--no-sandbox", "--disable-gpu", "--autoplay-policy=no-user-gesture-required"]


@pytest.fixture(scope="module")
def chromium(django_db_setup) -> Iterator[Browser]:
    """Playwright's synchronous interface keeps an event loop in this thread while it is open.

    Django would refuse to touch the database beside a running loop; here nothing else runs in
    it, so tests may read rows between the browser's steps. The database is made before.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=OPTIONS)
            yield browser
            browser.close()
