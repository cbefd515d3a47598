"""Backup while the studio is at full work, wipe, restore, verify: on SQLite and on PostgreSQL."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections
from django.utils import timezone

from studio.accounts.models import Person
from studio.clips import tasks
from studio.clips.models import Clip, Listening, Original, Rendition, Stage
from studio.clips.processing import stages
from studio.clips.upkeep import backup, databases, manifests, restore
from studio.clips.upkeep.verification import verify
from studio.review.models import Decision, Review
from tests import production
from tests.cast import make_cast
from tests.deploy.processes import ROOT, until
from tests.faults.traffic import Traffic, comments_there
from tests.live import LiveStudio, live_studio

UNDER_WAY = 4  # clips sent while the backup is made, of which every second is erased again
MADE = {
    Stage.Kind.LISTENING: {Rendition.Kind.PEAKS},
    Stage.Kind.PLAYBACK: {Rendition.Kind.PLAYABLE, Rendition.Kind.POSTER},
    Stage.Kind.SMALL: {Rendition.Kind.SMALL},
}
LOAD = "a backup under full load, then both stores are wiped and restored"
SAME = (
    "nothing missing or different; what was erased, before or after, stays erased; "
    "what was cut off goes on"
)
DO = {
    Stage.Kind.LISTENING: tasks.listen_to_clip,
    Stage.Kind.PLAYBACK: tasks.prepare_playback,
    Stage.Kind.SMALL: tasks.prepare_small,
}


@pytest.fixture
def ground(postgres, redis_server, tmp_path, django_db_blocker) -> Iterator[production.Ground]:
    place = production.Ground(tmp_path / "data", postgres.create("drill"), redis_server.url)
    with django_db_blocker.unblock(), production.on_production_ground(place):
        yield place


def states(clip: Clip) -> dict[str, str]:
    return dict(Stage.objects.filter(clip=clip).values_list("kind", "state"))


def rows() -> dict:
    """What never changes in a clip that is there, by its id."""
    originals = Original.objects.filter(clip__erased_at=None).select_related("clip")
    return {
        one.clip_id: (one.clip.title, one.clip.info, one.path, one.sha256, one.size_bytes)
        for one in originals
    }


def back_up_from_outside(folder: Path, **variables: str) -> None:
    """`python -m studio backup`, in a process of its own, as an operator would."""
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "studio.settings",
        "STUDIO_DATA": str(settings.STUDIO_DATA),
        "DATABASE_URL": "sqlite:///" + str(settings.DATABASES["default"]["NAME"]),
        **variables,
    }
    command = [sys.executable, "-m", "studio", "backup", str(folder)]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def work_and_back_up(studio: LiveStudio, folder: Path, **variables: str) -> tuple[Traffic, set]:
    """What was done, and what had been acknowledged when the backup began."""
    traffic = Traffic(studio.url, make_cast(), UNDER_WAY)
    heard, doomed, gone = (traffic.send(title) for title in ("heard", "doomed", "gone"))
    traffic.erase(gone)
    until(lambda: Listening.objects.filter(clip=heard).exists(), 90, "one clip was heard")
    with traffic.under_way(heard):
        before = {*traffic.sent, *traffic.comments} - {"doomed", "gone"}
        back_up_from_outside(folder, **variables)
    traffic.erase(doomed)
    return traffic, before


def check_that_all_is_there(traffic: Traffic, before: set[str], alive: dict) -> None:
    report = verify()
    assert (report.faults, report.orphans) == ([], [])
    there = rows()
    assert there == {pk: row for pk, row in alive.items() if pk in there}
    erased = Clip.objects.filter(pk__in=traffic.erased)
    titles = {row[0] for row in there.values()}
    assert {one for one in before if one.startswith("Said")} <= comments_there()
    assert comments_there() <= set(traffic.comments)
    lost = {one for one in before if not one.startswith("Said")} - titles
    assert lost <= {"under way 0", "under way 2"}, "and those were erased"
    assert all(clip.erased_at and not rendered(clip) for clip in erased)
    assert erased.filter(title="").count() == erased.count()
    assert Decision.objects.filter(review__clip__title="heard").count() == 1
    check_consistency()


def rendered(clip: Clip) -> bool:
    return clip.renditions.exists() or Original.objects.filter(clip=clip).exists()


def check_consistency() -> None:
    """Each row has the others that belong to it."""
    for clip in Clip.objects.filter(erased_at=None):
        assert Review.objects.filter(clip=clip).exists()
        assert set(states(clip)) == set(Stage.DONE)
        kinds = set(clip.renditions.values_list("kind", flat=True))
        done = [kind for kind, state in states(clip).items() if state == Stage.DONE[kind]]
        assert kinds == set().union(*(MADE[kind] for kind in done))
        heard = states(clip)[Stage.Kind.LISTENING] == Stage.State.HEARD
        assert clip.listenings.count() == heard


def let_minutes_pass() -> None:
    """Stands for the minutes until what was cut off is sent again."""
    ago = timezone.now() - timedelta(minutes=5)
    Stage.objects.filter(state=Stage.State.WORKING).update(lease_until=ago)
    Stage.objects.filter(state=Stage.State.WAITING).update(changed_at=ago, dispatched_at=ago)


def go_on() -> int:
    """Do what the sweep finds to have been cut off, as a worker would; how much that was."""
    let_minutes_pass()
    cut_off = list(stages.lost())
    for stage in cut_off:
        DO[stage.kind](str(stage.clip_id))
    done = Stage.DONE.values()
    left = Stage.objects.filter(clip__erased_at=None).exclude(state__in=done)
    assert not left.exists(), "everything is heard and playable"
    return len(cut_off)


def drill(
    folder: Path,
    wipe: Callable[[], None],
    seen: Callable[[str], None],
    **variables: str,
) -> None:
    with live_studio(folder, **variables) as studio:
        traffic, before = work_and_back_up(studio, folder / "backup", **variables)
    alive = rows()
    connections.close_all()
    wipe()
    call_command("restore", folder / "backup")
    check_that_all_is_there(traffic, before, alive)
    files, cut_off = verify().files, go_on()
    check_consistency()
    assert verify().faults == []
    seen(f"{traffic.counts()}; {files} files restored; {cut_off} pieces of work cut off, and done")


@pytest.mark.sweep(1 / 2, name="backup drill")
@pytest.mark.worker
@pytest.mark.django_db(transaction=True)
@pytest.mark.fault(39, f"{LOAD} (SQLite)", SAME)
def test_sqlite_comes_back_as_it_was(tmp_path, seen):
    def wipe() -> None:
        shutil.rmtree(settings.MEDIA_ROOT)
        name = Path(settings.DATABASES["default"]["NAME"])
        for path in name.parent.glob(f"{name.name}*"):
            path.unlink()

    shutil.rmtree(settings.MEDIA_ROOT, ignore_errors=True)  # of the tests before this one
    drill(tmp_path, wipe, seen)


@pytest.mark.sweep(1 / 2, name="backup drill")
@pytest.mark.worker
@pytest.mark.fault(39, f"{LOAD} (PostgreSQL and Redis)", SAME)
def test_postgres_comes_back_as_it_was(ground, postgres, redis_server, tmp_path, seen):
    def wipe() -> None:
        shutil.rmtree(settings.MEDIA_ROOT)
        postgres.create("drill")
        redis_server.client.flushall()

    drill(tmp_path, wipe, seen, **ground.variables)


def test_a_table_that_the_backup_does_not_know_goes(ground, tmp_path):
    make_cast()
    backup.back_up(tmp_path / "backup")
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE later (person bigint REFERENCES accounts_person)")
    restore.restore(tmp_path / "backup", replace=True)
    assert "later" not in connection.introspection.table_names()
    assert Person.objects.exists()


def test_a_restore_beside_a_running_studio_is_refused_and_changes_nothing(
    ground, postgres, tmp_path, monkeypatch
):
    make_cast()
    backup.back_up(tmp_path / "backup")
    Person.objects.filter(name="Mira Sandholm").update(name="Mira S")
    impatient = databases.EMPTY_POSTGRES.replace("'10s'", "'1s'")
    monkeypatch.setattr(databases, "EMPTY_POSTGRES", impatient)
    with postgres.connect("drill") as other, other.transaction():
        other.execute("SELECT * FROM accounts_person")
        with pytest.raises(manifests.BackupError, match="still running"):
            restore.restore(tmp_path / "backup", replace=True)
    assert Person.objects.filter(name="Mira S").exists()
