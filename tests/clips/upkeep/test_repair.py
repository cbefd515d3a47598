"""What is missing or damaged: made again by a worker, brought back from a backup, or named."""

import pytest
from django.core.management import CommandError, call_command

from studio.clips import services, tasks
from studio.clips.models import Clip, Listening, Rendition, Stage
from studio.clips.processing import stages
from studio.clips.storage.stores import FolderStore
from studio.clips.upkeep.backup import back_up
from studio.clips.upkeep.repair import repair
from studio.clips.upkeep.verification import verify
from tests.faults.at_work import SAMPLE

pytestmark = pytest.mark.django_db(transaction=True)
DO = {
    Stage.Kind.LISTENING: tasks.listen_to_clip,
    Stage.Kind.PLAYBACK: tasks.prepare_playback,
    Stage.Kind.SMALL: tasks.prepare_small,
}


@pytest.fixture
def done(enrolment, monkeypatch, settings, tmp_path) -> Clip:
    """Sent, heard and playable."""
    settings.STUDIO_DATA = tmp_path / "data"
    settings.STUDIO_DATA.mkdir()
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: None)
    clip = services.receive(enrolment, enrolment.pupil, [SAMPLE.read_bytes()], "clip.mp4")
    work(clip)
    return clip


def work(clip: Clip) -> None:
    """Do what waits, as workers would."""
    for stage in list(stages.lost()) or Stage.objects.filter(clip=clip):
        DO[stage.kind](str(stage.clip_id))


def file_of(clip: Clip, kind: str):
    return FolderStore().path(Rendition.objects.get(clip=clip, kind=kind).path)


def test_what_a_worker_can_make_is_made_again(done, capsys):
    file_of(done, Rendition.Kind.POSTER).unlink()
    file_of(done, Rendition.Kind.SMALL).write_bytes(b"half")
    call_command("repair")
    said = capsys.readouterr().out
    assert "Can be made again: 2" in said
    assert "Nothing was changed." in said
    assert dict(done.stages.values_list("kind", "state")) == Stage.DONE
    call_command("repair", "--apply")
    assert "Being made again: 2" in capsys.readouterr().out
    waiting = set(stages.lost().values_list("kind", flat=True))
    assert waiting == {Stage.Kind.PLAYBACK, Stage.Kind.SMALL}, "the next sweep sends them out"
    work(done)
    assert verify().faults == []
    call_command("repair")
    assert "Nothing is missing or damaged." in capsys.readouterr().out


def test_a_listening_that_is_gone_is_heard_again(done):
    Listening.objects.all().delete()
    Rendition.objects.filter(kind=Rendition.Kind.PLAYABLE).delete()
    found = repair(None, apply=True)
    assert len(found.again) == 2
    work(done)
    assert Listening.objects.filter(clip=done).count() == 1
    assert repair(None, apply=False).again == []


def test_a_lost_original_comes_back_from_a_backup(done, tmp_path, capsys):
    back_up(tmp_path / "backups")
    original = FolderStore().path(done.original.path)
    content = original.read_bytes()
    original.write_bytes(b"something else")
    call_command("repair", "--from", tmp_path / "backups")
    assert "In a backup: 1" in capsys.readouterr().out
    assert original.read_bytes() == b"something else"
    call_command("repair", "--apply", "--from", tmp_path / "backups")
    assert original.read_bytes() == content
    assert verify().faults == []


def test_what_nobody_has_is_named_and_nothing_is_made_of_it(done, capsys):
    FolderStore().path(done.original.path).unlink()
    file_of(done, Rendition.Kind.POSTER).unlink()
    with pytest.raises(CommandError, match="2 files are lost"):
        call_command("repair", "--apply")
    said = capsys.readouterr().out
    assert f"original of clip {done.pk}" in said
    assert dict(done.stages.values_list("kind", "state")) == Stage.DONE


def test_rows_and_files_that_belong_to_nothing_are_listed(done, capsys):
    orphan = FolderStore().path("clips/zz/left-over")
    orphan.parent.mkdir(parents=True)
    orphan.touch()
    bare = Clip.objects.create(
        enrolment=done.enrolment, uploaded_by=done.uploaded_by, intake=Clip.Intake.RECEIVED
    )
    with pytest.raises(CommandError, match="1 file is lost"):
        call_command("repair")
    said = capsys.readouterr().out
    assert f"clip {bare.pk} was received, and no row names its file" in said
    assert "clips/zz/left-over" in said
