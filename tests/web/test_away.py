"""While the program or its database is away: words on the page, and a line in the log."""

import logging

import pytest
from django.conf import settings
from django.db.utils import OperationalError
from django.test import Client

from studio import log_lines
from studio.log_filters import Outage
from studio.log_lines import Line
from tests.deploy.processes import free_port
from tests.servers import Nginx
from tests.web import slow_lines


def test_nginx_has_words_while_the_studio_starts(tmp_path):
    nginx = Nginx(free_port(), tmp_path)
    try:
        nginx.start()
        with slow_lines.encrypted(nginx.port)() as line:
            line.sendall(slow_lines.head("GET", "/"))
            answer = slow_lines.taken(line)
        head, _, page = answer.partition(b"\r\n\r\n")
        assert head.startswith(b"HTTP/1.1 503")
        assert b"Retry-After: 10" in head
        assert b"The studio is not ready" in page
        with slow_lines.encrypted(nginx.port)() as line:
            line.sendall(slow_lines.head("POST", "/log-in/", Content_Length=300_000_000))
            answer = slow_lines.taken(line)
        assert answer.startswith(b"HTTP/1.1 413")
        assert b"256 kB" in answer
    finally:
        nginx.remove()


class Kept(logging.Handler):
    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.lines += self.format(record).splitlines()


@pytest.fixture
def kept() -> Kept:
    return Kept()


def heard(kept: Kept, outage: Outage, error: Exception) -> None:
    """As Django logs a page that failed."""
    logger = logging.Logger("django.request")
    kept.setFormatter(Line("{message}", style="{"))
    kept.addFilter(outage.tells)
    logger.addHandler(kept)
    try:
        raise error
    except Exception as raised:
        logger.error("Service Unavailable: /", exc_info=raised)
    kept.removeFilter(outage.tells)


def test_an_outage_is_one_line_and_its_end_another(kept, monkeypatch):
    outage = Outage()
    for _ in range(100):
        heard(kept, outage, OperationalError("connection refused\n\tIs the server running?"))
    assert kept.lines == ["the database does not answer: connection refused Is the server running?"]
    said = []
    monkeypatch.setattr(
        "studio.log_filters.log.warning", lambda text, *args: said.append(text % args)
    )
    outage.over()
    outage.over()
    assert said == ["the database answers again, after 0 s; 99 more failures are not listed"]
    heard(kept, outage, OperationalError("gone"))
    assert kept.lines[1:] == ["the database does not answer: gone"]


@pytest.mark.parametrize("error", [ValueError("ours"), OperationalError("no such table: x")])
def test_a_fault_of_ours_keeps_the_way_to_it(kept, error):
    for _ in range(2):
        heard(kept, Outage(), error)
    assert len([line for line in kept.lines if line.startswith("Traceback")]) == 2


def test_the_log_in_use_is_told_both():
    """What the settings set up is what is tested here."""
    console = settings.LOGGING["handlers"]["console"]
    assert console["filters"] == ["refusals", "probes", "outages"]
    for kind in settings.LOGGING["formatters"].values():
        assert isinstance(log_lines.formatter(kind["kind"]), Line | log_lines.JsonLine)


@pytest.mark.django_db
def test_a_refusal_is_one_line(cast):
    from studio.accounts import consent
    from tests.cast import as_person, make_clip

    clip = make_clip(cast.enrolment)
    consent.withdraw(cast.enrolment, cast.guardian, consent.Purpose.RECORDINGS)
    client: Client = as_person(cast.teacher)
    kept = Kept()
    kept.setFormatter(Line("{message}", style="{"))
    for spec in settings.LOGGING["filters"].values():
        kept.addFilter(spec["callback"])
    logging.getLogger("django").addHandler(kept)
    try:
        for path in ("", "media/", "desk.json"):
            assert client.get(f"/clips/{clip.pk}/{path}").status_code == 403
    finally:
        logging.getLogger("django").removeHandler(kept)
    assert len(kept.lines) == 3, kept.lines
