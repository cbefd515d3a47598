"""A page as requests over a connection, and as one request whose queries are counted."""

from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.cast import as_person

from .connections import Server
from .pages import Page


def requests_for(server: Server, page: Page) -> list[bytes]:
    cookies = {name: str(kept.value) for name, kept in as_person(page.who).cookies.items()}
    return [server.request(path, cookies, page.headers) for path in page.paths]


def queries_and_size(page: Page) -> tuple[int, float]:
    """How many queries the page takes the second time, and how many kB go over the line."""
    if "testserver" not in settings.ALLOWED_HOSTS:
        settings.ALLOWED_HOSTS.append("testserver")
    client, path = as_person(page.who), page.paths[-1]
    headers = {"accept-encoding": "gzip", **dict(page.headers)}
    client.get(path, headers=headers, secure=settings.HTTPS)
    with CaptureQueriesContext(connection) as seen:
        answer = client.get(path, headers=headers, secure=settings.HTTPS)
        size = len(b"".join(answer) if answer.streaming else answer.content)
    assert answer.status_code in (200, 206), f"{path}: {answer.status_code}"
    return len(seen), size / 1000
