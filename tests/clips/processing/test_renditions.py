"""The real work on a real clip, in this process: what is published, and what a failure leaves."""

import numpy as np
import pytest
from django.db import OperationalError

from studio import media
from studio.clips import sentences, services, tasks
from studio.clips.models import Clip, Listening, Rendition, Stage
from studio.clips.processing import renditions, stages
from studio.clips.storage import spool
from studio.clips.storage.stores import FolderStore
from studio.clips.upkeep.verification import named_files, verify
from studio.jobs import dead_letters, leases
from tests.samples import SAMPLE


@pytest.fixture
def sent_clip(enrolment, monkeypatch) -> Clip:
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: None)
    return services.receive(enrolment, enrolment.pupil, [SAMPLE.read_bytes()], "clip.mp4")


def rendition(clip, kind) -> Rendition:
    return Rendition.objects.get(clip=clip, kind=kind)


def test_listening_publishes_the_waveform_and_what_was_heard_and_lets_the_sound_go(sent_clip):
    tasks.listen_to_clip(str(sent_clip.pk))
    stage = Stage.objects.get(clip=sent_clip, kind=Stage.Kind.LISTENING)
    assert (stage.state, stage.failure_detail) == (Stage.State.HEARD, "")
    listening = Listening.objects.get(clip=sent_clip)
    assert listening.measurement["events"]
    assert not sent_clip.renditions.filter(kind="sound").exists(), "it was heard"
    sent_clip.review.refresh_from_db()
    assert sent_clip.review.double_stops_heard > 0


def test_a_second_message_adds_nothing(sent_clip):
    for _ in range(2):
        tasks.listen_to_clip(str(sent_clip.pk))
    assert Listening.objects.filter(clip=sent_clip).count() == 1


def test_playback_publishes_a_copy_and_a_poster(sent_clip):
    tasks.prepare_playback(str(sent_clip.pk))
    playable = rendition(sent_clip, "playable")
    assert playable.content_type == "video/mp4"
    assert FolderStore().path(playable.path).stat().st_size == playable.size_bytes
    assert rendition(sent_clip, "poster").content_type == "image/jpeg"


def test_the_smaller_picture_is_a_rendition_of_its_own_and_goes_with_the_clip(
    sent_clip, django_capture_on_commit_callbacks
):
    tasks.prepare_small(str(sent_clip.pk))
    stage = Stage.objects.get(clip=sent_clip, kind=Stage.Kind.SMALL)
    assert (stage.state, stage.failure_detail) == (Stage.State.PLAYABLE, "")
    small = rendition(sent_clip, "small")
    assert small.content_type == "video/mp4"
    assert verify().faults == []
    assert small.path in {named.path for named in named_files()}, "so it is backed up as well"
    with django_capture_on_commit_callbacks(execute=True):
        services.erase(sent_clip)
    assert not FolderStore().path(small.path).exists()


def test_clips_sent_before_there_was_a_smaller_picture_get_theirs_when_nothing_else_is_to_do(
    sent_clip, enrolment, monkeypatch
):
    sent = []
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: sent.append((pk, kind)))
    sound_only = Clip.objects.create(
        enrolment=enrolment, uploaded_by=enrolment.pupil, intake="received"
    )
    sent_clip.stages.filter(kind=Stage.Kind.SMALL).delete()
    assert services.begin_an_owed_small() is None, "the full picture of another waits"
    Stage.objects.filter(clip=sent_clip).update(state=Stage.State.FAILED)
    assert services.begin_an_owed_small() == sent_clip
    assert sent == [(sent_clip.pk, Stage.Kind.SMALL)]
    assert services.begin_an_owed_small() is None
    tasks.prepare_small(str(sent_clip.pk))
    assert services.begin_an_owed_small() is None
    assert not sound_only.stages.exists()
    sent_clip.stages.filter(kind=Stage.Kind.SMALL).delete()
    services.erase(sent_clip)
    assert services.begin_an_owed_small() is None, "nothing is made of what was erased"


@pytest.mark.parametrize("odd", [{"version": 99}, {"version": None}, {"colour": "red"}])
def test_a_message_of_another_version_is_parked_once_and_not_acted_on(
    sent_clip, settings, tmp_path, odd
):
    settings.STUDIO_DATA = tmp_path
    for _ in range(2):
        tasks.listen_to_clip(clip_id=str(sent_clip.pk), **odd)
    assert Stage.objects.get(clip=sent_clip, kind="listening").state == Stage.State.WAITING
    ((path, message),) = dead_letters.parked_messages()
    assert path.parent == tmp_path / "parked"
    assert str(sent_clip.pk) in message["said"]
    assert message["task"] == "studio.clips.tasks.listen_to_clip"


def test_what_was_published_stays_when_only_the_answer_was_lost(sent_clip, monkeypatch):
    really_publish = stages.publish

    def publish_and_lose_the_answer(stage, write) -> None:
        really_publish(stage, write)
        raise OperationalError("the connection was cut")

    monkeypatch.setattr(stages, "publish", publish_and_lose_the_answer)
    tasks.listen_to_clip(str(sent_clip.pk))
    assert Stage.objects.get(clip=sent_clip, kind="listening").state == Stage.State.HEARD
    assert FolderStore().path(rendition(sent_clip, "peaks").path).is_file()


def test_a_failure_is_recorded_tried_again_and_leaves_no_file(sent_clip, monkeypatch):
    def breaks(*args, **kwargs):
        raise RuntimeError("broken on purpose")

    monkeypatch.setattr("studio.intonation.listen", breaks)
    before = sorted(FolderStore().path(spool.clip_folder(sent_clip.pk)).iterdir())
    for _ in range(3):
        tasks.listen_to_clip(str(sent_clip.pk))
    stage = Stage.objects.get(clip=sent_clip, kind="listening")
    assert (stage.state, stage.attempt) == (Stage.State.PARKED, 3)
    assert "broken on purpose" in stage.failure_detail
    assert "kept" in sentences.stage_failure(stage)
    assert sorted(FolderStore().path(spool.clip_folder(sent_clip.pk)).iterdir()) == before


def test_a_worker_that_lost_its_lease_leaves_no_file_and_no_row(sent_clip, monkeypatch):
    stage = stages.claim(sent_clip.pk, Stage.Kind.LISTENING)
    Stage.objects.filter(pk=stage.pk).update(lease_token="somebody else")
    with pytest.raises(leases.LeaseLost):
        renditions.listen_to(stage)
    assert not Listening.objects.exists()
    folder = FolderStore().path(spool.clip_folder(sent_clip.pk))
    assert [path.name for path in folder.iterdir()] == ["original"]


def test_work_on_a_clip_that_was_erased_after_the_claim_is_dropped(sent_clip):
    stage = stages.claim(sent_clip.pk, Stage.Kind.LISTENING)
    services.erase(sent_clip)
    with pytest.raises(leases.LeaseLost, match="erased"):
        renditions.listen_to(stage)


def breaks_as_its_file_goes(clip, error):
    def breaks(*_, **__):
        services.erase(clip)
        raise error

    return breaks


@pytest.mark.parametrize(
    "error",
    [media.Refused("not_media"), media.Failed("killed"), FileNotFoundError("original")],
    ids=lambda error: type(error).__name__,
)
def test_work_whose_file_is_erased_under_it_is_dropped_and_judges_nothing(
    sent_clip, monkeypatch, caplog, error
):
    monkeypatch.setattr("studio.intonation.listen", breaks_as_its_file_goes(sent_clip, error))
    with caplog.at_level("INFO"):
        tasks.listen_to_clip(str(sent_clip.pk))
    said = [record.getMessage() for record in caplog.records]
    assert [one for one in said if f"listening of {sent_clip.pk}: dropped" in one], said
    assert not [one for one in said if "unexpected" in one or "again" in one], said


def test_the_sound_of_the_clip_is_what_is_listened_to(sent_clip, monkeypatch):
    heard, really = [], renditions.media.read_sound
    monkeypatch.setattr(
        renditions.media, "read_sound", lambda wav: heard.append(really(wav)) or heard[0]
    )
    tasks.listen_to_clip(str(sent_clip.pk))
    ((y, sr),) = heard
    assert abs(len(y) / sr - sent_clip.duration_s) < 0.05
    assert np.sqrt(np.mean(y**2)) > 0.01


@pytest.mark.django_db(transaction=True)
def test_the_sound_that_was_kept_of_older_clips_is_let_go_once_it_was_heard(sent_clip):
    stored = spool.keep(
        spool.spool([b"RIFF"], 100), f"{spool.clip_folder(sent_clip.pk)}/sound-1.wav"
    )
    row = {"path": stored.path, "sha256": stored.sha256, "size_bytes": stored.size_bytes}
    Rendition.objects.create(clip=sent_clip, kind=Rendition.Kind.SOUND, **row)
    assert services.let_sounds_go() == 0, "it is still to be heard"
    tasks.listen_to_clip(str(sent_clip.pk))
    assert services.let_sounds_go() == 1
    assert not FolderStore().path(stored.path).exists()
    assert verify().faults == []
