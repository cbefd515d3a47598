"""Backups that only the holder of the secret key can open (age format, X25519).

The format is age-encryption.org/v1; a file of it begins with that line.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from studio import environment
from studio.clips.storage.stores import FolderStore
from studio.clips.upkeep import configuration, encryption, runs
from studio.clips.upkeep.backup import back_up
from studio.clips.upkeep.manifests import BackupError, backups_in
from studio.clips.upkeep.restore import restore
from studio.clips.upkeep.verification import verify
from tests.deploy.processes import ROOT

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def place(tmp_path):
    return tmp_path / "backups"


@pytest.fixture(autouse=True)
def identity(settings, tmp_path, monkeypatch, capsys) -> Path:
    """The secret key's file; the studio knows the public one alone."""
    settings.STUDIO_DATA = tmp_path / "data"
    settings.STUDIO_DATA.mkdir()
    path = tmp_path / "identity"
    call_command("backup_key", path)
    settings.BACKUP_RECIPIENT = capsys.readouterr().out.strip().removeprefix("BACKUP_RECIPIENT=")
    assert settings.BACKUP_RECIPIENT.startswith("age1")
    assert path.stat().st_mode & 0o077 == 0
    return path


def test_what_is_encrypted_comes_back_with_the_identity_alone(clip, stored, place, identity):
    back_up(place)
    FolderStore().path(stored.path).unlink()
    with pytest.raises(BackupError, match="name the identity file that belongs"):
        restore(place, replace=True)
    assert not FolderStore().path(stored.path).exists()
    restore(place, replace=True, identity=identity)
    assert FolderStore().path(stored.path).read_bytes() == b"the recording"
    assert verify().faults == []


def test_nothing_of_people_or_recordings_can_be_read_in_it(clip, stored, place, settings):
    folder = back_up(place).folder
    files_of_it = [path for path in place.rglob("*") if path.is_file()]
    for path in files_of_it:
        content = path.read_bytes()
        for secret in (b"the recording", b"pupil@test.example", settings.SECRET_KEY.encode()):
            assert secret not in content, path
    sealed = [*place.glob("objects/*/*/*"), folder / "database", folder / "settings"]
    assert len(sealed) == 3
    for path in sealed:
        assert path.read_bytes().startswith(b"age-encryption.org/v1\n")


def test_another_key_is_told_in_a_sentence_and_changes_nothing(clip, stored, place, tmp_path):
    recipient = back_up(place).manifest["key"]
    other = tmp_path / "other"
    call_command("backup_key", other)
    with pytest.raises(CommandError) as refused:
        call_command("restore", place, "--replace", "--identity", other)
    assert str(refused.value) == (
        f"the backup is encrypted for {recipient}; name the identity file that belongs to this "
        "public key with --identity FILE"
    )
    empty = tmp_path / "empty"
    empty.write_text("nothing")
    with pytest.raises(CommandError, match="holds no identity: a line that begins with AGE-SECRET"):
        call_command("restore", place, "--replace", "--identity", empty)
    with pytest.raises(CommandError, match="cannot be read: No such file"):
        call_command("restore", place, "--replace", "--identity", tmp_path / "none")


def test_an_identity_may_be_protected_by_a_passphrase(clip, stored, place, tmp_path, monkeypatch):
    monkeypatch.setenv("BACKUP_PASSPHRASE", "four words and a number 7")
    protected = tmp_path / "protected"
    call_command("backup_key", protected)
    assert b"AGE-SECRET-KEY" not in protected.read_bytes()
    assert encryption.identities(protected, "four words and a number 7")
    with pytest.raises(encryption.SealingError, match="this passphrase does not open it"):
        encryption.identities(protected, "another")


def test_a_key_is_never_written_over_another(identity):
    with pytest.raises(CommandError, match="was not written: File exists"):
        call_command("backup_key", identity)


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("age1abc", "BACKUP_RECIPIENT is 'age1abc'; it must be a public key that begins with age1"),
        ("AGE-SECRET-KEY-1ABC", "BACKUP_RECIPIENT is a secret key; it must be a public key"),
    ],
)
def test_a_wrong_recipient_is_refused_at_the_start(monkeypatch, value, says):
    monkeypatch.setenv("BACKUP_RECIPIENT", value)
    with pytest.raises(environment.SettingError, match=says):
        environment.backup_recipient("BACKUP_RECIPIENT")


def test_a_second_encrypted_backup_adds_only_what_is_new(clip, stored, place):
    assert back_up(place).added_bytes > 0
    assert back_up(place).added_bytes == 0


def test_a_new_recipient_has_objects_of_its_own(clip, stored, place, settings, identity):
    first = back_up(place)
    settings.BACKUP_RECIPIENT = encryption.new_identity()[1]
    assert back_up(place).added_bytes > 0
    FolderStore().path(stored.path).unlink()
    restore(first.folder, replace=True, identity=identity)
    assert verify().faults == []


def test_a_changed_object_is_refused_before_anything_is_touched(clip, stored, place, identity):
    back_up(place)
    (kept,) = backups_in(place)[0].kept().values()
    path = backups_in(place)[0].objects().path(kept.sha256)
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    path.write_bytes(content)
    with pytest.raises(BackupError, match="damaged"):
        restore(place, replace=True, identity=identity)
    assert verify().faults == []


def test_key_and_settings_come_along_to_another_machine(
    clip, stored, place, settings, identity, monkeypatch
):
    """The key of then is put back where it is kept in a file; the settings lie beside it."""
    monkeypatch.setitem(environment.variables_set, "ALLOWED_HOSTS", "studio.example")
    of_then = settings.SECRET_KEY
    back_up(place)
    settings.SECRET_KEY = "the key of another machine, which nobody knows, 0123456789"
    configuration.key_file().write_text(settings.SECRET_KEY)
    said = " ".join(restore(place, replace=True, identity=identity).said)
    assert configuration.key_file().read_text() == of_then
    assert configuration.key_file().stat().st_mode & 0o077 == 0
    assert "The secret key of then was put back: sessions and links go on working." in said
    kept = settings.STUDIO_DATA / configuration.KEPT
    assert f"SECRET_KEY={of_then}" in kept.read_text()
    assert "ALLOWED_HOSTS=studio.example" in kept.read_text()


def test_a_key_that_is_set_here_is_not_overruled_but_said(
    clip, stored, place, settings, identity, monkeypatch
):
    back_up(place)
    settings.SECRET_KEY = "the key of another machine, which nobody knows, 0123456789"
    monkeypatch.setitem(environment.variables_set, "SECRET_KEY", settings.SECRET_KEY)
    said = " ".join(restore(place, replace=True, identity=identity).said)
    assert "SECRET_KEY is set to another key here" in said
    assert not configuration.key_file().exists()


def test_a_session_lives_on_with_the_key_and_not_without(clip, stored, place, settings, identity):
    """What the words of a restore promise, tried with a real session."""
    from tests.cast import as_person

    browser = as_person(clip.uploaded_by)
    assert browser.get("/queue/").status_code == 200
    back_up(place)
    of_then, settings.SECRET_KEY = settings.SECRET_KEY, "another key than that of then " * 3
    restore(place, replace=True, identity=identity)
    assert browser.get("/queue/").status_code == 302, "to the log-in page"
    restore(place, replace=True, identity=identity)
    settings.SECRET_KEY = of_then
    assert browser.get("/queue/").status_code == 200


def test_a_large_file_goes_there_and_back_in_little_memory(tmp_path):
    """400 MB; the process may not grow by more than 60 MB meanwhile."""
    code = f"""
import os, resource, sys
from pathlib import Path
import django; django.setup()
from studio.clips.upkeep import encryption
from studio.clips.upkeep.objects import Objects
folder = Path({str(tmp_path)!r})
contents, public = encryption.new_identity()
(folder / "key").write_bytes(contents)
with (folder / "large").open("wb") as file:
    for _ in range(400):
        file.write(os.urandom(1 << 20))
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
place = Objects(folder / "place", public, encryption.identities(folder / "key"))
kept = place.put(folder / "large")
assert kept.size_bytes == 400 << 20
(folder / "large").unlink()
place.take(kept, folder / "back")
assert place.fault(kept) == ""
print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024)
"""
    environment_ = {**os.environ, "DJANGO_SETTINGS_MODULE": "studio.settings"}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=environment_, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    assert float(done.stdout) < 60
    (tmp_path / "back").unlink()


def test_a_drill_without_the_identity_looks_and_says_so(clip, stored, place, identity):
    back_up(place)
    report = runs.make_drill(place, None)
    assert report.faults == []
    assert "this machine has no BACKUP_IDENTITY" in " ".join(report.said)
    assert not runs.last_drill().figures["is_opened"]
    report = runs.make_drill(place, identity)
    assert report.faults == []
    assert runs.last_drill().figures["is_opened"]
