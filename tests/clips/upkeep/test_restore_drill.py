"""The drill: the newest backup is really restored, elsewhere, and the operator is told."""

from collections.abc import Iterator

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from studio.accounts.models import Letter, Person
from studio.clips.upkeep import runs
from studio.clips.upkeep.backup import back_up
from studio.clips.upkeep.manifests import BackupError, backups_in
from tests import production
from tests.cast import make_cast


@pytest.fixture
def place(tmp_path, settings):
    settings.STUDIO_DATA = tmp_path / "data"
    settings.STUDIO_DATA.mkdir()
    return tmp_path / "backups"


@pytest.fixture
def ground(postgres, redis_server, tmp_path, django_db_blocker) -> Iterator[production.Ground]:
    where = production.Ground(tmp_path / "ground", postgres.create("drilled"), redis_server.url)
    with django_db_blocker.unblock(), production.on_production_ground(where):
        yield where


def object_of(place):
    (kept,) = backups_in(place)[-1].kept().values()
    return backups_in(place)[-1].objects().path(kept.sha256)


@pytest.mark.django_db(transaction=True)
def test_a_whole_backup_passes_and_nothing_of_it_stays(clip, stored, place, settings, capsys):
    back_up(place)
    call_command("drill", place)
    assert "The newest backup can be restored." in capsys.readouterr().out
    row = runs.last_drill()
    assert row.is_whole
    assert (row.figures["files"], row.figures["size_bytes"], row.figures["people"]) == (1, 13, 2)
    left = [path.name for path in settings.STUDIO_DATA.iterdir()]
    assert left == ["running"], "the scratch place was removed"


@pytest.mark.django_db(transaction=True)
def test_a_damaged_object_fails_it_tells_the_operator_and_is_copied_anew(
    clip, stored, place, settings
):
    settings.MAIL, settings.OPERATOR_EMAIL = {"EMAIL_HOST": "h"}, "operator@studio.example"
    back_up(place)
    object_of(place).write_bytes(b"the recordinG")
    with pytest.raises(CommandError, match=r"The drill has failed: 2 things are wrong"):
        call_command("drill", place)
    assert not runs.last_drill().is_whole
    letter = Letter.objects.get(kind=Letter.Kind.OPERATOR)
    assert letter.to == "operator@studio.example"
    assert "has other bytes than were stored" in letter.body
    assert back_up(place).added_bytes == 13, "it was taken out of use, and is kept anew"
    call_command("drill", place)
    assert runs.last_drill().is_whole


@pytest.mark.django_db(transaction=True)
def test_a_lost_object_and_a_changed_database_fail_it(clip, stored, place):
    finished = back_up(place)
    object_of(place).unlink()
    assert "is not in the backup any more" in runs.make_drill(place, None).faults[0]
    with (finished.folder / "database").open("ab") as file:
        file.write(b"more")
    with pytest.raises(BackupError, match="has changed since it was written"):
        runs.make_drill(place, None)
    assert "has changed since it was written" in runs.last_drill().said


@pytest.mark.django_db(transaction=True)
def test_without_a_backup_it_fails_and_that_is_recorded(clip, place):
    place.mkdir()
    with pytest.raises(CommandError, match="holds no finished backup"):
        call_command("drill", place)
    assert not runs.last_drill().is_whole


def test_postgres_is_loaded_into_a_database_of_its_own(ground, postgres, place):
    make_cast()
    back_up(place)
    report = runs.make_drill(place, None)
    assert report.faults == []
    assert report.figures["people"] == Person.objects.count()
    with postgres.connect("postgres") as server:
        names = [row[0] for row in server.execute("SELECT datname FROM pg_database")]
    assert not any("_drill_" in name for name in names)


def test_where_no_database_may_be_made_the_dump_is_read(ground, postgres, place):
    make_cast()
    back_up(place)
    with postgres.connect("postgres") as server:
        server.execute("CREATE ROLE plain LOGIN PASSWORD 'plain'")
    try:
        with connection.cursor() as cursor:
            cursor.execute(
                "GRANT plain TO CURRENT_USER; GRANT ALL ON ALL TABLES IN SCHEMA public TO plain"
            )
            cursor.execute("GRANT ALL ON ALL SEQUENCES IN SCHEMA public TO plain")
            cursor.execute("SET ROLE plain")
            report = runs.make_drill(place, None)
            cursor.execute("RESET ROLE")
        assert report.faults == []
        assert "ALTER ROLE" in " ".join(report.said)
    finally:
        with postgres.connect("drilled") as server:
            server.execute("DROP OWNED BY plain")
            server.execute("DROP ROLE plain")


def test_postgres_damage_that_a_row_shows_is_seen(ground):
    from studio.clips.upkeep import databases

    make_cast()
    found, unseen = databases.faults()
    assert found == []
    assert unseen == [databases.NO_AMCHECK]
    with connection.cursor() as cursor:
        cursor.execute("CREATE EXTENSION amcheck")
        assert databases.faults() == ([], [])
        cursor.execute("SET session_replication_role = replica")  # as if no key were checked
        cursor.execute("DELETE FROM accounts_studio")
        cursor.execute("SET session_replication_role = DEFAULT")
    found, _ = databases.faults()
    assert any("of accounts_membership name one of accounts_studio" in fault for fault in found)
