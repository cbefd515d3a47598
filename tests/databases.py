"""Tests that hold for both databases: each has an empty one of its own, as the studio's."""

from collections.abc import Iterator

import pytest
from django.conf import settings
from django.db import connections

from studio import environment
from tests.production import use_database


@pytest.fixture(params=["sqlite", "postgres"])
def either_database(request, tmp_path, monkeypatch, django_db_blocker) -> Iterator[str]:
    """The studio's database is another one, which is empty; the name of its kind."""
    url = f"sqlite:///{tmp_path / 'other.sqlite3'}"
    if request.param == "postgres":
        url = request.getfixturevalue("postgres").create("either")
    monkeypatch.setenv("DATABASE_URL", url)
    other = environment.database("DATABASE_URL", tmp_path)
    before = settings.DATABASES["default"]
    with django_db_blocker.unblock():
        use_database(connections.configure_settings({"default": other})["default"])
        try:
            yield request.param
        finally:
            use_database(before)
