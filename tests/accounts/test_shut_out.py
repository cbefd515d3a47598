"""Nobody shuts anybody out: known browsers, tries at the same moment, and what lifts a wait."""

import http.client
import os
import re
import threading
from collections.abc import Callable
from urllib.parse import urlencode

import pytest
from django.contrib.auth import hashers
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.core import mail as outbox
from django.core.management import call_command
from django.db import connection, connections
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from studio.accounts import letters, passwords, tasks, throttling
from studio.accounts.lockout import ACCOUNT_LIMIT, ADDRESS_LIMIT, PAIR_LIMIT
from studio.accounts.models import Person, TryCount
from tests.cast import PASSWORD
from tests.deploy.processes import free_port
from tests.web_process import Web

NEW = "open strings ring"
TOKEN = "t" * 32


@pytest.fixture
def teacher(cast) -> Person:
    return cast.teacher


def log_in(client: Client, password: str, email: str, address: str = "192.0.2.7"):
    said = {"username": email, "password": password}
    return client.post("/log-in/", said, REMOTE_ADDR=address)


def strangers_try(email: str, times: int = ACCOUNT_LIMIT) -> None:
    """Wrong passwords from four addresses, none of which may try alone so often."""
    for number in range(times):
        log_in(Client(), "wrong", email, f"198.51.100.{number % 4}")


def known(email: str, password: str = PASSWORD) -> Client:
    """A browser in which the account's owner has logged in, and out again."""
    client = Client()
    assert log_in(client, password, email).status_code == 302
    client.post("/log-out/")
    return client


# -- a browser that is known ---------------------------------------------------------------


def test_strangers_do_not_shut_a_teacher_out_of_her_own_browser(teacher):
    browser = known(teacher.email)
    strangers_try(teacher.email)
    assert log_in(Client(), PASSWORD, teacher.email).status_code == 429, "a new browser waits"
    assert log_in(browser, PASSWORD, teacher.email).status_code == 302


def test_nor_does_a_whole_school_behind_one_address(teacher):
    browser = known(teacher.email)
    for number in range(ADDRESS_LIMIT):
        log_in(Client(), "wrong", f"nobody{number}@studio.example")
    assert log_in(Client(), PASSWORD, teacher.email).status_code == 429
    assert log_in(browser, PASSWORD, teacher.email).status_code == 302


def test_a_known_browser_waits_for_its_own_wrong_tries(teacher):
    browser = known(teacher.email)
    answers = [log_in(browser, "wrong", teacher.email).status_code for _ in range(PAIR_LIMIT + 1)]
    assert answers == [200] * (PAIR_LIMIT - 1) + [429] * 2
    assert log_in(browser, PASSWORD, teacher.email).status_code == 429
    assert log_in(Client(), PASSWORD, teacher.email).status_code == 302, "and nobody else does"


def test_it_is_known_for_those_alone_who_logged_in_there(cast, teacher):
    browser = known(cast.pupil.email)
    strangers_try(teacher.email)
    assert log_in(browser, PASSWORD, teacher.email).status_code == 429
    both = known(cast.guardian.email)
    assert log_in(both, PASSWORD, cast.pupil.email).status_code == 302
    strangers_try(cast.guardian.email)
    both.post("/log-out/")
    assert log_in(both, PASSWORD, cast.guardian.email).status_code == 302


def test_the_mark_of_a_browser_opens_nothing_and_cannot_be_made_up(teacher):
    browser = known(teacher.email)
    cookie = browser.cookies["device"]
    assert (cookie["httponly"], cookie["samesite"], cookie["path"]) == (True, "Lax", "/")
    assert cookie["max-age"] >= 365 * 24 * 60 * 60
    assert browser.get("/waiting/").status_code == 302, "a log-in is asked for"
    assert log_in(browser, "wrong", teacher.email).status_code == 200
    strangers_try(teacher.email)
    head, _, tail = cookie.value.partition(":")
    for value in ("", "x", f"{head}x:{tail}", cookie.value[:-1]):
        forged = Client()
        forged.cookies["device"] = value
        assert log_in(forged, PASSWORD, teacher.email).status_code == 429


def test_over_https_only_this_host_can_set_it(settings, teacher):
    settings.HTTPS, settings.DEVICE_COOKIE_NAME = True, "__Host-device"
    client = Client()
    log_in(client, PASSWORD, teacher.email)
    cookie = client.cookies["__Host-device"]
    assert (bool(cookie["secure"]), cookie["domain"], cookie["path"]) == (True, "", "/")


# -- what lifts a wait ---------------------------------------------------------------------


def test_a_letters_link_lets_its_reader_in_while_strangers_go_on(teacher, settings, monkeypatch):
    settings.MAIL, settings.DEFAULT_FROM_EMAIL = {"EMAIL_HOST": "mail.example"}, "s@s.example"
    monkeypatch.setattr(letters, "_wake", lambda: None)
    strangers_try(teacher.email)
    browser = Client()
    browser.post("/new-password/", {"email": teacher.email})
    tasks.send_letters()
    link = re.search(r"http://testserver(/\S+)", outbox.outbox[0].body)[1]
    form = browser.get(link).url
    browser.post(form, {"new_password1": NEW, "new_password2": NEW})
    assert log_in(Client(), NEW, teacher.email, "203.0.113.1").status_code == 302, "lifted"
    strangers_try(teacher.email, 2 * ACCOUNT_LIMIT)
    assert log_in(Client(), NEW, teacher.email, "203.0.113.2").status_code == 429
    assert log_in(browser, NEW, teacher.email).status_code == 302


@pytest.mark.parametrize("way", ["code", "link"])
def test_a_code_and_the_operators_link_do_too(teacher, way):
    strangers_try(teacher.email)
    browser, twice = Client(), {"password": NEW, "again": NEW}
    if way == "code":
        code = passwords.make_codes(teacher)[0]
        said = {"email": teacher.email, "code": code} | twice
        assert browser.post("/new-password/code/", said).status_code == 302
    else:
        _, secret = passwords.make_link(teacher)
        assert browser.post(f"/new-password/link/{secret}/", twice).status_code == 302
    strangers_try(teacher.email)
    assert log_in(browser, NEW, teacher.email).status_code == 302


def test_nobody_uses_up_the_tries_at_a_recovery_code_from_afar(teacher):
    code = passwords.make_codes(teacher)[0]
    said = {"email": teacher.email, "password": NEW, "again": NEW}
    for number in range(ACCOUNT_LIMIT):
        wrong = said | {"code": "0" * 16}
        Client().post("/new-password/code/", wrong, REMOTE_ADDR=f"198.51.100.{number % 4}")
    answer = Client().post("/new-password/code/", said | {"code": code}, REMOTE_ADDR="192.0.2.9")
    assert answer.status_code == 302


# -- nobody learns who has an account ------------------------------------------------------


def asked(email: str, address: str):
    """The page for a wrong password, without its token, and how many queries it took."""
    with CaptureQueriesContext(connection) as queries:
        page = log_in(Client(), "wrong", email, address)
    return page.status_code, re.sub(r"[A-Za-z0-9]{64}", "", page.text), len(queries)


def test_known_and_unknown_addresses_are_answered_alike_with_as_many_queries(teacher):
    unknown = f"x{teacher.email[1:]}"  # as long, so that the page has the same length
    answers = {email: [asked(email, "192.0.2.1")] for email in (teacher.email, unknown)}
    for email, seen in answers.items():
        strangers_try(email, ACCOUNT_LIMIT - 1)
        seen.append(asked(email, "192.0.2.2"))
    assert [status for status, *_ in answers[unknown]] == [200, 429]
    assert answers[teacher.email] == [
        (status, page.replace(unknown, teacher.email), queries)
        for status, page, queries in answers[unknown]
    ]


def test_a_password_is_hashed_for_an_unknown_address_too(teacher, monkeypatch):
    """What takes the time is done for both: Django's hasher, once."""
    hasher, hashed = type(hashers.get_hasher()), []
    real = hasher.encode
    monkeypatch.setattr(hasher, "encode", lambda self, *said: hashed.append(1) or real(self, *said))
    for email in (teacher.email, "nobody@nowhere.example"):
        hashed.clear()
        log_in(Client(), "wrong", email)
        assert len(hashed) == 1


def test_no_address_and_no_password_is_kept_of_wrong_tries(teacher):
    log_in(Client(), "a secret", "my-password-typed-here@studio.example")
    kept = str(list(TryCount.objects.values()))
    assert "my-password" not in kept
    assert "192.0.2.7" not in kept


def test_what_no_longer_counts_is_removed(teacher, monkeypatch):
    log_in(Client(), "wrong", teacher.email)
    assert TryCount.objects.count() == 3
    later = timezone.now() + timezone.timedelta(days=1, minutes=1)
    monkeypatch.setattr(timezone, "now", lambda: later)
    assert throttling.forget_old() == 3


# -- at the same moment --------------------------------------------------------------------


def at_once(*presses: Callable[[], object]) -> list:
    """What each gives, each in a thread with a connection of its own, begun together."""
    given, together = [None] * len(presses), threading.Barrier(len(presses))

    def press(number: int) -> None:
        try:
            together.wait()
            given[number] = presses[number]()
        finally:
            connections.close_all()

    threads = [threading.Thread(target=press, args=(n,)) for n in range(len(presses))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)
    return given


def guess(email: str, address: str, times: int) -> list[int]:
    """The answers to so many wrong passwords, all sent before the first is answered."""
    one = lambda: log_in(Client(), "wrong", email, address).status_code  # noqa: E731
    return at_once(*[one] * times)


def test_of_many_guesses_at_once_no_more_are_looked_at_than_one_by_one(
    either_database, monkeypatch
):
    call_command("migrate", interactive=False, verbosity=0)
    Person.objects.create_user("t@studio.example", PASSWORD, name="T")
    looked_at: list[str] = []
    looks = Person.check_password
    monkeypatch.setattr(
        Person, "check_password", lambda person, said: looked_at.append(said) or looks(person, said)
    )
    answers = guess("t@studio.example", "192.0.2.7", 4 * PAIR_LIMIT)
    assert len(looked_at) == PAIR_LIMIT
    assert answers.count(429) >= 3 * PAIR_LIMIT
    assert set(answers) <= {200, 429}
    pair = TryCount.objects.get(failures=PAIR_LIMIT, key=PAIR.key)
    assert throttling.must_wait([PAIR]), pair


def test_so_it_is_for_two_web_processes(either_database, tmp_path):
    """Real requests, real passwords, and eight threads in each of two processes."""
    call_command("migrate", interactive=False, verbosity=0)
    person = Person.objects.create(email="t@studio.example", name="T")
    person.password = Argon2PasswordHasher().encode(PASSWORD, "a-salt-of-sixteen")
    person.save()
    connection.close()
    web = Web(free_port(), tmp_path)
    said = urlencode({"username": person.email, "password": "wrong"})
    headers = {
        "Cookie": f"csrf={TOKEN}",
        "X-CSRFToken": TOKEN,
        "Content-Type": "application/x-www-form-urlencoded",
    }

    def guess_over_the_line() -> int:
        line = http.client.HTTPConnection("127.0.0.1", web.port, timeout=120)
        line.request("POST", "/log-in/", said, headers)
        return line.getresponse().status

    where = {"DATABASE_URL": os.environ["DATABASE_URL"], "DEBUG": "1"}  # files by their plain names
    with web.started(**where, WEB_PROCESSES="2", WEB_THREADS="8"):
        answers = at_once(*[guess_over_the_line] * (4 * PAIR_LIMIT))
    assert set(answers) <= {200, 429}
    assert answers.count(200) < PAIR_LIMIT, "the last that is looked at is told to wait"
    local = throttling.Count(("pair", person.email, "127.0.0.1"), PAIR_LIMIT)
    assert TryCount.objects.get(key=local.key).failures == PAIR_LIMIT


PAIR = throttling.Count(("pair", "t@studio.example", "192.0.2.7"), PAIR_LIMIT)
