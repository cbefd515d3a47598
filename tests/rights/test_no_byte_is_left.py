"""After an erasure nothing of a pupil is found in any file, and no backup brings her back.

Regulation (EU) 2016/679, article 17. Searched are the bytes of every file: the data folder with
the database and its write-ahead log, or PostgreSQL's own folder and a dump of it; the recordings in
the folder, or in a store that speaks S3; each database with each store. Not searched is
PostgreSQL's write-ahead log, which DEVELOPERS.md says is left to be recycled.
"""

import hashlib
import json
import os
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from uuid import UUID

import psycopg
import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections
from django.test import Client, override_settings
from django.urls import reverse
from django.utils import timezone
from moto.server import ThreadedMotoServer

from studio import environment, postgres
from studio.accounts import audit, letters, passwords, retention_settings
from studio.accounts.models import Consent, Invitation, Notice, Person, TryCount
from studio.accounts.retention import Terms
from studio.clips import services as clips
from studio.clips import tasks as clip_tasks
from studio.clips import viewings
from studio.clips.models import Clip, Original, Rendition
from studio.clips.storage import erasure_log
from studio.clips.storage.stores import ObjectStore, store
from studio.clips.upkeep import backup, restore
from studio.clips.uploads import partial, protocol
from studio.clips.uploads import services as uploads
from studio.drills.models import Assignment
from studio.jobs import dead_letters
from studio.review.enclosures import renditions as enclosed
from studio.review.models import Enclosure
from studio.rights import access, tasks
from studio.rights.copies import services as copies
from studio.rights.erasure import dispatch, free_pages, work
from studio.rights.models import Copy, ErasureJob
from studio.rights.retention import rounds
from tests.cast import as_person, make_cast, make_clip, make_drill, make_return, set_for
from tests.production import use_database
from tests.review import replies
from tests.samples import SAMPLE

NAME, ADDRESS = "Quillon Zevråsen", "quillon.zevrasen@fiddle-post.example"
TITLE, NOTE = "Grumbling sixths of Zevtown", "My thumb zevhurts, please look"
COMMENT, SUMMARY = "Zevlisten to the upper note.", "Zevsteadier than last week."
FILENAME, GOAL = "zevclip-from-phone.mp4", "zevgoal, three times"


@dataclass(frozen=True)
class Place:
    """Where the studio of a test keeps everything, and where its backups lie."""

    data: Path
    backups: Path
    server: Path | None  # the folder of its PostgreSQL
    has_bucket: bool  # recordings lie in a store that speaks S3


POSTGRES, BUCKET = "postgres", "object store"
PAIRINGS = [f"{base}, {kept}" for base in ("sqlite", POSTGRES) for kept in ("folder", BUCKET)]


@pytest.fixture(params=PAIRINGS)
def place(request, tmp_path, monkeypatch, django_db_blocker) -> Iterator[Place]:
    data, server = tmp_path / "data", None
    for part in ("media", "incoming", "queue"):
        (data / part).mkdir(parents=True)
    url = f"sqlite:///{data / 'studio.sqlite3'}"
    base, kept = request.param.split(", ")
    if base == POSTGRES:
        started = request.getfixturevalue("postgres")
        url, server = started.create("erasing"), started.folder / "data"
    monkeypatch.setenv("DATABASE_URL", url)
    own = environment.database("DATABASE_URL", data)
    before = settings.DATABASES["default"]
    changed = {
        "STUDIO_DATA": data,
        "MEDIA_ROOT": data / "media",
        "FILE_UPLOAD_TEMP_DIR": data / "incoming",
        "BACKUP_FOLDER": str(tmp_path / "backups"),
        "MAIL": {"EMAIL_HOST": "mail.example"},
    }
    monkeypatch.setattr(clips, "dispatch", lambda pk, kind: None)
    with django_db_blocker.unblock(), override_settings(**changed):
        use_database(connections.configure_settings({"default": own})["default"])
        try:
            call_command("migrate", interactive=False, verbosity=0)
            if kept == BUCKET:
                request.getfixturevalue("own_bucket")
            yield Place(data, tmp_path / "backups", server, kept == BUCKET)
        finally:
            use_database(before)


@pytest.fixture
def own_bucket(tmp_path, monkeypatch):
    """An empty bucket of a local server, which the settings name."""
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host = "{}:{}".format(*server.get_host_and_port())
    monkeypatch.setenv("OBJECT_STORE", f"s3://key:secret@{host}/clips?tls=0")
    options = environment.object_store("OBJECT_STORE")
    backend = {"BACKEND": "storages.backends.s3.S3Storage", "OPTIONS": options}
    with override_settings(OBJECT_STORE=options, STORAGES=settings.STORAGES | {"clips": backend}):
        ObjectStore().storage.bucket.create()
        yield
    server.stop()


# -- a pupil with everything ---------------------------------------------------------------


@dataclass(frozen=True)
class Pupil:
    cast: object
    clip: UUID
    needles: dict[str, bytes]  # what is looked for, by what it is


def pupil_with_everything() -> Pupil:
    cast = make_cast()
    pupil, guardian, teacher = cast.pupil, cast.guardian, cast.teacher
    Person.objects.filter(pk=pupil.pk).update(name=NAME, email=ADDRESS, birth_year=2014)
    pupil.refresh_from_db()
    cast.enrolment.refresh_from_db()
    clip = _sent_and_heard(cast)
    _others_around(cast)
    desk = as_person(teacher)
    assert desk.get(f"/clips/{clip.pk}/").status_code == 200
    assert replies.comment(desk, clip, _voice(), text="Zevhear").status_code == 200
    stroke = {"kind": "arrow", "from": [0.2, 0.2], "to": [0.5, 0.6]}
    drawing = json.dumps({"frame_s": 1.0, "strokes": [stroke]})
    said = {"text": "Zevlook", "form_key": "two", "drawing": drawing, "drawing_words": "Zevthumb"}
    assert replies.comment(desk, clip, None, **said).status_code == 200
    assert Enclosure.objects.count() == 2
    for one in Enclosure.objects.all():
        enclosed.prepare(_claimed(one))
    make_return(clip, COMMENT)
    clip.review.summary = SUMMARY
    clip.review.save()
    set_for(cast.enrolment, make_drill(teacher, cast.studio), goal=GOAL)
    upload = uploads.begin(
        cast.enrolment, pupil, 4096, protocol.encoded({"title": "Zevhalf", "filename": FILENAME})
    )
    uploads.write(upload, 0, [SAMPLE.read_bytes()[-2048:]])
    for who in (teacher, guardian):
        Notice.objects.create(to=who, text=f"{NAME} has a new instrument.")
    letters.post_of_lessons(guardian, "An answer", f"{NAME}: zevletter", ["returned"])
    letters.post_about_account(ADDRESS, NAME, "Zevtold.")
    audit.record(audit.Act.RETURNED, by=teacher, studio=cast.studio, about=pupil, clip=clip.pk)
    dead_letters.park_message("studio.clips.tasks.later", {"clip_id": str(clip.pk)}, "a test")
    viewings.note(clip, teacher)
    as_person(pupil).get("/queue/")
    passwords.make_codes(pupil)
    _wrong_tries()
    Invitation.objects.create(
        studio=cast.studio,
        role="guardian",
        name="Zevparent",
        email="zevparent@fiddle-post.example",
        pupil=pupil,
        token_sha256="5e" * 32,
        expires_at=timezone.now() + timedelta(days=2),
    )
    scope = access.lessons_for(guardian, cast.enrolment.pk)
    copy = copies.begin(scope, guardian)
    tasks.make_copy(str(copy.pk))
    copy.refresh_from_db()
    assert copy.state == copy.State.READY
    of_copy = {"copy": copy.pk.hex.encode(), "hash of the copy": copy.sha256.encode()}
    return Pupil(cast, clip.pk, _needles(clip, upload.pk) | of_copy)


def _sent_and_heard(cast) -> Clip:
    said = {"title": TITLE, "note": NOTE}
    sent = [SAMPLE.read_bytes()]
    clip = clips.receive(cast.enrolment, cast.pupil, sent, FILENAME, **said)
    for work_on in (
        clip_tasks.listen_to_clip,
        clip_tasks.prepare_small,
        clip_tasks.prepare_playback,
    ):
        work_on(str(clip.pk))
    assert clip.renditions.count() == 4
    return clip


def _others_around(cast, many: int = 40) -> None:
    """Enough of others that rows of the pupil stand between theirs, and pages are divided."""
    for number in range(many):
        other = make_clip(cast.other_enrolment, f"Other clip {number}")
        make_return(other, "Somebody else’s comment. " * 20)


def _voice() -> bytes:
    """Two seconds of a recorded reply, as a browser sends it."""
    made = subprocess.run(
        [
            *("ffmpeg", "-v", "error", "-f", "lavfi", "-i", "sine=311:duration=2"),
            *("-c:a", "libopus", "-f", "webm", "-"),
        ],
        capture_output=True,
        check=True,
    )
    return made.stdout


def _claimed(one: Enclosure) -> Enclosure:
    from studio.review.enclosures import dispatch as enclosures

    held = enclosures.claim(str(one.pk))
    assert held is not None
    return held


def _wrong_tries() -> None:
    for _ in range(3):
        Client().post("/log-in/", {"username": ADDRESS, "password": "zevwrong"})
    assert TryCount.objects.exists()


def _needles(clip: Clip, upload: UUID) -> dict[str, bytes]:
    words = {
        **{"name": NAME, "first name": NAME.split()[0], "address": ADDRESS, "title": TITLE},
        **{"note": NOTE, "comment": COMMENT, "summary": SUMMARY, "file name": FILENAME},
        **{"goal": GOAL, "clip": str(clip.pk), "clip in hex": clip.pk.hex},
        **{"upload in hex": upload.hex, "invited": "zevparent"},
        **{"reply": "Zevhear", "drawing": "Zevthumb", "letter": "zevletter", "told": "Zevtold"},
        "hash of the address": hashlib.sha256(f"account\0{ADDRESS}".encode()).hexdigest(),
    }
    for one in Enclosure.objects.all():
        words |= {f"reply {one.pk}": one.pk.hex}
    found = {what: word.encode() for what, word in words.items()}
    for model in (Original, Rendition):
        for file in model.objects.filter(clip=clip):
            found[f"hash of {file}"] = file.sha256.encode()
            size = file.size_bytes
            with store().local(file.path) as path:
                middle = path.read_bytes()[size // 2 : size // 2 + 48]
            if len(set(middle)) > 8:
                found[f"bytes of {file}"] = middle
    if connection.vendor == "postgresql":  # which keeps ids as 16 bytes
        found |= {"clip as bytes": clip.pk.bytes, "upload as bytes": upload.bytes}
    found["bytes of the upload"] = partial.path(upload).read_bytes()[1000:1048]
    return found


# -- looking everywhere --------------------------------------------------------------------


def found_anywhere(place: Place, needles: dict[str, bytes]) -> list[tuple[str, str]]:
    """Each needle with the file that has it, in its bytes or in its name."""
    return [
        (what, name)
        for name, content in everything(place)
        for what, needle in needles.items()
        if needle in content or needle in name.encode()
    ]


def _content(path: Path) -> bytes:
    """Read in a process of its own: closing a database's file here would free SQLite's locks."""
    return subprocess.run(["cat", str(path)], capture_output=True, check=True).stdout


def everything(place: Place) -> Iterator[tuple[str, bytes]]:
    tombstones = [erasure_log.folder(kind) for kind in erasure_log.KINDS]
    for path in sorted(place.data.rglob("*")):
        if path.is_file() and path.parent not in tombstones:
            yield str(path.relative_to(place.data)), _content(path)
    if place.has_bucket:
        for entry in store().entries():
            yield entry.name, b"".join(store().read(entry.name, 0, entry.size_bytes))
    if place.server is None:
        return
    with connection.cursor() as cursor:
        cursor.execute("CHECKPOINT")
        cursor.execute("SELECT oid::text FROM pg_database WHERE datname = current_database()")
        (own,) = cursor.fetchone()
    for path in sorted(place.server.rglob("*")):
        # Other tests leave databases on the server, with the same sample's copies in them.
        of_another = path.parent.parent.name == "base" and path.parent.name != own
        if path.is_file() and "pg_wal" not in path.parts and not of_another:
            yield str(path.relative_to(place.server)), path.read_bytes()
    dumped = subprocess.run(
        ["pg_dump", f"--dbname={postgres.address()}"],
        env=os.environ | {"PGPASSWORD": postgres.password()},
        capture_output=True,
        check=True,
    )
    yield "a dump", dumped.stdout


def erased_by_a_worker() -> ErasureJob:
    job = ErasureJob.objects.get()
    tasks.erase(str(job.pk))
    job.refresh_from_db()
    assert job.state == ErasureJob.State.ERASED
    return job


# -- the proof -----------------------------------------------------------------------------


def test_nothing_is_left_of_a_child_and_no_backup_brings_her_back(place, caplog, mailoutbox):
    """GIVEN a child with everything WHEN her guardian has it erased THEN no byte is found."""
    there = pupil_with_everything()
    seen = {what for what, _ in found_anywhere(place, there.needles)}
    assert there.needles.keys() - seen == set(), "what was never found proves nothing"
    yesterday = backup.back_up(place.backups)
    assert yesterday
    others = Clip.objects.exclude(pk=there.clip).count()
    browser = as_person(there.cast.guardian)
    browser.post(reverse("erase_lessons", args=[there.cast.enrolment.pk]))
    erased_by_a_worker()
    letters.send_due()
    assert Clip.objects.count() == others > 30
    assert found_anywhere(place, there.needles) == []
    assert erasure_log.noted() == [there.clip]
    assert len(erasure_log.noted_people()) == 2  # her place and her account
    assert not any(NAME in one.body for one in mailoutbox if one.subject == "It is erased")

    restored = restore.restore(place.backups, replace=True)
    assert restored.erased_again == 1
    assert Clip.objects.count() == others
    assert found_anywhere(place, there.needles) == []
    assert NAME not in caplog.text
    assert ADDRESS not in caplog.text


def test_nothing_is_left_of_one_clip(place):
    there = pupil_with_everything()
    of_her = ("name", "first name", "address", "hash of the address", "goal")
    of_others = (*of_her, "invited", "told", "letter", "upload in hex", "file name")
    of_clip = {
        what: needle
        for what, needle in there.needles.items()
        if what not in of_others and "the upload" not in what and what != "upload as bytes"
    }
    browser = as_person(there.cast.guardian)
    browser.post(reverse("erase_clip", args=[there.clip]))
    erased_by_a_worker()
    assert found_anywhere(place, of_clip) == []
    assert Person.objects.get(name=NAME).is_active


def test_what_is_over_goes_and_what_was_said_of_a_recording_stays(place):
    """GIVEN a year for recordings and drills WHEN it is over THEN no backup brings them back.

    The backup is older than the day was set, so nothing in it says that they go.
    """
    there = pupil_with_everything()
    Copy.objects.all().delete()
    times = retention_settings.change(there.cast.studio, Terms(365, None, drills=365))
    Consent.objects.update(terms=times)
    long_ago = timezone.now() - timedelta(days=400)
    Clip.objects.filter(pk=there.clip).update(created_at=long_ago)
    Assignment.objects.update(set_at=long_ago)
    others = ("hash of the address", "hash of the copy", "bytes of the upload")
    of_recording = {
        what: needle
        for what, needle in there.needles.items()
        if what.startswith(("hash of ", "bytes of ", "reply ")) and what not in others
    }
    assert len(of_recording) >= 10
    going = of_recording | {"goal": there.needles["goal"]}
    backup.back_up(place.backups)
    rounds.go_round()
    goes_on = Clip.objects.get(pk=there.clip).recording_goes_on
    rounds.go_round(goes_on)
    erased_by_a_worker()
    assert found_anywhere(place, going) == []
    assert len(erasure_log.noted_drills()) == 1
    restore.restore(place.backups, replace=True)
    assert found_anywhere(place, going) == []
    assert not Assignment.objects.exists()
    assert not Original.objects.filter(clip=there.clip).exists()
    clip = Clip.objects.get(pk=there.clip)
    assert (clip.title, clip.listenings.count()) == (TITLE, 1)
    assert clip.recording_gone_at is not None
    assert not [entry for entry in store().entries() if clip.pk.hex in entry.name]
    browser = as_person(there.cast.guardian)
    assert COMMENT in browser.get(f"/clips/{clip.pk}/").text


def test_an_erasure_that_was_cut_off_leaves_nothing_either(place, monkeypatch):
    """GIVEN a worker that dies once the rows are gone WHEN another goes on THEN all is overwritten.

    By then nobody knows any more what to look for.
    """
    there = pupil_with_everything()
    browser = as_person(there.cast.guardian)
    browser.post(reverse("erase_lessons", args=[there.cast.enrolment.pk]))
    job = ErasureJob.objects.get()

    def dies(*args, **more):
        raise KeyboardInterrupt

    with monkeypatch.context() as dying:
        dying.setattr(free_pages, "overwrite", dies)
        with pytest.raises(KeyboardInterrupt):
            work.erase(dispatch.claim(str(job.pk)))
    assert not Person.objects.filter(name=NAME).exists()
    ErasureJob.objects.update(lease_until=timezone.now() - timedelta(minutes=5))
    erased_by_a_worker()
    assert found_anywhere(place, there.needles) == []


@pytest.mark.parametrize("place", [f"{POSTGRES}, {BUCKET}"], indirect=True)
def test_a_backup_that_reads_for_long_is_waited_for(place):
    """GIVEN a dump that holds a table WHEN all else is erased THEN the job waits, and then ends."""
    there = pupil_with_everything()
    browser = as_person(there.cast.guardian)
    with psycopg.connect(postgres.address(), password=postgres.password()) as reader:
        reader.execute("SELECT 1 FROM clips_clip LIMIT 1")
        browser.post(reverse("erase_clip", args=[there.clip]))
        tasks.erase(str(ErasureJob.objects.get().pk))
        job = ErasureJob.objects.get()
        assert (job.state, job.attempt) == (ErasureJob.State.WAITING, 0)
        assert not Clip.objects.filter(pk=there.clip).exists()
        reader.rollback()
    erased_by_a_worker()
    assert found_anywhere(place, {"clip": there.needles["clip as bytes"]}) == []
