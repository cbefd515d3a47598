"""Verify, back up and restore: nothing missing, nothing different, what was erased stays erased.

The stores here are small; the same is done under load in tests/faults.
"""

import json
import os
import resource
import shutil
import signal
import sqlite3
import time
from contextlib import closing, contextmanager

import pytest
from django.core.management import CommandError, call_command

from studio.clips import benches, files
from studio.clips.models import Clip, Original
from studio.clips.stores import FolderStore
from studio.clips.upkeep import backing_up
from studio.clips.upkeep.sweeping import sweep_orphans
from studio.clips.upkeep.verifying import verify


def at_rest(name):
    return FolderStore().path(name)


@pytest.fixture
def stored(clip) -> Original:
    spooled = files.spool([b"the recording"], 1000)
    kept = files.keep(spooled, f"{files.clip_folder(clip.pk)}/original")
    return Original.objects.create(
        clip=clip,
        path=kept.path,
        sha256=kept.sha256,
        size_bytes=kept.size_bytes,
        filename="clip.mp4",
    )


def test_a_whole_store_has_no_faults(stored):
    report = verify()
    assert (report.files, report.faults, report.orphans) == (1, [], [])


@pytest.mark.fault(40, "one bit of a stored file is flipped", "`verify` names the file and fails")
def test_a_flipped_bit_is_named(stored, capsys, seen):
    path = at_rest(stored.path)
    content = bytearray(path.read_bytes())
    content[5] ^= 1
    path.write_bytes(content)
    with pytest.raises(CommandError, match="1 of 1 files are wrong"):
        call_command("verify")
    said = capsys.readouterr().err.strip()
    assert said == (
        f"original of clip {stored.clip_id}: {stored.path} has other bytes than were stored; "
        "restore it"
    )
    seen(f"verify failed and said: {said}")


def test_a_missing_and_a_short_file_are_named(stored):
    path = at_rest(stored.path)
    path.write_bytes(b"the")
    assert "has 3 bytes, its row says 13" in verify().faults[0]
    path.unlink()
    assert "is missing" in verify().faults[0]


def test_the_command_fails_when_something_is_wrong(stored, capsys):
    call_command("verify")
    at_rest(stored.path).unlink()
    with pytest.raises(CommandError, match="1 of 1 files are wrong"):
        call_command("verify")


def test_left_overs_go_after_a_day_and_nothing_else(stored, media_root):
    young, old = media_root / "clips" / ".young.part", media_root / "clips" / "zz" / ".old.part"
    old.parent.mkdir()
    for path in (young, old):
        path.write_bytes(b"x")
    two_days_ago = time.time() - 2 * 24 * 3600
    for path in (old, at_rest(stored.path)):
        os.utime(path, (two_days_ago, two_days_ago))
    assert sweep_orphans() == ["clips/zz/.old.part"]
    assert young.exists()
    assert at_rest(stored.path).exists()
    assert not old.parent.exists()


def test_what_a_killed_process_left_goes_at_once_and_nothing_else(db, media_root):
    ours = benches.path(".wav")
    ours.write_bytes(b"being made here")
    with forked(lambda: benches.path(".mp4").write_bytes(b"half made")) as other:
        assert len(files_on_the_bench(media_root)) == 2
        assert benches.clear_ended() == [], "both processes live"
        os.kill(other, signal.SIGKILL)
        os.waitpid(other, 0)
        (gone,) = benches.clear_ended()
    assert gone.endswith(".mp4")
    assert files_on_the_bench(media_root) == [ours]
    two_days_ago = time.time() - 2 * 24 * 3600
    os.utime(ours, (two_days_ago, two_days_ago))
    assert sweep_orphans() == [], "its process lives: it may still be at work"


def test_a_folder_that_was_taken_away_is_made_again(media_root):
    shutil.rmtree(benches.path().parent)
    benches.path().write_bytes(b"made after all")


@contextmanager
def forked(work):
    """A process that has done some work and then waits; its id."""
    done, say = os.pipe()
    child = os.fork()
    if not child:
        try:
            work()
            os.write(say, b".")
            signal.pause()
        finally:
            os._exit(1)
    assert os.read(done, 1) == b"."
    try:
        yield child
    finally:
        os.close(done)
        os.close(say)


def files_on_the_bench(media_root):
    return [path for path in (media_root / ".bench").rglob("*") if path.is_file()]


def test_a_backup_goes_only_to_a_new_folder(stored, tmp_path):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "file").touch()
    with pytest.raises(backing_up.BackupError, match="is not empty"):
        backing_up.back_up(tmp_path / "full")


@pytest.mark.django_db(transaction=True)
def test_a_restored_backup_is_the_same_and_what_was_erased_stays_erased(
    clip, stored, tmp_path, media_root
):
    from studio.clips import services

    other = Clip.objects.create(
        enrolment=clip.enrolment, uploaded_by=clip.uploaded_by, intake="received", title="kept"
    )
    backing_up.back_up(tmp_path / "backup")
    services.erase(clip)
    Clip.objects.filter(pk=other.pk).update(title="changed after the backup")
    manifest = backing_up.restore(tmp_path / "backup", replace=True)
    other.refresh_from_db()
    clip.refresh_from_db()
    assert other.title == "kept"
    assert manifest["erased_again"] == 1
    assert clip.erased_at is not None
    assert not at_rest(stored.path).exists()
    assert verify().faults == []


def big_file(clip: Clip) -> Original:
    kept = files.keep(files.spool([bytes(1 << 20)] * 4, 1 << 30), "clips/big")
    return Original.objects.create(
        clip=clip, path=kept.path, sha256=kept.sha256, size_bytes=kept.size_bytes
    )


@pytest.mark.django_db(transaction=True)
def test_a_backup_for_which_there_is_no_room_leaves_nothing(clip, tmp_path):
    """The limit stands for a full disk: the kernel refuses to write on, in mid-file."""
    big_file(clip)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (3 << 20, before[1]))
    try:
        with pytest.raises(CommandError, match=r"no room left\. Free some"):
            call_command("backup", tmp_path / "backup")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert list((tmp_path / "backup").iterdir()) == []
    call_command("backup", tmp_path / "backup")


@pytest.mark.django_db(transaction=True)
def test_a_snapshot_for_which_there_is_no_room_is_said_too(clip, tmp_path):
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1 << 16, before[1]))
    try:
        with pytest.raises(backing_up.BackupError, match="no room left"):
            backing_up.back_up(tmp_path / "backup")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.django_db(transaction=True)
def test_a_restore_for_which_there_is_no_room_changes_no_row(clip, tmp_path):
    path = at_rest(big_file(clip).path)
    backing_up.back_up(tmp_path / "backup")
    Clip.objects.filter(pk=clip.pk).update(title="changed after the backup")
    path.unlink()
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (3 << 20, before[1]))
    try:
        with pytest.raises(backing_up.BackupError, match="no room left"):
            backing_up.restore(tmp_path / "backup", replace=True)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    clip.refresh_from_db()
    assert clip.title == "changed after the backup"
    assert files_on_the_bench(at_rest("")) == []


@pytest.mark.django_db(transaction=True)
def test_a_studio_with_people_in_it_is_not_replaced_unless_that_is_said(clip, stored, tmp_path):
    backing_up.back_up(tmp_path / "backup")
    Clip.objects.filter(pk=clip.pk).update(title="changed after the backup")
    with pytest.raises(CommandError, match=r"not empty: 2 people are in it\. Add --replace"):
        call_command("restore", tmp_path / "backup")
    clip.refresh_from_db()
    assert clip.title == "changed after the backup"
    call_command("restore", tmp_path / "backup", "--replace")
    clip.refresh_from_db()
    assert clip.title == ""


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


@pytest.mark.parametrize(
    ("manifest", "why"),
    [
        ("{", "is damaged and cannot be read"),
        ("[]", "is damaged and cannot be read"),
        (damaged(lambda m: m.pop("database")), "is damaged and cannot be read"),
        (damaged(lambda m: m.update(files=[{"path": "x"}])), "is damaged and cannot be read"),
        (damaged(lambda m: m.update(version=2)), "this program reads version 1"),
        (damaged(lambda m: m["database"].update(vendor="oracle")), "set DATABASE_URL"),
        (
            damaged(lambda m: m["database"].update(migrations=["clips.9999_later"])),
            r"a newer program \(9.9; .* does not know clips.9999_later",
        ),
        (
            damaged(
                lambda m: m.update(
                    files=[{"owner": "", "path": "../key", "sha256": "", "size_bytes": 0}]
                )
            ),
            "names a file outside the backup",
        ),
        (damaged(lambda m: None), "database is missing, or has changed"),
    ],
    ids=["cut", "list", "no-database", "short", "later", "vendor", "newer", "outside", "no-copy"],
)
def test_a_backup_that_cannot_be_taken_is_refused_in_a_sentence(db, tmp_path, manifest, why):
    (tmp_path / "manifest.json").write_text(manifest)
    with pytest.raises(CommandError, match=why):
        call_command("restore", tmp_path)


@pytest.mark.django_db(transaction=True)
def test_a_backup_of_an_older_program_is_brought_up_to_date_and_that_is_said(
    clip, stored, tmp_path, capsys
):
    backing_up.back_up(tmp_path / "backup")
    path = tmp_path / "backup" / "manifest.json"
    manifest = json.loads(path.read_text())
    manifest["database"]["migrations"].pop()
    manifest["database"]["release"] = "3.0"
    path.write_text(json.dumps(manifest))
    call_command("restore", tmp_path / "backup", "--replace")
    said = capsys.readouterr().out
    assert "It was of an older program, and was brought up to date." in said
    assert "It was of sqlite 3.0; this is" in said


@pytest.mark.django_db(transaction=True)
def test_a_damaged_backup_is_refused_before_anything_is_touched(clip, stored, tmp_path):
    backing_up.back_up(tmp_path / "backup")
    (tmp_path / "backup" / "media" / stored.path).write_bytes(b"the recordinG")
    with pytest.raises(backing_up.BackupError, match="damaged"):
        backing_up.restore(tmp_path / "backup", replace=True)
    assert verify().faults == []


@pytest.mark.django_db(transaction=True)
def test_a_file_that_was_damaged_before_is_named_and_stops_no_backup(clip, stored, tmp_path):
    at_rest(stored.path).write_bytes(b"The recording")
    with pytest.raises(CommandError, match="finished, but 1 files were damaged"):
        call_command("backup", tmp_path / "backup")
    Clip.objects.filter(pk=clip.pk).update(title="changed after the backup")
    call_command("restore", tmp_path / "backup", replace=True)
    clip.refresh_from_db()
    assert clip.title == ""
    assert "has other bytes" in verify().faults[0]


@pytest.mark.django_db(transaction=True)
def test_what_went_while_a_backup_was_made_is_not_in_it(clip, stored, tmp_path, monkeypatch):
    """The first try copies one file and finds another gone; by the second both are erased."""
    gone = Original(path="clips/gone", sha256="", size_bytes=0)
    tries = iter([[stored, gone], []])
    snapshot = backing_up._snapshot

    def snapshots(path):
        snapshot(path)
        return [backing_up.Named("", x.path, x.sha256, x.size_bytes) for x in next(tries)]

    monkeypatch.setattr(backing_up, "_snapshot", snapshots)
    assert backing_up.back_up(tmp_path / "backup")["files"] == []
    assert not (tmp_path / "backup" / "media" / stored.path).exists()


@pytest.mark.django_db(transaction=True)
def test_the_snapshot_holds_what_the_write_ahead_log_held(clip, stored, tmp_path):
    backing_up.back_up(tmp_path / "backup")
    with closing(sqlite3.connect(tmp_path / "backup" / "database")) as snapshot:
        assert snapshot.execute("SELECT count(*) FROM clips_clip").fetchone() == (1,)
