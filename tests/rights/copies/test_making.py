"""How a copy is begun and made: once, in order, without memory, whatever happens meanwhile."""

import errno
import os
import re
import shutil
import zipfile
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.utils import timezone

from studio.clips.models import Original
from studio.clips.storage import spool, work_folders
from studio.clips.storage.stores import FolderStore
from studio.figures import MB
from studio.jobs import leases
from studio.rights import access
from studio.rights.copies import archive, names, room, services, work
from studio.rights.models import Copy
from tests.cast import as_person, make_clip
from tests.rights.copies import lessons

pytestmark = pytest.mark.django_db(transaction=True)


def begin(cast) -> Copy:
    return services.begin(access.lessons_for(cast.guardian, cast.enrolment.pk), cast.guardian)


def at_rest() -> list[str]:
    return sorted(entry.name for entry in FolderStore().entries(work.FOLDER))


def press(cast):
    return as_person(cast.guardian).post("/rights/copies/", {"of": f"place-{cast.enrolment.pk}"})


# -- begun ---------------------------------------------------------------------------------


def test_two_presses_make_one(cast):
    assert press(cast).status_code == press(cast).status_code == 302
    assert Copy.objects.count() == 1


def test_another_is_made_only_after_a_rest_and_takes_the_place(cast):
    first = lessons.made(begin(cast))
    answer = press(cast)
    assert answer.status_code == 409
    assert re.search(r"was made at \d\d:\d\d, and is still here", answer.content.decode())
    lessons.long_ago(first)
    assert press(cast).status_code == 302
    assert Copy.objects.get().pk != first.pk
    assert at_rest() == []


def test_a_disk_without_room_is_said_before_anything_is_done(cast, monkeypatch):
    usage = SimpleNamespace(free=room.SPARE + 1 * MB)
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: usage)
    answer = press(cast)
    assert answer.status_code == 409
    assert "A copy needs 20.0 MB" in answer.content.decode()
    assert "too small for it by 19.0 MB" in answer.content.decode()
    assert not Copy.objects.exists()


@pytest.mark.parametrize(
    "of", ["", "account-", "place-", "place-0", "place-x", "place-999999", "…"]
)
def test_what_nobody_may_ask_for_is_not_there(cast, of):
    guardian = as_person(cast.guardian)
    assert guardian.post("/rights/copies/", {"of": of}).status_code == 404
    assert guardian.get("/rights/", {"of": of}, headers={"HX-Request": "true"}).status_code == 404


def test_a_long_unused_log_in_is_asked_again(cast):
    browser = as_person(cast.guardian)
    session = browser.session
    session["since"] = (timezone.now() - timedelta(hours=2)).isoformat()
    session.save()
    answer = browser.post("/rights/copies/", {"of": "account"})
    assert answer.url.startswith("/account/again/")
    assert not Copy.objects.exists()


# -- shown ---------------------------------------------------------------------------------


def test_the_page_says_where_it_is_and_asks_until_it_is_ready(cast):
    copy, guardian = begin(cast), as_person(cast.guardian)
    page = guardian.get("/rights/").content.decode()
    assert "is about to be made" in page
    assert f"?of=place-{cast.enrolment.pk}" in page
    held = services.claim(str(copy.pk))
    Copy.objects.filter(pk=held.pk).update(progress=0.25, doing="clip 2 of 7")
    part = guardian.get(
        "/rights/", {"of": f"place-{cast.enrolment.pk}"}, headers={"HX-Request": "true"}
    ).content.decode()
    assert "being made: clip 2 of 7" in part
    assert 'value="0.25"' in part
    work.make(held)
    page = guardian.get("/rights/").content.decode()
    assert "Your copy is ready" in page
    assert "hx-get" not in page.partition("<main")[2]


# -- made ----------------------------------------------------------------------------------


def test_a_full_disk_leaves_nothing_and_it_is_tried_again(cast, monkeypatch):
    copy = begin(cast)

    def full(*args) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(spool, "keep", full)
        lessons.made(copy)
    copy.refresh_from_db()
    assert (copy.state, copy.failure_code, copy.attempt) == ("waiting", "disk_full", 0)
    assert at_rest() == []
    assert not list(FolderStore().bench().rglob("*.zip"))
    page = as_person(cast.guardian).get("/rights/").content.decode()
    assert "no room on the studio’s disk for the copy just now. It is tried again" in page
    assert lessons.made(copy).state == "ready"


def test_a_recording_that_is_not_there_is_named_and_the_rest_is_copied(cast):
    clip = make_clip(cast.enrolment, "Lost")
    Original.objects.create(
        clip=clip, path="clips/lost", sha256="0" * 64, size_bytes=9, filename="lost.mp4"
    )
    copy = lessons.made(begin(cast))
    assert copy.state == "ready", copy.failure_detail
    with lessons.at_rest(copy) as path, zipfile.ZipFile(path) as file:
        manifest = file.read("manifest.json").decode()
    assert "clips/lost of “Lost”" in manifest
    assert archive.MISSING in manifest


def test_a_recording_that_changed_on_the_disk_is_copied_and_said(cast):
    _original(cast, b"as it is now", sha256="0" * 64)
    copy = lessons.made(begin(cast))
    with lessons.at_rest(copy) as path, zipfile.ZipFile(path) as file:
        assert file.read(_name(file, "original/")) == b"as it is now"
        assert archive.CHANGED in file.read("manifest.json").decode()


def test_what_a_killed_worker_left_goes_and_another_makes_it(cast):
    """The lease of the dead runs out; its bench is swept; its attempt does not count."""
    copy = begin(cast)
    held = services.claim(str(copy.pk))
    part = work_folders.path(".zip")
    part.write_bytes(b"half of it")
    Copy.objects.filter(pk=held.pk).update(lease_until=timezone.now() - timedelta(seconds=1))
    again = services.claim(str(copy.pk))
    assert (again.attempt, again.worker_deaths) == (1, 1)
    work.make(again)
    copy.refresh_from_db()
    assert copy.state == "ready"
    with pytest.raises(leases.LeaseLost):  # the first was only slow, and comes late
        work.make(held)
    assert at_rest() == [copy.path]
    part.unlink()


def _original(cast, content: bytes, sha256: str) -> Original:
    clip = make_clip(cast.enrolment, "Here")
    path = FolderStore().path("clips/here")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    said = {"path": "clips/here", "sha256": sha256, "size_bytes": len(content)}
    return Original.objects.create(clip=clip, filename="here.mp4", **said)


def _name(file: zipfile.ZipFile, part: str) -> str:
    return next(name for name in file.namelist() if part in name)


def test_names_are_taken_once_whatever_their_case():
    given = names.Names()
    assert [given.free(name) for name in ("a/B.mp4", "a/b.mp4", "a/c.mp4", "a/B.mp4")] == [
        *("a/B.mp4", "a/b-2.mp4", "a/c.mp4", "a/B-3.mp4"),
    ]


@pytest.mark.parametrize(
    ("came", "kept"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\clips\\a.mov", "a.mov"),
        ("con.mp4", "_con.mp4"),
        ("LPT1", "_LPT1"),
        ("", "recording"),
        ("...", "recording"),
        ("a\0b\n.mp4", "a_b_.mp4"),
        ("e\u0301tude.mp4", "étude.mp4"),
        ("x" * 300 + ".mp4", "x" * 76 + ".mp4"),
    ],
)
def test_a_file_keeps_its_name_as_far_as_every_system_takes_it(came, kept):
    assert names.cleaned(came) == kept
    assert Path(kept).name == kept
