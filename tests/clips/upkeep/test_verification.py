"""Verify and sweep: what is wrong is named, and left-overs go. Backups: test_backup.py."""

import os
import shutil
import signal
import time
from contextlib import contextmanager

import pytest
from django.core.management import CommandError, call_command

from studio.clips.storage import work_folders
from studio.clips.storage.stores import FolderStore
from studio.clips.upkeep.orphans import sweep_orphans
from studio.clips.upkeep.verification import verify


def at_rest(name):
    return FolderStore().path(name)


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
    ours = work_folders.path(".wav")
    ours.write_bytes(b"being made here")
    with forked(lambda: work_folders.path(".mp4").write_bytes(b"half made")) as other:
        assert len(files_on_the_bench(media_root)) == 2
        assert work_folders.clear_ended() == [], "both processes live"
        os.kill(other, signal.SIGKILL)
        os.waitpid(other, 0)
        (gone,) = work_folders.clear_ended()
    assert gone.endswith(".mp4")
    assert files_on_the_bench(media_root) == [ours]
    two_days_ago = time.time() - 2 * 24 * 3600
    os.utime(ours, (two_days_ago, two_days_ago))
    assert sweep_orphans() == [], "its process lives: it may still be at work"


def test_a_folder_that_was_taken_away_is_made_again(media_root):
    shutil.rmtree(work_folders.path().parent)
    work_folders.path().write_bytes(b"made after all")


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


def test_what_a_form_brought_to_a_killed_web_process_goes_after_a_day(db, settings, tmp_path):
    settings.FILE_UPLOAD_TEMP_DIR = tmp_path
    old, fresh = tmp_path / "tmpold.upload.mp4", tmp_path / "tmpnew.upload.mp4"
    for path in (old, fresh):
        path.write_bytes(b"half of a film")
    os.utime(old, (time.time() - 90_000,) * 2)
    assert sweep_orphans() == [f"{tmp_path.name}/{old.name}"]
    assert [path.exists() for path in (old, fresh)] == [False, True]
