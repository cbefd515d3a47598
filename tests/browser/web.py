"""A real web process for tests in a row, and a browser in which a person logs in by hand."""

import contextlib
import functools
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.contrib.auth.hashers import make_password
from playwright.sync_api import Browser, BrowserContext, Page

from studio import settings as studio_settings
from studio.accounts.models import Person
from tests.cast import PASSWORD, Cast, as_person
from tests.live import LiveStudio, live_web

PHONE = {"width": 390, "height": 844}


class SharedWeb:
    """One web process for the files that follow one another; begun at the first that asks."""

    def __init__(self) -> None:
        self._open = contextlib.ExitStack()
        self._running: LiveStudio | None = None

    def running(self, folder: Path) -> LiveStudio:
        if self._running is None:
            self._running = self._open.enter_context(live_web(folder))
        return self._running

    def stop(self) -> None:
        self._running = None
        self._open.close()


# A start takes four seconds of a core, and what answers keeps nothing between two tests but rows.
shared_web = SharedWeb()


@pytest.fixture(scope="module")
def web(django_db_setup, tmp_path_factory) -> LiveStudio:
    return shared_web.running(tmp_path_factory.mktemp("web"))


@pytest.fixture
def windows(chromium: Browser, web: LiveStudio) -> Iterator:
    """Fresh browsers, closed at the end: ``windows()`` knows nobody, ``windows.enter(person)``
    is one in which somebody is logged in already."""
    contexts: list[BrowserContext] = []

    def fresh(**options) -> BrowserContext:
        quiet = {"service_workers": "block"}  # what it keeps is asked for once, in test_offline
        options = {"viewport": PHONE, "base_url": web.url} | quiet | options
        contexts.append(chromium.new_context(**options))
        return contexts[-1]

    def enter(person: Person, **options) -> Page:
        context = fresh(**options)
        session = as_person(person).cookies["session"].value
        context.add_cookies([{"name": "session", "value": session, "url": web.url}])
        return context.new_page()

    fresh.enter = enter

    yield fresh
    for context in contexts:
        context.close()


@pytest.fixture
def real_passwords(settings, cast: Cast) -> None:
    """The studio's own way of keeping passwords, not the quick one of the tests."""
    settings.PASSWORD_HASHERS = studio_settings.PASSWORD_HASHERS
    for person in cast.people().values():
        person.password = _as_the_studio_keeps_it()
        person.save()


@functools.cache
def _as_the_studio_keeps_it() -> str:
    """Made once for everybody: it is meant to take long."""
    return make_password(PASSWORD)


def log_in(page: Page, person: Person, password: str = PASSWORD) -> None:
    """Type the address and the password on the log-in page, which is open or is opened."""
    if "/log-in/" not in page.url:
        page.goto("/log-in/")
    page.get_by_label("E-mail address").fill(person.email)
    page.get_by_label("Password", exact=True).fill(password)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(re.compile(r"^(?!.*/log-in/)"))
