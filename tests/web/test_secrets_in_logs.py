"""What opens a door is in no log: not the program's, not gunicorn's, not nginx's."""

import re

import pytest
from django.urls import reverse

from studio.accounts.invitations import invite
from studio.accounts.passwords import make_link
from studio.log_lines import without_secrets
from tests.addresses import patterns
from tests.web import slow_lines
from tests.web.doors import doors  # noqa: F401

pytestmark = pytest.mark.django_db(transaction=True)

SECRET = "c2VjcmV0LW9mLWEtZG9vci1oZXJl"


def test_every_address_that_opens_a_door_is_known_to_the_log():
    """By the names that addresses give to what is secret in them."""
    found = 0
    for name, pattern in patterns().items():
        secrets = [key for key in pattern.pattern.converters if key in ("secret", "token")]
        if secrets:
            kwargs = dict.fromkeys(pattern.pattern.converters, SECRET)
            said = without_secrets(f"Not Found: {reverse(name, kwargs=kwargs)}?a=1 (404)")
            assert SECRET not in said, name
            assert said.endswith("(404)")
            found += 1
    assert found >= 4
    assert without_secrets("/new-password/code/ 403") == "/new-password/code/ 403"


def test_no_secret_is_in_any_log(doors, cast):  # noqa: F811
    _, invited = invite(cast.studio, "pupil", "N", "n@n.example", by=cast.teacher)
    _, lost = make_link(cast.pupil, by=cast.teacher)
    secrets = [invited, lost, SECRET]
    addresses = [
        f"/invitation/{invited}/",
        f"/new-password/link/{lost}/",
        f"/invitation/{SECRET}/",
        f"/%69nvitation/{SECRET}/",
        f"//invitation//{SECRET}/",
        f"/new-password/MQ/{SECRET}/",
        f"/account/address/{SECRET}/",
    ]
    body = "name=N&password=short&again=other"
    for door in ("program", "nginx"):
        for path in addresses:
            for method, kind in (("GET", ""), ("POST", "application/x-www-form-urlencoded")):
                _asked(
                    doors.open(door),
                    slow_lines.head(
                        method, path, Content_Type=kind, Content_Length=len(body) if kind else 0
                    ),
                    body if kind else "",
                )
        # What no server can read, and what is refused for its token.
        _asked(doors.open(door), f"GET /invitation/{SECRET} HTTP/9.9\r\n\r\n".encode(), "")
        _asked(doors.open(door), f"GET /invitation/{SECRET}\x01 HTTP/1.1\r\n\r\n".encode(), "")
    doors.studio.stop()
    _asked(doors.open("nginx"), slow_lines.head("GET", f"/invitation/{invited}/"), "")
    logs = {
        "program": doors.studio.log,
        "nginx, access": doors.nginx.access_log.read_text(),
        "nginx, errors": (doors.nginx.folder / "log").read_text(),
    }
    assert "/invitation/***" in logs["program"]
    assert "/invitation/***" in logs["nginx, access"]
    assert re.search(r"POST /+invitation/\*\*\*", logs["nginx, access"])
    shown = [(log, line) for log, text in logs.items() for line in text.splitlines()]
    assert [(log, line) for log, line in shown if any(s in line for s in secrets)] == []


def _asked(opened: slow_lines.Open, head: bytes, body: str) -> bytes:
    with opened() as line:
        line.sendall(head + body.encode())
        line.settimeout(20)
        try:
            return line.recv(4096)
        except (TimeoutError, ConnectionError):
            return b""
