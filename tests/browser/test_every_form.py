"""Every form of the studio in a real browser: once with what it takes, once with what it refuses.

The forms are those of tests/forms, which the access matrix holds complete. What is refused says so,
is no fault of ours (nothing from 500 on, no exception in a script), and loses nothing that was
typed. One server and one set of rows are for all; the rows are put back before each try.
"""

import re
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.db import connection
from django.test import override_settings
from django.urls import resolve, reverse
from playwright.sync_api import Browser, Locator, Page, expect
from pytest_django.live_server_helper import LiveServer

from studio.clips import services
from tests import addresses as matrix
from tests.browser.watched import WAIT_MS, Watched
from tests.cast import as_person, make_cast
from tests.deploy.processes import until
from tests.forms import FORMS
from tests.forms.form import LOG_IN, Form
from tests.forms.rows import Rows, furnish

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

DESK = {"width": 1440, "height": 900}
OURS_FROM = 500
NEVER_SHOWN_AGAIN = ("password", "file", "hidden")
MAIL = {"EMAIL_HOST": "mail.example"}


class Database:
    """The rows as they were at one moment, to be put back."""

    def __init__(self) -> None:
        connection.ensure_connection()
        self._kept = sqlite3.connect(":memory:")
        connection.connection.backup(self._kept)

    def put_back(self) -> None:
        connection.ensure_connection()
        self._kept.backup(connection.connection)


@dataclass(frozen=True)
class Studio:
    """A server with rows to press and to change, and everybody's browser."""

    url: str
    rows: Rows
    sessions: dict[str, str]  # cookies of those who are logged in
    browsers: dict[tuple[str, bool], Watched]
    chromium: Browser
    database: Database
    media: Path
    kept_media: Path  # as it was at first

    def page_of(self, form: Form) -> Page:
        """A page of the person whose form it is, in a browser that keeps nothing from before."""
        key = (form.who, form.scripts)
        if key not in self.browsers:
            device = {"base_url": self.url, "viewport": DESK, "java_script_enabled": form.scripts}
            device |= {"reduced_motion": "reduce"}  # each picture of a movement would be drawn
            self.browsers[key] = Watched(self.chromium, wrong_from=OURS_FROM, **device)
        browser = self.browsers[key]
        browser.forget(self.url, self.sessions.get(form.who))
        return browser.page

    def put_back(self) -> None:
        """Put rows and files back; no page of the form before asks on for what it had made."""
        for browser in self.browsers.values():
            browser.page.goto("about:blank")
        self.database.put_back()
        shutil.copytree(self.kept_media, self.media, dirs_exist_ok=True)

    def troubles(self) -> list[str]:
        found = [what for browser in self.browsers.values() for what in browser.troubles]
        for browser in self.browsers.values():
            browser.troubles.clear()
        return found


@pytest.fixture(scope="module")
def studio(chromium, django_db_blocker, tmp_path_factory) -> Iterator[Studio]:
    folder = tmp_path_factory.mktemp("media")
    with (
        pytest.MonkeyPatch.context() as patch,
        override_settings(MAIL=MAIL, MEDIA_ROOT=folder),
        django_db_blocker.unblock(),
    ):
        patch.setattr(services, "dispatch", lambda pk, kind: True)
        empty = Database()
        try:
            cast = make_cast()
            sessions = {
                part: as_person(person).cookies["session"].value
                for part, person in cast.people().items()
            }
            # Later than logging in, which makes links for a new password void.
            rows = furnish(cast, matrix.furnished(cast, folder))
            server = LiveServer("localhost")
            kept = tmp_path_factory.mktemp("kept") / "media"
            shutil.copytree(folder, kept)
            made = Studio(server.url, rows, sessions, {}, chromium, Database(), folder, kept)
            yield made
            for browser in made.browsers.values():
                browser.close()
            server.stop()
        finally:
            empty.put_back()


CASES = [
    pytest.param(name, form, id=f"{name}-{number}" if number else name)
    for name, forms in FORMS.items()
    for number, form in enumerate(forms)
]


@pytest.mark.sweep(1 / 6)
@pytest.mark.parametrize(("name", "form"), CASES)
def test_it_takes_what_is_right_and_refuses_the_rest(studio, name, form):
    studio.put_back()
    trial = Trial(studio, name, form)
    trial.open()
    trial.refuse()
    if form.meanwhile or form.bad_by_script:
        studio.put_back()
        trial.open()
    trial.take()
    assert studio.troubles() == []


class Trial:
    """One form on its page."""

    def __init__(self, studio: Studio, name: str, form: Form) -> None:
        self._studio, self._name, self._form = studio, name, form
        self._page: Page | None = None

    @property
    def _address(self) -> str:
        form, rows = self._form, self._studio.rows
        return reverse(
            self._name, kwargs=self._arguments(self._name) if not form.args else form.args(rows)
        )

    def _arguments(self, name: str) -> dict:
        return self._studio.rows.args.get(name, {})

    def open(self) -> None:
        """Go to the page, unfold everything, and fill the form in."""
        at, _, query = self._form.at.partition("?")
        own = self._form.args(self._studio.rows) if self._form.args else {}
        where = reverse(at, kwargs=own if at == self._name and own else self._arguments(at))
        self._page = self._studio.page_of(self._form)
        self._page.goto(f"{where}?{query}" if query else where)
        self._unfold()
        if self._form.before:
            self._form.before(self._page)
            self._unfold()
        self._fill(self._form.good)

    def refuse(self) -> None:
        form = self._form
        if form.meanwhile:
            form.meanwhile(self._studio.rows)
        if not form.bad_by_script:
            self._fill(form.bad, forge=bool(form.status))
        if form.status:
            status = self._press(form.bad_by_script or form.by_script)
            assert status == form.status
        else:
            self._button().click()
        if form.wrong == LOG_IN:
            expect(self._page).to_have_url(re.compile("/log-in/"), timeout=WAIT_MS)
        wrong = self._page.locator(form.wrong).filter(visible=True).first
        expect(wrong).to_be_visible(timeout=WAIT_MS)
        assert wrong.evaluate(SAYS).strip()
        if not form.meanwhile or form.status in (409, 422):
            self._expect_typed({**form.good, **form.bad})

    def take(self) -> None:
        form = self._form
        self._unfold()
        self._fill(form.good)
        assert self._press(form.by_script) < 400
        expect(self._page.locator(form.seen).filter(visible=True).first).to_be_visible(
            timeout=WAIT_MS
        )

    # -- the form ------------------------------------------------------------------------------

    @property
    def _here(self) -> Locator:
        """The form: the one that posts to the address, else the page's own."""
        which, address = self._form.which, self._address
        if which and not which.startswith((":", ".")):
            return self._page.locator(which).first
        by_address = self._page.locator(
            f"form[action='{address}']{which}, form[action^='{address}?']{which}"
        )
        if by_address.count():
            return by_address.first
        return self._page.locator(f"main form[method=post]:not([action]){which}").first

    def _unfold(self) -> None:
        self._page.locator("details:not([open])").evaluate_all(
            "all => all.forEach((one) => { one.open = true; })"
        )

    def _field(self, name: str) -> Locator:
        return self._here.locator(name if name.startswith("[") else f"[name='{name}']")

    def _fill(self, typed, *, forge: bool = False) -> None:
        if typed and forge:
            self._here.evaluate("form => { form.noValidate = true; }")
        for name, value in typed.items():
            _fill(self._field(name), self._value(value))

    def _value(self, value):
        return value(self._studio.rows) if callable(value) else value

    def _press(self, by_script) -> int:
        """Send it; the status of the answer to the post."""
        page = self._page
        with page.expect_response(self._answers) as answer:
            if by_script:
                by_script(page)
            else:
                self._button().click()
        return answer.value.status

    def _answers(self, response) -> bool:
        if response.request.method != "POST":
            return False
        return resolve(urlsplit(response.url).path).url_name == self._name

    def _button(self) -> Locator:
        button = self._form.button or "button[type=submit]"
        # Some stand elsewhere and name their form.
        return (
            (self._page if "form=" in button else self._here)
            .locator(button)
            .filter(visible=True)
            .first
        )

    def _expect_typed(self, typed) -> None:
        for name, value in typed.items():
            field = self._field(name)
            if isinstance(value, bool):
                continue
            kind = field.first.get_attribute("type")
            if kind in NEVER_SHOWN_AGAIN:
                continue
            if kind == "radio":
                field = field.and_(self._page.locator(":checked"))
            self._expect_shown(field.first, name, self._value(value))

    def _expect_shown(self, field: Locator, name: str, value: str) -> None:
        """A form that is cleared when it is sent is filled again when it is refused."""
        until(lambda: value in field.evaluate(SHOWN), WAIT_MS / 1000, f"{name} is {value!r}")


# What is wrong, in words: the page's, or the browser's own for a field.
SAYS = "one => one.validationMessage || one.innerText"
# What a field shows: its value, or what stands beside it in a list of choices.
SHOWN = "field => [field.value, field.selectedOptions?.[0]?.label.trim()]"


def _fill(field: Locator, value: str | bool) -> None:
    first = field.first
    if isinstance(value, bool):
        for box in [first] if value else field.all():
            box.set_checked(value)
        return
    match first.evaluate("field => field.type"):
        case "hidden":
            first.evaluate("(field, value) => { field.value = value; }", value)
        case "file":
            first.set_input_files(value or [])
        case "radio":
            choice = field.and_(field.page.locator(f"[value='{value}']"))
            label = choice.locator("xpath=ancestor::label")  # what a person presses
            (label if label.count() else choice).click()
        case "select-one":
            offered = first.evaluate("field => [...field.options].map(({ value }) => value)")
            first.select_option(
                value if value in offered else None, label=None if value in offered else value
            )
        case _:
            first.fill(value)
