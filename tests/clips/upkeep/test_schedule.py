"""When backups and drills are made by themselves."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core.management import call_command

from studio.clips.models import UpkeepRun
from studio.clips.upkeep import runs
from tests.live import environment_of_tests

Kind = UpkeepRun.Kind
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


def made(kind: str, at: datetime, is_whole: bool = True, **figures) -> None:
    UpkeepRun.objects.create(kind=kind, started_at=at, is_whole=is_whole, figures=figures)


@pytest.fixture(autouse=True)
def folder(settings, tmp_path, db):
    settings.BACKUP_FOLDER = str(tmp_path / "backups")


def test_without_a_folder_nothing_is_due(settings):
    settings.BACKUP_FOLDER = ""
    assert runs.due(NOON) == []


def test_the_first_backup_and_drill_are_made_at_once():
    assert runs.due(NOON) == ["backup", "drill"]


@pytest.mark.parametrize(
    ("last", "now", "is_due"),
    [
        (NOON - timedelta(hours=10), NOON, True),  # at two, before three o'clock
        (NOON - timedelta(hours=8), NOON, False),  # at four
        (NOON - timedelta(hours=8), NOON + timedelta(hours=14), False),  # two in the next night
        (NOON - timedelta(hours=8), NOON + timedelta(hours=16), True),
        (NOON - timedelta(days=3), NOON, True),  # the machine was off
    ],
)
def test_a_backup_is_made_each_night_at_three(last, now, is_due):
    made(Kind.BACKUP, last, files=1)
    made(Kind.DRILL, NOON)
    assert runs.due(now) == (["backup"] if is_due else [])


def test_one_that_could_not_be_finished_is_tried_again_after_hours():
    made(Kind.DRILL, NOON)
    made(Kind.BACKUP, NOON, is_whole=False)
    assert runs.due(NOON + timedelta(hours=5)) == []
    assert runs.due(NOON + timedelta(hours=7)) == ["backup"]


@pytest.mark.parametrize(
    ("is_whole", "days", "is_due"), [(True, 6, False), (True, 8, True), (False, 2, True)]
)
def test_a_drill_is_made_each_week_and_sooner_after_one_that_failed(is_whole, days, is_due):
    now = NOON + timedelta(days=days)
    made(Kind.DRILL, NOON, is_whole)
    made(Kind.BACKUP, now - timedelta(hours=1), files=1)
    assert runs.due(now) == (["drill"] if is_due else [])


@pytest.mark.django_db(transaction=True)
def test_what_is_due_is_really_done(data_folder, settings, tmp_path, monkeypatch):
    """As the process does it: each in a process of its own, whose row is seen here."""
    for name, value in environment_of_tests().items():
        monkeypatch.setenv(name, value)
    monkeypatch.setenv("BACKUP_FOLDER", settings.BACKUP_FOLDER)
    call_command("upkeep", "--once")
    assert runs.last_backup().is_whole
    assert runs.last_drill().is_whole
    assert runs.due() == []
