"""A clip whose worker was killed: it does not queue again, and what was left of it goes."""

from datetime import timedelta

import pytest
from django.utils import timezone

from studio.clips import services, tasks
from studio.clips.models import Clip, Stage
from studio.clips.processing import stages
from studio.clips.storage import spool
from studio.clips.storage.stores import FolderStore
from studio.clips.upkeep.verification import verify
from studio.jobs import leases
from tests.samples import SAMPLE

LONG_AGO = timedelta(minutes=5)


@pytest.fixture
def worked_on(monkeypatch) -> list[Clip]:
    """The clips that were worked on, in that order; the work itself is nothing here."""
    order: list[Clip] = []

    def note(stage: Stage) -> None:
        order.append(stage.clip)
        with stages.publishing(stage):
            pass

    monkeypatch.setattr(tasks.renditions, "listen_to", note)
    return order


def another(clip: Clip) -> Clip:
    made = Clip.objects.create(
        enrolment=clip.enrolment, uploaded_by=clip.uploaded_by, intake=Clip.Intake.RECEIVED
    )
    Stage.objects.create(clip=made, kind=Stage.Kind.LISTENING)
    return made


@pytest.mark.parametrize(
    "cut_off",
    [
        {"state": Stage.State.WORKING, "lease_until": timezone.now() - LONG_AGO},
        {"state": Stage.State.WAITING, "changed_at": timezone.now() - LONG_AGO},
    ],
    ids=["its worker was killed", "its attempt failed"],
)
def test_what_was_cut_off_comes_before_what_was_sent_since(clip, stage, worked_on, cut_off):
    Stage.objects.filter(pk=stage.pk).update(attempt=1, **cut_off)
    later = another(clip)
    tasks.listen_to_clip(str(later.pk))
    assert worked_on == [clip, later]


def test_what_is_at_work_or_only_waits_is_left_to_its_own_turn(clip, stage, worked_on):
    assert stages.claim(clip.pk, Stage.Kind.LISTENING)
    waiting, later = another(clip), another(clip)
    Stage.objects.filter(clip=waiting).update(changed_at=timezone.now() - LONG_AGO)
    tasks.listen_to_clip(str(later.pk))
    assert worked_on == [later]


@pytest.mark.parametrize(("deaths", "again"), [(0, True), (leases.MAX_WORKER_DEATHS - 1, False)])
def test_a_last_attempt_that_was_cut_off_is_begun_again_until_too_many_workers_died(
    clip, stage, worked_on, deaths, again
):
    Stage.objects.filter(pk=stage.pk).update(
        attempt=leases.MAX_ATTEMPTS,
        worker_deaths=deaths,
        state=Stage.State.WORKING,
        lease_until=timezone.now() - LONG_AGO,
    )
    later = another(clip)
    tasks.listen_to_clip(str(later.pk))
    assert worked_on == ([clip, later] if again else [later])


@pytest.mark.django_db(transaction=True)
def test_what_a_killed_worker_had_kept_goes_when_another_publishes(enrolment, monkeypatch):
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: None)
    clip = services.receive(enrolment, enrolment.pupil, [SAMPLE.read_bytes()], "clip.mp4")
    folder = FolderStore().path(spool.clip_folder(clip.pk))
    left = [folder / "playable-0123abcd.mp4", folder / "peaks-0123abcd.json"]
    for path in left:
        path.write_bytes(b"kept, but its worker was killed before it wrote the row")
    tasks.prepare_playback(str(clip.pk))
    assert [path.exists() for path in left] == [False, True], (
        "the waveform is listening's to remove"
    )
    tasks.listen_to_clip(str(clip.pk))
    report = verify()
    assert (report.files, report.faults, report.orphans) == (4, [], [])
