"""One real browser for all tests of a process; what a module leaves open in it is closed."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Playwright, expect, sync_playwright

from tests.browser.web import real_passwords, shared_web, web, windows  # noqa: F401  # fixtures

# The same engine, without the windows and services of a desktop's browser round it: a third less
# work for the processor. The first day is walked in the whole browser.
SHELL, CHROMIUM = "/usr/bin/chromium-headless-shell", "/usr/bin/chromium"
# The last list of features counts, so ours begins with Playwright's own (chromiumSwitches.ts). The
# address bar's pop-ups are pages in a process of their own, made anew with every window: half of
# what a window costs, for something that is never opened here.
PLAYWRIGHTS_OWN = (
    "AvoidUnnecessaryBeforeUnloadCheckSync,DestroyProfileOnBrowserClose,HttpsUpgrades,"
    "HttpsFirstBalancedModeAutoEnable,LensOverlay,MediaRouter,PaintHolding,"
    "ThirdPartyStoragePartitioning,AvoidCorsURLLoaderRestartOnRedirect,OptimizationHints,"
    "NetworkTimeServiceQuerying,AimEnabled,PreconnectToSearch"
)
ADDRESS_BAR = "WebUIOmniboxPopup,WebUIOmniboxAimPopup,WebUIOmniboxFullPopup"
# How long something may take to be seen: four browsers on two slow cores took 15 s. What holds a
# stopwatch says its own.
PATIENCE_MS = 30_000
OPTIONS = [
    "--no-sandbox",
    "--disable-gpu",
    "--autoplay-policy=no-user-gesture-required",
    f"--disable-features={PLAYWRIGHTS_OWN},{ADDRESS_BAR}",
]


HERE = Path(__file__).parent


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown(nextitem: pytest.Item | None) -> None:
    """The web process ends before a test of another folder, which may start a studio of its own."""
    if nextitem is None or HERE not in nextitem.path.parents:
        shared_web.stop()


@pytest.fixture(scope="session")
def playwright(django_db_setup) -> Iterator[Playwright]:
    """Playwright's synchronous interface keeps an event loop in this thread while it is open.

    Django would refuse to touch the database beside a running loop; here nothing else runs in
    it, so tests may read rows between the browser's steps. The database is made before.
    """
    expect.set_options(timeout=PATIENCE_MS)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        with sync_playwright() as running:
            yield running


@pytest.fixture(scope="session")
def one_chromium(playwright: Playwright) -> Iterator[Browser]:
    browser = playwright.chromium.launch(executable_path=SHELL, args=OPTIONS)
    yield browser
    browser.close()


@pytest.fixture
def whole_chromium(playwright: Playwright) -> Iterator[Browser]:
    browser = playwright.chromium.launch(executable_path=CHROMIUM, args=OPTIONS)
    yield browser
    browser.close()


@pytest.fixture(scope="module")
def chromium(one_chromium: Browser) -> Iterator[Browser]:
    yield one_chromium
    for context in one_chromium.contexts:
        context.close()
