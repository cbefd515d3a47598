"""The whole way of a clip in an S3-compatible store, against a local server.

moto's server speaks S3 over real HTTP; it does not check signatures, which a real store does.
"""

import os
import time

import pytest

from studio.clips import services, tasks
from studio.clips.models import Clip, Rendition, Stage
from studio.clips.storage import spool
from studio.clips.storage.stores import store
from studio.clips.upkeep import backup, restore
from studio.clips.upkeep.orphans import sweep_orphans
from studio.clips.upkeep.verification import verify
from tests.cast import as_person
from tests.samples import SAMPLE


@pytest.fixture
def done_clip(bucket, enrolment, monkeypatch) -> Clip:
    """Sent, heard and playable."""
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: None)
    clip = services.receive(enrolment, enrolment.pupil, [SAMPLE.read_bytes()], "clip.mp4")
    tasks.listen_to_clip(str(clip.pk))
    tasks.prepare_small(str(clip.pk))
    tasks.prepare_playback(str(clip.pk))
    assert dict(clip.stages.values_list("kind", "state")) == Stage.DONE
    return clip


def on_the_bench() -> list:
    return [path for path in store().bench().rglob("*") if path.is_file()]


@pytest.mark.django_db(transaction=True)
def test_a_clip_is_heard_played_backed_up_and_erased(done_clip, bucket, media_root, tmp_path):
    assert len(list(bucket.objects.all())) == 5
    assert [path for path in media_root.rglob("*") if path.is_file()] == on_the_bench() == []
    playable = Rendition.objects.get(clip=done_clip, kind=Rendition.Kind.PLAYABLE)
    pupil = as_person(done_clip.uploaded_by)
    answer = pupil.get(f"/clips/{done_clip.pk}/media/", headers={"Range": "bytes=100-299"})
    assert answer.status_code == 206
    assert answer.getvalue() == b"".join(store().read(playable.path, 0, 300))[100:]
    report = verify()
    assert (report.files, report.faults, report.orphans) == (5, [], [])

    backup.back_up(tmp_path / "backup")
    bucket.objects.all().delete()
    assert len(verify().faults) == 5
    restore.restore(tmp_path / "backup", replace=True)
    assert (verify().faults, verify().orphans) == ([], [])

    services.erase(done_clip)
    assert list(bucket.objects.all()) == []
    assert pupil.get(f"/clips/{done_clip.pk}/media/").status_code == 404
    assert restore.restore(tmp_path / "backup", replace=True).erased_again == 1
    assert list(bucket.objects.all()) == on_the_bench() == []


@pytest.mark.django_db(transaction=True)
def test_a_backup_takes_clips_from_the_folder_to_the_bucket(
    bucket, enrolment, settings, tmp_path, monkeypatch
):
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: None)
    options, settings.OBJECT_STORE = settings.OBJECT_STORE, None
    services.receive(enrolment, enrolment.pupil, [SAMPLE.read_bytes()], "clip.mp4")
    backup.back_up(tmp_path / "backup")
    settings.OBJECT_STORE = options
    assert len(verify().faults) == 1
    restore.restore(tmp_path / "backup", replace=True)
    report = verify()
    assert (report.files, report.faults, report.orphans) == (1, [], [])


def test_what_is_not_there_is_told_at_once(bucket):
    for look in (store().size, lambda name: store().read(name, 0, 10)):
        with pytest.raises(FileNotFoundError):
            look("clips/none")
    with pytest.raises(FileNotFoundError), store().local("clips/none"):
        pass
    store().delete("clips/none")


def test_left_overs_go_from_the_bucket_and_from_the_bench(bucket, db):
    spool.keep(spool.spool([b"no row names me"], 100), "clips/ab/left-over")
    spool.spool([b"nobody kept me"], 100)
    (bench,) = on_the_bench()
    os.utime(bench, (time.time() - 2 * 24 * 3600,) * 2)
    assert sweep_orphans() == [f"bench/{bench.name}"]
    assert sweep_orphans(older_than_s=-60) == ["clips/ab/left-over"]
    assert list(bucket.objects.all()) == []
