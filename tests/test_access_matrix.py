"""Every address × GET and POST × everyone: who gets in, and that nobody else does.

The table is in :mod:`tests.addresses`. What is not one's own is always the same 404, so that nobody
learns what exists.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from http.cookies import SimpleCookie
from unittest import mock

import pytest
from django.conf import settings as django_settings
from django.db import connections, transaction
from django.test import Client, override_settings
from django.urls import reverse

from studio.clips.models import Listening
from tests.addresses import (
    EVERYONE,
    LOGGED_IN,
    MAIL,
    NOT_LOGGED_IN,
    STUDIO_TEACHERS,
    TABLE,
    furnished,
    patterns,
)
from tests.cast import Cast, as_person, make_cast
from tests.forms import FORMS

NOT_ALLOWED = 405
OPEN = {"log_in", "log_out", "health", "ready", "metrics", "erasure"}  # without a log-in
OPEN |= {"manifest", "worker", "offline", "offline_files", "script_words"}
OPEN |= {"letters_off", "letters_on", "calendar_feed"}  # a mail program's, and a calendar's


def test_every_address_is_in_the_table():
    assert set(patterns()) == set(TABLE)


def test_every_address_that_takes_a_post_is_tried_in_a_browser():
    """With input that it takes and with input that it refuses: tests/browser/test_every_form.py."""
    assert {name for name, (_, may_post, _) in TABLE.items() if may_post} == set(FORMS)
    assert not [name for name, forms in FORMS.items() if not forms]
    assert not [name for name, forms in FORMS.items() for form in forms if not form.is_refused]


@dataclass(frozen=True)
class Everyone:
    """A studio with something at every address, and the cookies of all who are logged in."""

    cast: Cast
    world: dict[str, dict]
    cookies: dict[str, SimpleCookie]

    def browser_of(self, part: str) -> Client:
        browser = Client()
        browser.cookies.load({name: one.value for name, one in self.cookies[part].items()})
        return browser


@pytest.fixture(scope="module")
def everyone(django_db_setup, django_db_blocker, tmp_path_factory) -> Iterator[Everyone]:
    """Made once: each try is undone, and in the end all of it."""
    folder = tmp_path_factory.mktemp("media")
    with (
        django_db_blocker.unblock(),
        override_settings(MAIL=MAIL, MEDIA_ROOT=folder),
        transaction.atomic(),
        # Each test closes it at its end, which would end the transaction round them all.
        mock.patch.object(connections["default"], "close"),
    ):
        cast = make_cast()
        people = {"anonymous": None} | cast.people()
        assert set(people) == EVERYONE
        # Before the rest: to log in makes links for a new password void.
        cookies = {part: as_person(who).cookies for part, who in people.items()}
        yield Everyone(cast, furnished(cast, folder), cookies)
        transaction.set_rollback(True)


@pytest.mark.django_db
@pytest.mark.parametrize("name", TABLE)
def test_reading(everyone, name):
    check(everyone, "GET", name)


@pytest.mark.django_db
@pytest.mark.parametrize("name", TABLE)
def test_writing(everyone, name):
    check(everyone, "POST", name)


def check(everyone: Everyone, method: str, name: str) -> None:
    """What each person gets is what the table says; no person's try changes the next one's."""
    may, posted = TABLE[name][method == "POST"], TABLE[name][2]
    address = reverse(name, kwargs=everyone.world.get(name, {}))
    got = {
        part: outcome(everyone.browser_of(part), method, address, posted)
        for part in everyone.cookies
    }
    assert got == {part: expected(part, may, name) for part in everyone.cookies}


def outcome(client: Client, method: str, address: str, posted: dict) -> str:
    with transaction.atomic():
        answer = (
            client.generic(method, address) if method == "GET" else client.post(address, posted)
        )
        transaction.set_rollback(True)
    if answer.status_code == 302 and answer.url.startswith(f"{django_settings.LOGIN_URL}?next="):
        return "log in"
    if answer.status_code == 401:  # said to a script, which cannot go to a page and log in
        return "log in"
    lets_its_origin_be_known(answer)
    if answer.status_code in (404, NOT_ALLOWED):
        return str(answer.status_code)
    assert answer.status_code < 500
    assert answer.status_code != 403
    return "in"


def lets_its_origin_be_known(answer) -> None:
    """A browser posts from a page of this policy with ``Origin: null``, which is refused.

    Every page is one to post from: it holds a form, or a form's answer, or the way to log out.
    """
    if answer.get("Content-Type", "").startswith("text/html") and answer.content:
        assert answer["Referrer-Policy"] != "no-referrer"


def expected(part: str, may: set | None, name: str) -> str:
    if may is not None and part in may:
        return "in"
    if part in NOT_LOGGED_IN and name not in OPEN:
        return "log in"
    return str(NOT_ALLOWED) if may is None else "404"


@pytest.mark.django_db
def test_what_is_heard_and_decided_is_reached_only_through_the_own_studio(everyone):
    """A mark's address with a real listening, so that a foreign 404 is not one of no mark."""
    where = everyone.world["desk_decide"]
    Listening.objects.create(
        clip_id=where["clip_id"], engine="0", options={}, input_sha256="", measurement={}
    )
    address = reverse("desk_decide", kwargs=where)
    for part in LOGGED_IN - STUDIO_TEACHERS:
        answer = everyone.browser_of(part).post(address, {"choice": "kept"})
        assert answer.status_code == 404
