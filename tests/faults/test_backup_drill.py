"""Backup while clips come and go, wipe, restore, verify: on SQLite and on PostgreSQL."""

import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection, connections

from studio.accounts.models import Person
from studio.clips import services
from studio.clips.models import Clip, Original, Stage
from studio.clips.upkeep import backing_up
from studio.clips.upkeep.verifying import verify
from tests import production
from tests.cast import Cast, make_cast
from tests.deploy.processes import ROOT, until

SAMPLE = (ROOT / "sample_media" / "clips" / "short-octaves.mp4").read_bytes()
BEFORE = 3  # clips that are there when the backup begins
DURING = 2  # and that come while it is made, of which every second is erased again


@pytest.fixture(autouse=True)
def silence(monkeypatch):
    """Nobody works here."""
    monkeypatch.setattr(services, "dispatch", lambda clip_id, kind: True)


@pytest.fixture
def on_postgres(postgres, redis_server, tmp_path, django_db_blocker) -> Iterator[None]:
    ground = production.Ground(tmp_path / "data", postgres.create("drill"), redis_server.url)
    with django_db_blocker.unblock(), production.on_production_ground(ground):
        yield


def send(cast: Cast, title: str) -> Clip:
    return services.receive(cast.enrolment, cast.pupil, [SAMPLE], "clip.mp4", title=title)


@contextmanager
def coming_and_going(cast: Cast) -> Iterator[list[Clip]]:
    """Clips are sent, and every second one is erased, until the body has ended."""
    sent, stop = [], threading.Event()

    def keep_sending() -> None:
        try:
            while not stop.is_set():
                sent.append(send(cast, f"during {len(sent)}"))
                if len(sent) % 2 == 0:
                    services.erase(sent[-1])
        finally:
            connections.close_all()

    thread = threading.Thread(target=keep_sending)
    thread.start()
    try:
        until(lambda: sent, 30, "the first one is there")
        yield sent
        until(lambda: len(sent) >= DURING, 30, "more of them have come")
    finally:
        stop.set()
        thread.join()


def rows() -> dict:
    """What a clip's rows say, by its id; erased ones left out."""
    originals = Original.objects.filter(clip__erased_at=None).select_related("clip")
    return {
        one.clip_id: (
            *(one.clip.title, one.clip.info, one.path, one.sha256, one.size_bytes),
            *one.clip.stages.order_by("kind").values_list("kind", "state"),
        )
        for one in originals
    }


def drill(tmp_path: Path, wipe: Callable[[], None]) -> None:
    cast = make_cast()
    before = [send(cast, f"before {number}") for number in range(BEFORE)]
    with coming_and_going(cast):
        manifest = backing_up.back_up(tmp_path / "backup")
    services.erase(before[0])
    alive = rows()
    connections.close_all()
    wipe()
    restored = backing_up.restore(tmp_path / "backup", replace=True)
    assert {clip.pk for clip in before[1:]} <= rows().keys() <= alive.keys()
    assert rows() == {pk: row for pk, row in alive.items() if pk in rows()}
    assert Person.objects.count() == len(cast.people())
    assert Clip.objects.get(pk=before[0].pk).erased_at is not None
    assert restored["erased_again"] >= 1
    report = verify()
    assert (report.faults, report.orphans) == ([], [])
    assert report.files == len(manifest["files"]) - restored["erased_again"]
    clip = send(cast, "after")
    assert Stage.objects.filter(clip=clip).count() == 2


@pytest.mark.django_db(transaction=True)
def test_sqlite_comes_back_as_it_was(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path / "data" / "media"

    def wipe() -> None:
        shutil.rmtree(settings.MEDIA_ROOT)
        name = Path(settings.DATABASES["default"]["NAME"])
        for path in name.parent.glob(f"{name.name}*"):
            path.unlink()

    drill(tmp_path, wipe)


def test_postgres_comes_back_as_it_was(on_postgres, postgres, tmp_path):
    def wipe() -> None:
        shutil.rmtree(settings.MEDIA_ROOT)
        postgres.create("drill")

    drill(tmp_path, wipe)


def test_a_table_that_the_backup_does_not_know_goes(on_postgres, tmp_path):
    make_cast()
    backing_up.back_up(tmp_path / "backup")
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE later (person bigint REFERENCES accounts_person)")
    backing_up.restore(tmp_path / "backup", replace=True)
    assert "later" not in connection.introspection.table_names()
    assert Person.objects.exists()


def test_a_restore_beside_a_running_studio_is_refused_and_changes_nothing(
    on_postgres, postgres, tmp_path, monkeypatch
):
    make_cast()
    backing_up.back_up(tmp_path / "backup")
    Person.objects.filter(name="Mira Sandholm").update(name="Mira S")
    impatient = backing_up.EMPTY_POSTGRES.replace("'10s'", "'1s'")
    monkeypatch.setattr(backing_up, "EMPTY_POSTGRES", impatient)
    with postgres.connect("drill") as other, other.transaction():
        other.execute("SELECT * FROM accounts_person")
        with pytest.raises(backing_up.BackupError, match="still running"):
            backing_up.restore(tmp_path / "backup", replace=True)
    assert Person.objects.filter(name="Mira S").exists()
