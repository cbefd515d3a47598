"""Back up and restore: nothing missing, nothing different, what was erased stays erased.

The stores here are small; the same is done under load in tests/faults.
"""

import json
import os
import resource
import sqlite3
import time
from contextlib import closing, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection

from studio.clips import services
from studio.clips.models import Clip, Original
from studio.clips.storage import erasure_log, spool
from studio.clips.storage.stores import FolderStore
from studio.clips.upkeep import configuration, databases, retention, runs
from studio.clips.upkeep.backup import back_up
from studio.clips.upkeep.manifests import BackupError, backups_in, write_manifest
from studio.clips.upkeep.restore import restore
from studio.clips.upkeep.verification import Named, verify

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def data_of_its_own(settings, tmp_path):
    """What was erased, and the key, lie beside the stores of this test alone."""
    settings.STUDIO_DATA = tmp_path / "data"
    settings.STUDIO_DATA.mkdir()


@pytest.fixture
def place(tmp_path):
    return tmp_path / "backups"


def at_rest(name):
    return FolderStore().path(name)


def keep_file(clip: Clip, name: str, content: bytes) -> Original:
    """Another clip of the same pupil with a file of its own."""
    other = Clip.objects.create(
        enrolment=clip.enrolment, uploaded_by=clip.uploaded_by, intake="received", title=name
    )
    spooled = spool.spool([content], 1 << 30)
    kept = spool.keep(spooled, f"{spool.clip_folder(other.pk)}/original")
    return Original.objects.create(
        clip=other, path=kept.path, sha256=kept.sha256, size_bytes=kept.size_bytes, filename=name
    )


def bytes_in(folder) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def big_file(clip: Clip) -> Original:
    kept = spool.keep(spool.spool([bytes(1 << 20)] * 4, 1 << 30), "clips/big")
    return Original.objects.create(
        clip=clip, path=kept.path, sha256=kept.sha256, size_bytes=kept.size_bytes
    )


@contextmanager
def room_for(size_bytes: int):
    """Stands for a full disk: the kernel refuses to write on, in mid-file."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


# -- there and back --------------------------------------------------------------------------


def test_a_restored_backup_is_the_same_and_what_was_erased_stays_erased(clip, stored, place):
    other = keep_file(clip, "kept", b"another recording")
    back_up(place)
    services.erase(clip)
    at_rest(other.path).unlink()
    Clip.objects.filter(pk=other.clip_id).update(title="changed after the backup")
    restored = restore(place, replace=True)
    assert Clip.objects.get(pk=other.clip_id).title == "kept"
    assert at_rest(other.path).read_bytes() == b"another recording"
    assert restored.erased_again == 1
    assert not Clip.objects.filter(pk=clip.pk).exists()
    assert not at_rest(stored.path).exists()
    assert verify().faults == []


def test_yesterdays_backup_on_a_new_machine_brings_nothing_back_that_was_erased(
    clip, stored, place
):
    """The list beside the backups is enough: the machine that had the other one is lost."""
    yesterday = back_up(place)
    services.erase(clip)
    back_up(place)
    for path in erasure_log.folder().iterdir():
        path.unlink()
    restored = restore(yesterday.folder, replace=True)
    assert restored.erased_again == 1
    assert not at_rest(stored.path).exists()


def test_a_backup_of_an_earlier_version_is_restored_too(clip, stored, place):
    """Version 1: a folder of its own, with its files under ``media``."""
    finished = back_up(place)
    old = place.parent / "old"
    (old / "media" / stored.path).parent.mkdir(parents=True)
    (old / "media" / stored.path).write_bytes(b"the recording")
    (finished.folder / "database").rename(old / "database")
    manifest = finished.manifest | {"version": 1}
    for entry in manifest["files"]:
        entry.pop("object")
    for name in ("key", "secret_key", "missing"):
        manifest.pop(name)
    write_manifest(old, manifest)
    at_rest(stored.path).unlink()
    restore(old, replace=True)
    assert at_rest(stored.path).read_bytes() == b"the recording"


def test_the_snapshot_holds_what_the_write_ahead_log_held(clip, stored, place):
    finished = back_up(place)
    with closing(sqlite3.connect(finished.folder / "database")) as snapshot:
        assert snapshot.execute("SELECT count(*) FROM clips_clip").fetchone() == (1,)


def test_a_studio_with_people_in_it_is_not_replaced_unless_that_is_said(clip, stored, place):
    back_up(place)
    Clip.objects.filter(pk=clip.pk).update(title="changed after the backup")
    with pytest.raises(CommandError, match=r"not empty: 2 people are in it\. Add --replace"):
        call_command("restore", place)
    clip.refresh_from_db()
    assert clip.title == "changed after the backup"
    call_command("restore", place, "--replace")
    clip.refresh_from_db()
    assert clip.title == ""


# -- what is new only ------------------------------------------------------------------------


def test_a_second_backup_adds_only_what_is_new(clip, stored, place):
    keep_file(clip, "large", os.urandom(5_000_000))
    first = back_up(place)
    size, second = bytes_in(place / "objects"), back_up(place)
    assert first.added_bytes == size == 5_000_013
    assert second.added_bytes == 0
    assert bytes_in(place / "objects") == size
    third_file = keep_file(clip, "new", b"a third recording")
    third = back_up(place)
    assert third.added_bytes == third_file.size_bytes
    assert bytes_in(place / "objects") == size + third_file.size_bytes
    at_rest(third_file.path).unlink()
    restore(third.folder, replace=True)
    assert verify().faults == []


@pytest.mark.parametrize(
    ("keep", "stay"),
    [
        ((1, 0, 0), {0}),
        ((3, 0, 0), {0, 1, 2}),
        ((0, 2, 0), {0, 2}),  # the week began on Monday, and the one before ended on Sunday
        ((0, 0, 3), {0, 24, 55}),
        ((2, 2, 2), {0, 1, 2, 24}),
        ((0, 0, 0), {0}),
    ],
)
def test_backups_are_kept_by_a_plain_rule(keep, stay):
    """One a day for ninety days up to Tuesday 24 November 2026, named by how old they are."""
    newest = datetime(2026, 11, 24, 3, tzinfo=UTC)
    ages = {newest - timedelta(days=age): age for age in range(90)}
    kept = retention.kept(list(ages), retention.Keep(*keep))
    assert {ages[at] for at in kept} == stay


def test_old_backups_go_and_with_them_what_nothing_else_has(clip, stored, place, settings):
    gone = keep_file(clip, "gone", b"a recording that is erased soon")
    old = back_up(place)
    services.erase(gone.clip)
    old.manifest["made_at"] = "2026-01-05T03:00:00+00:00"
    write_manifest(old.folder, old.manifest)
    settings.BACKUP_KEEP = (1, 1, 1)
    newest = back_up(place)
    assert newest.pruned == 1
    assert [backup.folder for backup in backups_in(place)] == [newest.folder]
    assert [path.name for path in (place / "objects").rglob("*") if path.is_file()] == [
        stored.sha256
    ]


def test_what_was_erased_leaves_every_backup_after_the_stated_time(clip, stored, place, settings):
    settings.BACKUP_ERASED_DAYS = 30
    first = back_up(place)
    keep_file(clip, "stays", b"a recording that stays")
    services.erase(clip)
    back_up(place)
    object_of_it = first.manifest["files"][0]["object"]["sha256"]
    there = [path.name for path in (place / "objects").rglob("*")]
    assert object_of_it in there, "not yet: thirty days have not passed"
    long_ago = time.time() - 31 * 24 * 3600
    os.utime(place / "erased" / clip.pk.hex, (long_ago, long_ago))
    back_up(place)
    assert object_of_it not in [path.name for path in (place / "objects").rglob("*")]
    restored = restore(first.folder, replace=True)
    assert restored.erased_again == 1
    assert verify().faults == []


def test_nothing_old_is_removed_while_something_is_wrong(clip, stored, place, settings):
    old = back_up(place)
    old.manifest["made_at"] = "2026-01-05T03:00:00+00:00"
    write_manifest(old.folder, old.manifest)
    settings.BACKUP_KEEP = (1, 1, 1)
    at_rest(stored.path).unlink()
    assert back_up(place).pruned == 0
    assert len(backups_in(place)) == 2


def test_one_that_was_cut_off_counts_for_nothing_and_goes(clip, stored, place):
    (place / "2026-11-25T030000Z").mkdir(parents=True)
    (place / "2026-11-25T030000Z" / "database").write_bytes(b"half")
    finished = back_up(place)
    assert list(place.glob("2*Z*")) == [finished.folder]


# -- what is missing or damaged --------------------------------------------------------------


@pytest.mark.fault(
    43, "a stored file is missing while a backup is made", "it goes on, names the file, ends with 3"
)
def test_a_missing_file_stops_no_backup(clip, stored, place, capsys, seen):
    other = keep_file(clip, "kept", b"another recording")
    at_rest(stored.path).unlink()
    with pytest.raises(CommandError, match="finished, but 1 thing is missing or dam") as refused:
        call_command("backup", place)
    assert refused.value.returncode == 3
    said = capsys.readouterr().err.strip()
    assert said == f"original of clip {clip.pk}: {stored.path} is missing"
    at_rest(other.path).unlink()
    restored = restore(place, replace=True)
    assert at_rest(other.path).read_bytes() == b"another recording"
    assert "1 files were missing" in " ".join(restored.said)
    seen(f"exit code 3: {said}")


def test_a_file_that_went_since_the_backup_before_is_still_in_the_next(clip, stored, place):
    back_up(place)
    at_rest(stored.path).unlink()
    finished = back_up(place)
    assert finished.faults == [
        f"original of clip {clip.pk}: {stored.path} is missing; the backup has it, from before"
    ]
    restore(place, replace=True)
    assert at_rest(stored.path).read_bytes() == b"the recording"


def test_a_damaged_file_is_named_and_stops_no_backup(clip, stored, place):
    at_rest(stored.path).write_bytes(b"The recording")
    with pytest.raises(CommandError, match="finished, but 1 thing is missing or damaged") as found:
        call_command("backup", place)
    assert found.value.returncode == 3
    Clip.objects.filter(pk=clip.pk).update(title="changed after the backup")
    restore(place, replace=True)
    clip.refresh_from_db()
    assert clip.title == ""
    assert "has other bytes" in verify().faults[0]


def test_what_was_erased_while_a_backup_was_made_is_not_missed(clip, stored, place, monkeypatch):
    """The first snapshot names a file that goes before it is copied; the second does not."""
    gone = Named("", "clips/gone", "0" * 64, 0)
    rounds = iter([[gone], []])
    snapshot = databases.snapshot
    monkeypatch.setattr(databases, "snapshot", lambda path: snapshot(path) + next(rounds))
    finished = back_up(place)
    assert finished.faults == []
    assert [entry["path"] for entry in finished.manifest["files"]] == [stored.path]


@pytest.mark.fault(44, "the database has a damaged page", "`verify` and `backup` say so and fail")
def test_damage_inside_the_database_is_seen(clip, stored, place, seen):
    with damaged_index("stage_sweep"):
        with pytest.raises(CommandError, match="The database is damaged"):
            call_command("verify")
        finished = back_up(place)
        connection.close()
    assert finished.faults
    assert all(fault.startswith("the database: ") for fault in finished.faults)
    seen(finished.faults[0])


@contextmanager
def damaged_index(name: str):
    """One page of the database's file is overwritten, as a bad disk would; then mended again."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT rootpage FROM sqlite_master WHERE name = %s", [name])
        page = cursor.fetchone()[0]
        cursor.execute("PRAGMA page_size")
        size = cursor.fetchone()[0]
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    path = Path(settings.DATABASES["default"]["NAME"])
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        before = file.read(64)
        file.seek((page - 1) * size)
        file.write(bytes(64))
    try:
        yield
    finally:
        with path.open("r+b") as file:
            file.seek((page - 1) * size)
            file.write(before)


def test_a_row_that_names_one_that_is_not_there_is_seen(clip, stored):
    assert databases.faults() == ([], [])
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA foreign_keys = OFF")
        cursor.execute("UPDATE clips_original SET clip_id = %s", ["f" * 32])
        cursor.execute("PRAGMA foreign_keys = ON")
    (fault,), _ = databases.faults()
    assert "of clips_original names one of clips_clip that is not there" in fault
    Original.objects.all().delete()


# -- no room ---------------------------------------------------------------------------------


def test_a_backup_for_which_there_is_no_room_leaves_nothing(clip, place):
    big_file(clip)
    with room_for(3 << 20), pytest.raises(CommandError, match=r"no room left\. Free some"):
        call_command("backup", place)
    assert [path for path in place.rglob("*") if path.is_file() and path.name != ".lock"] == []
    call_command("backup", place)


def test_a_snapshot_for_which_there_is_no_room_is_said_too(clip, place):
    with room_for(1 << 16), pytest.raises(BackupError, match="no room left"):
        back_up(place)


@pytest.mark.parametrize("room", [3 << 20, 1 << 16], ids=["for a recording", "to open it"])
def test_a_restore_for_which_there_is_no_room_changes_no_row(clip, place, room):
    path = at_rest(big_file(clip).path)
    back_up(place)
    Clip.objects.filter(pk=clip.pk).update(title="changed after the backup")
    path.unlink()
    with room_for(room), pytest.raises(BackupError, match="no room left"):
        restore(place, replace=True)
    clip.refresh_from_db()
    assert clip.title == "changed after the backup"
    bench = at_rest(".bench")
    assert [found for found in bench.rglob("*") if found.is_file()] == []


# -- backups that cannot be taken ------------------------------------------------------------


def damaged(what) -> str:
    """A manifest in which something is not as it should be."""
    manifest = {
        "version": 1,
        "program": "9.9",
        "made_at": "2026-11-25T10:00:00+00:00",
        "database": {"vendor": "sqlite", "sha256": "", "migrations": []},
        "files": [],
    }
    what(manifest)
    return json.dumps(manifest)


OUTSIDE = {"owner": "", "path": "../key", "sha256": "", "size_bytes": 0}


@pytest.mark.parametrize(
    ("manifest", "why"),
    [
        ("{", "is damaged and cannot be read"),
        ("[]", "is damaged and cannot be read"),
        (damaged(lambda m: m.pop("database")), "is damaged and cannot be read"),
        (damaged(lambda m: m.update(files=[{"path": "x"}])), "is damaged and cannot be read"),
        (
            damaged(
                lambda m: m.update(files=[OUTSIDE | {"path": "x", "object": {"sha256": ".."}}])
            ),
            "is damaged and cannot be read",
        ),
        (damaged(lambda m: m.update(version=3)), "this program reads version 1 to 2"),
        (damaged(lambda m: m.update(files=[OUTSIDE])), "names a file outside the backup"),
        (damaged(lambda m: None), "database is missing, or has changed"),
    ],
    ids=["cut", "list", "no-database", "short", "object", "later", "outside", "no-copy"],
)
def test_a_backup_that_cannot_be_taken_is_refused_in_a_sentence(tmp_path, manifest, why):
    (tmp_path / "manifest.json").write_text(manifest)
    with pytest.raises(CommandError, match=why):
        call_command("restore", tmp_path)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"vendor": "oracle"}, "set DATABASE_URL"),
        ({"migrations": ["clips.9999_later"]}, "a newer program .* does not know clips.9999_later"),
    ],
)
def test_one_of_another_kind_or_of_a_newer_program_is_refused(clip, stored, place, change, why):
    finished = back_up(place)
    finished.manifest["database"] |= change
    write_manifest(finished.folder, finished.manifest)
    with pytest.raises(CommandError, match=why):
        call_command("restore", place, "--replace")


def test_a_backup_of_an_older_program_is_brought_up_to_date_and_that_is_said(
    clip, stored, place, capsys
):
    finished = back_up(place)
    finished.manifest["database"]["migrations"].pop()
    finished.manifest["database"]["release"] = "3.0"
    write_manifest(finished.folder, finished.manifest)
    call_command("restore", place, "--replace")
    said = capsys.readouterr().out
    assert "It was of an older program, and was brought up to date." in said
    assert "It was of sqlite 3.0; this is" in said


def test_a_damaged_backup_is_refused_before_anything_is_touched(clip, stored, place):
    finished = back_up(place)
    (kept,) = backups_in(place)[0].kept().values()
    finished.folder.parent.joinpath("objects", "plain", kept.sha256[:2], kept.sha256).write_bytes(
        b"the recordinG"
    )
    with pytest.raises(BackupError, match="damaged"):
        restore(place, replace=True)
    assert verify().faults == []


# -- the key and the settings ----------------------------------------------------------------


def test_a_backup_that_is_not_encrypted_says_what_it_does_not_have(clip, stored, place, capsys):
    call_command("backup", place)
    said = capsys.readouterr().out
    assert "is not encrypted, and so it does not have the secret key and the settings" in said
    assert "/etc/studio/environment" in said
    texts = [path.read_bytes() for path in place.rglob("*") if path.is_file()]
    assert not any(settings.SECRET_KEY.encode() in text for text in texts)


def test_another_key_after_a_restore_is_said_with_what_no_longer_works(
    clip, stored, place, settings
):
    back_up(place)
    assert not any("secret key" in line for line in restore(place, replace=True).said)
    settings.SECRET_KEY = "another key " * 6
    said = " ".join(restore(place, replace=True).said)
    assert "This machine has another secret key" in said
    assert "everybody has to log in again" in said
    assert str(configuration.key_file()) in said


def test_each_backup_leaves_a_row(clip, stored, place):
    assert runs.last_backup() is None
    call_command("backup", place)
    made = runs.last_backup()
    assert (made.is_whole, made.figures["files"], made.figures["is_encrypted"]) == (True, 1, False)
    at_rest(stored.path).unlink()
    with pytest.raises(CommandError):
        call_command("backup", place)
    assert not runs.last_backup().is_whole
    assert "is missing" in runs.last_backup().said
