"""What was deleted is not copied along for somebody who still reads what there was before.

PostgreSQL, "Routine Vacuuming": a row version may be removed once no open transaction can see it.
"""

import psycopg
import pytest
from django.db import connection

from studio.rights.erasure import free_pages

pytestmark = [pytest.mark.parametrize("either_database", ["postgres"], indirect=True)]


@pytest.fixture
def notes(either_database):
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE notes (said text)")
        cursor.execute("INSERT INTO notes VALUES ('first'), ('second')")
    return "notes"


@pytest.fixture
def reader(notes):
    """Somebody who has begun to read before anything was deleted, such as a backup."""
    with psycopg.connect(**_where()) as other:
        other.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
        other.execute("SELECT 1 FROM pg_catalog.pg_class LIMIT 1")
        yield other


def _where() -> dict:
    said = connection.get_connection_params()
    return {
        name: said[name]
        for name in ("dbname", "user", "host", "port", "password")
        if said.get(name)
    }


def _deleted(table: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM {table} WHERE said = 'first'")


def test_it_says_that_it_is_not_done_while_somebody_reads_from_before(notes, reader, monkeypatch):
    monkeypatch.setattr(free_pages, "PATIENCE_S", 0.0)
    _deleted(notes)
    with pytest.raises(free_pages.Busy, match="1 deleted rows are still read"):
        free_pages.overwrite([notes], [])
    reader.rollback()
    assert free_pages.overwrite([notes], []) is True


def test_it_waits_for_a_short_reader(notes, reader, monkeypatch):
    _deleted(notes)
    monkeypatch.setattr(free_pages.time, "sleep", lambda seconds: reader.rollback())
    assert free_pages.overwrite([notes], []) is True
