"""Who watched a clip is noted while it is served, cheaply, and shown at home."""

import sqlite3
import time
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from studio.clips import services, viewings
from studio.clips.models import Rendition, Viewing
from studio.clips.storage.stores import store
from tests.cast import as_person, make_clip, make_return

CONTENT = bytes(range(256)) * 8


@pytest.fixture(autouse=True)
def nothing_remembered():
    viewings._noted.clear()


@pytest.fixture
def clip(cast):
    """A clip of the pupil's with both pictures."""
    made = make_clip(cast.enrolment)
    for kind in (Rendition.Kind.PLAYABLE, Rendition.Kind.SMALL):
        file = store().bench() / kind
        file.write_bytes(CONTENT)
        store().put(file, f"clips/{made.pk}-{kind}")
        said = {"path": f"clips/{made.pk}-{kind}", "sha256": "abc", "size_bytes": len(CONTENT)}
        Rendition.objects.create(clip=made, kind=kind, content_type="video/mp4", **said)
    return made


def part(player, clip, kind: str = "media", method: str = "get") -> int:
    ask = getattr(player, method)
    answer = ask(f"/clips/{clip.pk}/{kind}/", headers={"range": "bytes=0-99", "accept": "*/*"})
    answer.getvalue()
    return answer.status_code


def roles(clip) -> list[tuple]:
    return sorted((row.person.name, row.role) for row in clip.viewings.all())


@pytest.mark.parametrize("kind", ["media", "small"])
def test_teacher_and_guardian_are_noted_and_the_pupil_is_not(cast, clip, kind):
    for who in (cast.teacher, cast.guardian, cast.pupil):
        assert part(as_person(who), clip, kind) == 206
    assert roles(clip) == [(cast.guardian.name, "guardian"), (cast.teacher.name, "teacher")]


def test_who_may_not_watch_leaves_no_row(cast, clip):
    for who in (cast.foreign_teacher, cast.other_pupil, cast.unlinked_guardian, cast.operator):
        assert part(as_person(who), clip) == 404
    assert not clip.viewings.exists()


def test_the_desk_is_noted_when_it_opens(cast, clip):
    assert as_person(cast.colleague).get(f"/clips/{clip.pk}/").status_code == 200
    assert roles(clip) == [(cast.colleague.name, "teacher")]


@pytest.mark.parametrize("address", ["poster", "peaks"])
def test_a_poster_and_an_outline_are_no_watching(cast, clip, address):
    as_person(cast.teacher).get(f"/clips/{clip.pk}/{address}/")
    assert not clip.viewings.exists()


def test_asking_for_the_head_alone_is_no_watching(cast, clip):
    assert part(as_person(cast.teacher), clip, method="head") in (200, 206)
    assert not clip.viewings.exists()


def test_what_nginx_sends_is_noted_too(cast, clip, settings):
    settings.MEDIA_BY_NGINX = True
    answer = as_person(cast.teacher).get(f"/clips/{clip.pk}/media/")
    assert answer["X-Accel-Redirect"]
    assert clip.viewings.count() == 1


def test_a_second_part_writes_nothing(cast, clip):
    player = as_person(cast.teacher)
    part(player, clip)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        part(player, clip)
    said = [query["sql"] for query in asked]
    assert not [sql for sql in said if "viewing" in sql or sql.startswith(("UPDATE", "INSERT"))]


def at(monkeypatch, moment, since_s: float) -> None:
    """Let it be another time, by the clock and by what the process remembers."""
    monkeypatch.setattr(timezone, "now", lambda: moment)
    for pair, noted in viewings._noted.items():
        viewings._noted[pair] = noted - since_s


def test_a_sitting_goes_on_until_half_an_hour_passed_without_a_request(cast, clip, monkeypatch):
    begun = timezone.now()
    viewings.note(clip, cast.teacher)
    at(monkeypatch, begun + timedelta(minutes=6), 360)
    viewings.note(clip, cast.teacher)
    at(monkeypatch, begun + timedelta(minutes=35), 1740)
    viewings.note(clip, cast.teacher)
    one = clip.viewings.get()
    assert one.last_at - one.first_at >= timedelta(minutes=34)
    at(monkeypatch, begun + timedelta(minutes=66), 1860)
    viewings.note(clip, cast.teacher)
    assert clip.viewings.count() == 2


def test_two_processes_write_one_sitting(cast, clip):
    viewings.note(clip, cast.teacher)
    viewings._noted.clear()  # as another process would be
    viewings.note(clip, cast.teacher)
    assert clip.viewings.count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_busy_database_does_not_hold_the_film_up(cast, clip, caplog):
    """GIVEN another program writes for long WHEN a teacher asks THEN she gets her part soon.

    On SQLite, where a writer holds the whole database.
    """
    player = as_person(cast.teacher)
    other = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    begun = time.monotonic()
    assert part(player, clip) == 206
    assert time.monotonic() - begun < 2
    other.rollback()
    other.close()
    assert "was not noted yet" in caplog.text
    assert not clip.viewings.exists()
    with connection.cursor() as cursor:  # others wait as long as ever
        assert cursor.execute("PRAGMA busy_timeout").fetchone() == (20_000,)
    assert part(player, clip) == 206
    assert clip.viewings.count() == 1


def test_pupil_and_guardian_read_who_watched_and_when(cast, clip):
    make_return(clip)
    when = timezone.now() - timedelta(days=2)
    said = {"first_at": when, "last_at": when + timedelta(minutes=12)}
    Viewing.objects.create(clip=clip, person=cast.teacher, role="teacher", **said)
    Viewing.objects.create(clip=clip, person=cast.guardian, role="guardian", **said)
    begun = timezone.localtime(when).strftime("%H:%M")
    ended = timezone.localtime(when + timedelta(minutes=12)).strftime("%H:%M")
    for reader in (cast.pupil, cast.guardian):
        page = as_person(reader).get(f"/clips/{clip.pk}/").content.decode()
        watched = page[page.index("Watched by") :]
        assert cast.teacher.name in watched
        assert f"{begun} to about {ended}" in watched
        assert (cast.guardian.name in watched) == (reader == cast.pupil)  # she reads "You"


def test_a_clip_under_way_says_that_nobody_watched_it(cast, clip):
    assert b"Nobody yet." in as_person(cast.pupil).get(f"/clips/{clip.pk}/").content


def test_who_watched_stays_when_a_watcher_is_erased_and_goes_with_the_clip(cast, clip):
    viewings.note(clip, cast.guardian)
    clip.viewings.update(person=None)
    assert b"whose account was erased" in as_person(cast.pupil).get(f"/clips/{clip.pk}/").content
    services.erase(clip)
    assert not Viewing.objects.exists()
    viewings._noted.clear()
    viewings.note(clip, cast.teacher)  # a request that was under way meanwhile
    assert not Viewing.objects.exists()
