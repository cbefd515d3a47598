"""An installation of an earlier day is brought up to date, and everybody finds what was there.

Each file is the whole database of such a program, as SQL that SQLite itself wrote out
(``Connection.iterdump``): the cast of :mod:`tests.cast`, with a clip that waits, one that was
returned, one that was refused, a drill that was set, a plan of keys and an open invitation. They
were made by the programs of those days and are not changed any more.
"""

import gzip
import sqlite3
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection, connections
from django.test import Client

from studio import environment
from studio import settings as studio_settings
from studio.accounts import consent
from studio.accounts.models import Enrolment, GuardianLink
from studio.clips.models import Clip
from studio.drills.models import Rotation
from studio.review.models import Return
from tests.cast import PASSWORD
from tests.production import use_database

EARLIER = sorted(Path(__file__).parent.glob("*.sql.gz"))
KEPT = (
    "accounts_person",
    "accounts_enrolment",
    "accounts_membership",
    "accounts_invitation",
    "clips_clip",
    "clips_listening",
    "drills_drill",
    "drills_assignment",
    "drills_rotationlesson",
    "review_review",
    "review_comment",
    "review_return",
)
TICKED_OFF = """
UPDATE drills_rotationlesson SET major_on = '2026-11-20' WHERE position = 1;
UPDATE drills_rotation SET readiness = '{"grip": "2026-11-13"}';
"""
PEOPLE = {
    "ottilie.brandt@teacher.example": "/waiting/ /pupils/ /drills/ /people/ /account/ /phrases/",
    "mira.sandholm@pupil.example": "/queue/ /send/ /account/",
    "edda.sandholm@guardian.example": "/children/ /account/",
}


def counted(rows) -> dict[str, int]:
    return {table: rows(f"SELECT count(*) FROM {table}") for table in KEPT}


@pytest.fixture(params=EARLIER, ids=lambda path: path.name.partition(".")[0])
def upgraded(
    request, tmp_path, monkeypatch, settings, django_db_blocker
) -> Iterator[dict[str, int]]:
    """The studio's database is an earlier one that was migrated; how many rows it had before."""
    path = tmp_path / "studio.sqlite3"
    earlier = sqlite3.connect(path)
    earlier.executescript(gzip.decompress(request.param.read_bytes()).decode())
    earlier.executescript(TICKED_OFF)
    before = counted(lambda asked: earlier.execute(asked).fetchone()[0])
    earlier.close()
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{path}")
    settings.PASSWORD_HASHERS = studio_settings.PASSWORD_HASHERS
    other = environment.database("DATABASE_URL", tmp_path)
    present = settings.DATABASES["default"]
    with django_db_blocker.unblock():
        use_database(connections.configure_settings({"default": other})["default"])
        try:
            call_command("migrate", verbosity=0)
            yield before
        finally:
            use_database(present)


def test_there_are_earlier_ones():
    assert len(EARLIER) >= 2


@pytest.mark.sweep(1 / 2)
def test_no_row_is_lost_and_what_was_agreed_holds(upgraded):
    def rows(asked: str) -> int:
        with connection.cursor() as cursor:
            return cursor.execute(asked).fetchone()[0]

    assert min(upgraded.values()) >= 1, "each kind of row was there"
    assert counted(rows) == upgraded
    connection.check_constraints()
    place = Enrolment.objects.get(pupil__name="Mira Sandholm")
    assert consent.is_given(place)
    assert [guardian.name for guardian in consent.deciders(place)] == ["Edda Sandholm"]
    assert GuardianLink.objects.get(guardian__name="Edda Sandholm").studio == place.studio
    assert place.instrument() is not None


@pytest.mark.sweep(1 / 2)
def test_everybody_logs_in_and_finds_what_was_there(upgraded):
    titles = {clip.title: f"/clips/{clip.pk}/" for clip in Clip.objects.all()}
    assert set(titles) >= {"Octaves that wait", "Octaves that came back"}
    for address, pages in PEOPLE.items():
        browser = Client()
        answer = browser.post("/log-in/", {"username": address, "password": PASSWORD})
        assert answer.status_code == 302, address
        for page in [*pages.split(), titles["Octaves that came back"]]:
            assert browser.get(page, follow=True).status_code == 200, (address, page)
        waits = browser.get(titles["Octaves that wait"])
        assert waits.status_code == 200
        assert b"Octaves that wait" in waits.content


@pytest.mark.sweep(1 / 2)
def test_what_was_returned_reads_as_it_did(upgraded):
    returned = Return.objects.get()
    browser = Client()
    browser.post("/log-in/", {"username": "mira.sandholm@pupil.example", "password": PASSWORD})
    page = browser.get(f"/clips/{returned.review.clip_id}/").text
    assert "Listen to the upper note." in page


@pytest.mark.sweep(1 / 2)
def test_a_plan_of_keys_goes_on_where_it_was(upgraded):
    plan = Rotation.objects.get()
    first, second = plan.rounds.get(number=1).lessons.all()[:2]
    assert [str(first), str(second)] == ["G major and G minor", "D major and D minor"]
    assert [planned.done_on for planned in first.planned] == [date(2026, 11, 20), None]
    ticked = {line["words"]: line["ticked_on"] for line in plan.readiness}
    assert len(ticked) == 5
    assert ticked["The grip stays free."] == "2026-11-13"
