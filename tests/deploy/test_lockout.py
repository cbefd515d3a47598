"""Wrong passwords: longer and longer waits per account and per address, never for ever."""

from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.test import RequestFactory
from django.utils import timezone

from studio.accounts.lockout import ADDRESS_LIMIT, PAIR_LIMIT, address_of
from studio.accounts.throttling import wait_after

PASSWORD = "four strings and a bow"
LOG_IN = "/log-in/"


@pytest.fixture
def teacher(db):
    return get_user_model().objects.create_user("t@studio.example", PASSWORD, name="T")


@pytest.fixture
def clock(monkeypatch):
    """Moves the time that log-in attempts are judged by."""
    real, moved = timezone.now, {"by": timedelta(0)}
    monkeypatch.setattr(timezone, "now", lambda: real() + moved["by"])
    monkeypatch.setattr("axes.handlers.proxy.now", timezone.now)
    return moved


def log_in(client, password: str, email: str = "t@studio.example", address: str = "192.0.2.7"):
    form = {"username": email, "password": password}
    return client.post(LOG_IN, form, REMOTE_ADDR=address)


def logged_in(response) -> bool:
    return response.status_code == 302


def test_right_password_is_refused_while_waiting_and_works_after(client, teacher, clock):
    for _ in range(PAIR_LIMIT):
        assert not logged_in(log_in(client, "wrong"))
    assert log_in(client, PASSWORD).status_code == 429
    clock["by"] = timedelta(seconds=61)
    assert logged_in(log_in(client, PASSWORD))


def test_wait_doubles_with_the_next_failure(client, teacher, clock):
    for _ in range(PAIR_LIMIT):
        log_in(client, "wrong")
    clock["by"] = timedelta(seconds=61)
    log_in(client, "wrong")
    clock["by"] = timedelta(seconds=61 + 110)
    assert log_in(client, PASSWORD).status_code == 429
    clock["by"] = timedelta(seconds=61 + 121)
    assert logged_in(log_in(client, PASSWORD))


def test_other_people_and_other_addresses_do_not_wait(client, teacher):
    get_user_model().objects.create_user("p@studio.example", PASSWORD, name="P")
    for _ in range(PAIR_LIMIT):
        log_in(client, "wrong")
    assert logged_in(log_in(client, PASSWORD, email="p@studio.example"))
    client.logout()
    assert logged_in(log_in(client, PASSWORD, address="192.0.2.8"))


def test_one_address_trying_many_accounts_waits(client, teacher):
    for number in range(ADDRESS_LIMIT):
        log_in(client, "wrong", email=f"nobody{number}@studio.example")
    assert log_in(client, PASSWORD).status_code == 429
    assert logged_in(log_in(client, PASSWORD, address="192.0.2.8"))


def test_known_and_unknown_addresses_are_answered_alike(client, teacher):
    known = log_in(client, "wrong")
    unknown = log_in(client, "wrong", email="u@studio.example")
    assert known.status_code == unknown.status_code
    assert len(known.content) == len(unknown.content)


def test_waits_are_a_minute_doubled_up_to_an_hour():
    minutes = [wait_after(failures, 5).total_seconds() / 60 for failures in range(4, 14)]
    assert minutes == [0, 1, 2, 4, 8, 16, 32, 60, 60, 60]


@pytest.mark.parametrize(
    ("proxy", "forwarded", "address"),
    [
        (False, "203.0.113.9", "192.0.2.1"),
        (True, "203.0.113.9", "203.0.113.9"),
        (True, "1.1.1.1, 203.0.113.9", "203.0.113.9"),
        (True, "", "192.0.2.1"),
    ],
)
def test_forwarded_address_counts_only_behind_our_proxy(settings, proxy, forwarded, address):
    settings.PROXY = proxy
    request = RequestFactory().get(
        "/", REMOTE_ADDR="192.0.2.1", headers={"X-Forwarded-For": forwarded}
    )
    assert address_of(request) == address
