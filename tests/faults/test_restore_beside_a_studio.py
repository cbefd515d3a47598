"""A restore while the studio serves is refused, by each of its processes and on both databases."""

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator

import pytest
from django.conf import settings
from django.db import connections

from studio import running
from studio.accounts.models import Person
from tests import production
from tests.cast import make_cast
from tests.deploy.processes import ROOT, started, until
from tests.live import live_studio, live_web

pytestmark = pytest.mark.worker
REFUSED = "the studio is still running"


@pytest.fixture
def ground(postgres, redis_server, tmp_path, django_db_blocker) -> Iterator[production.Ground]:
    place = production.Ground(tmp_path / "data", postgres.create("beside"), redis_server.url)
    with django_db_blocker.unblock(), production.on_production_ground(place):
        yield place


def command(*arguments: str, **variables: str) -> subprocess.CompletedProcess:
    """One of the studio's commands, in a process of its own, as an operator would run it."""
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "studio.settings",
        "STUDIO_DATA": str(settings.STUDIO_DATA),
        "DATABASE_URL": "sqlite:///" + str(settings.DATABASES["default"]["NAME"]),
        **variables,
    }
    return subprocess.run(
        [sys.executable, "-m", "studio", *arguments],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
    )


def refused_while_it_serves(tmp_path, **variables: str) -> str:
    make_cast()
    done = command("backup", str(tmp_path / "backups"), **variables)
    assert done.returncode == 0, done.stderr
    Person.objects.filter(name="Mira Sandholm").update(name="Mira S")
    with live_studio(tmp_path, **variables):
        done = command("restore", "--replace", str(tmp_path / "backups"), **variables)
        assert Person.objects.filter(name="Mira S").exists(), "nothing was replaced"
    assert done.returncode == 1
    assert REFUSED in done.stderr
    for name in ("web", "listening", "pictures", "periodic"):
        assert name in done.stderr
    after = command("restore", "--replace", str(tmp_path / "backups"), **variables)
    assert after.returncode == 0, after.stderr
    connections.close_all()  # an open connection still reads the SQLite file that was set aside
    assert Person.objects.filter(name="Mira Sandholm").exists()
    return done.stderr.strip()


@pytest.mark.django_db(transaction=True)
@pytest.mark.fault(
    42, "restore --replace while the studio serves (SQLite)", "refused, and nothing changes"
)
def test_sqlite_is_not_replaced_while_the_studio_serves(tmp_path, seen):
    seen(refused_while_it_serves(tmp_path))


@pytest.mark.fault(
    42, "restore --replace while the studio serves (PostgreSQL)", "refused, and nothing changes"
)
def test_postgres_is_not_replaced_while_the_studio_serves(ground, tmp_path, seen):
    seen(refused_while_it_serves(tmp_path, **ground.variables))


def test_a_web_process_on_another_machine_is_seen_through_postgres(ground, tmp_path):
    """Another data folder stands for another machine: only the database is shared."""
    make_cast()
    assert command("backup", str(tmp_path / "backups"), **ground.variables).returncode == 0
    elsewhere = ground.variables | {"STUDIO_DATA": str(tmp_path / "elsewhere")}
    with live_web(tmp_path, **elsewhere):
        done = command("restore", "--replace", str(tmp_path / "backups"), **ground.variables)
    assert done.returncode == 1
    assert REFUSED in done.stderr
    assert "web" in done.stderr


@pytest.mark.django_db(transaction=True)
def test_no_process_starts_while_a_backup_is_put_back(tmp_path):
    with running.nobody_else():
        done = command("prepare")
        assert done.returncode == 2
        assert "a backup is being restored" in done.stderr
        log = tmp_path / "log"
        worker = [sys.executable, "-m", "celery", "--quiet", "-A", "studio.celery", "beat"]
        with started([*worker, "--pidfile="], log, **{"STUDIO_DATA": str(settings.STUDIO_DATA)}):
            until(lambda: "a backup is being restored" in log.read_text(), 60, "a refusal")
    assert command("prepare").returncode == 0


@pytest.mark.django_db
def test_a_process_that_died_stands_in_nobodys_way(tmp_path):
    code = "from studio import running, settings; running.enter('web'); import os; os._exit(9)"
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False, timeout=60)
    with running.nobody_else():
        pass
    with contextlib.suppress(running.StillRunning), running.nobody_else():
        assert not running.others()
