"""The test process on production ground: its database PostgreSQL, its queue Redis.

Tests run on SQLite and a folder for the queue. Inside :func:`on_production_ground` the default
database and the queue's address are others, as they are for a process that was started with
``DATABASE_URL`` and ``BROKER_URL``, so that rows and messages are the same as the studio's.
"""

import contextlib
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from celery import Celery
from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections
from django.test import override_settings

from studio import environment
from studio.jobs import queue

TRUNCATE_ALL = """
DO $$ DECLARE names text; BEGIN
  SELECT string_agg(quote_ident(tablename), ',') INTO names FROM pg_tables
  WHERE schemaname = 'public' AND tablename NOT LIKE 'django_%';
  EXECUTE 'TRUNCATE ' || names || ' RESTART IDENTITY CASCADE';
END $$
"""


@dataclass(frozen=True)
class Ground:
    """Where a studio keeps everything, as the variables that its processes are given."""

    folder: Path
    database_url: str
    broker_url: str

    @property
    def variables(self) -> dict[str, str]:
        return {
            "STUDIO_DATA": str(self.folder),
            "DATABASE_URL": self.database_url,
            "BROKER_URL": self.broker_url,
            "SECRET_KEY": settings.SECRET_KEY,
        }


@contextlib.contextmanager
def on_production_ground(ground: Ground) -> Iterator[None]:
    """Let this process use the ground's database, queue and folder; bring them up to date."""
    media = ground.folder / "media"
    media.mkdir(parents=True)
    with (
        override_settings(STUDIO_DATA=ground.folder, MEDIA_ROOT=media),
        mock.patch.object(queue, "app", _queue(ground.broker_url)),
        _database(ground),
    ):
        call_command("migrate", interactive=False, verbosity=0)
        yield


def clear() -> None:
    """Empty every table of the studio, and its media folder."""
    with connection.cursor() as cursor:
        cursor.execute(TRUNCATE_ALL)
    shutil.rmtree(settings.MEDIA_ROOT)


@contextlib.contextmanager
def _database(ground: Ground) -> Iterator[None]:
    with mock.patch.dict("os.environ", DATABASE_URL=ground.database_url):
        other = environment.database("DATABASE_URL", ground.folder)
    before = settings.DATABASES["default"]
    use_database(connections.configure_settings({"default": other})["default"])
    try:
        yield
    finally:
        use_database(before)


def use_database(database: dict) -> None:
    connections["default"].close()
    settings.DATABASES["default"] = connections.settings["default"] = database
    del connections["default"]  # made anew, from these settings, at its next use


def _queue(url: str) -> Celery:
    """The studio's queue at another address: the same settings but for that."""
    app = Celery("studio", set_as_current=False)
    app.config_from_object("django.conf:settings", namespace="CELERY")
    app.conf.update(broker_url=url, broker_transport_options={})
    return app
