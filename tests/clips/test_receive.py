"""Receiving: each odd file ends in the right state with a plain sentence; nothing is lost."""

import json

import pytest

from studio.clips import sentences, services
from studio.clips.models import Clip, Original, Stage
from studio.clips.storage import spool
from studio.clips.storage.stores import FolderStore
from tests.samples import SAMPLE


@pytest.fixture(autouse=True)
def sent(monkeypatch):
    """What would go to the queue."""
    messages = []
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: messages.append((pk, kind)))
    return messages


def receive(enrolment, data: bytes, name: str = "clip.mp4", **more) -> Clip:
    return services.receive(enrolment, enrolment.pupil, [data], name, **more)


def kept_files(media_root):
    return [path for path in media_root.rglob("*") if path.is_file()]


def test_a_good_clip_is_received_with_its_file_and_sent_on(
    enrolment, sent, media_root, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        clip = receive(enrolment, SAMPLE.read_bytes(), title="  Octaves ", note="hard")
    assert (clip.intake, clip.title) == (Clip.Intake.RECEIVED, "Octaves")
    assert clip.has_video
    assert FolderStore().path(clip.original.path).read_bytes() == SAMPLE.read_bytes()
    kinds = [Stage.Kind.SMALL, Stage.Kind.PLAYBACK, Stage.Kind.LISTENING]
    assert [kind for _, kind in sent] == kinds, "what can be watched soonest comes first"
    assert clip.review.state == "waiting"


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b"not a recording " * 500, "not_media"),
        (b"#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:9,\nother.ts\n", None),
        (SAMPLE.read_bytes()[:2000], None),
    ],
    ids=["zero_bytes", "text", "playlist", "first_two_kilobytes"],
)
def test_what_cannot_work_is_refused_with_a_sentence_and_not_kept(
    enrolment, media_root, data, code
):
    clip = receive(enrolment, data)
    assert clip.intake == Clip.Intake.REFUSED
    assert code in (None, clip.intake_code)
    assert len(sentences.refusal(clip)) > 40
    assert "…" not in sentences.refusal(clip)
    assert kept_files(media_root) == []
    assert not clip.stages.exists()
    json.dumps(clip.intake_params)


def test_a_wrong_extension_is_judged_by_content(enrolment):
    assert receive(enrolment, SAMPLE.read_bytes(), "notes.txt").intake == Clip.Intake.RECEIVED


def test_a_cut_off_clip_keeps_what_can_be_read_and_says_so(enrolment):
    data = SAMPLE.read_bytes()
    clip = receive(enrolment, data[: int(len(data) * 0.7)])
    assert clip.intake == Clip.Intake.RECEIVED
    assert any("could be saved" in sentence for sentence in sentences.notes(clip))


def test_sending_twice_makes_one_clip(enrolment, media_root):
    first = receive(enrolment, SAMPLE.read_bytes(), upload_key="k1")
    again = receive(enrolment, SAMPLE.read_bytes(), upload_key="k1")
    assert again == first
    assert (Clip.objects.count(), len(kept_files(media_root))) == (1, 1)


def test_too_many_bytes_are_refused_and_nothing_is_kept(enrolment, settings, media_root):
    settings.MAX_UPLOAD_BYTES = 1000
    with pytest.raises(spool.TooLarge):
        receive(enrolment, SAMPLE.read_bytes())
    assert (Clip.objects.count(), kept_files(media_root)) == (0, [])


def test_too_long_is_refused_with_both_lengths(enrolment, settings):
    settings.MAX_CLIP_S = 5
    clip = receive(enrolment, SAMPLE.read_bytes())
    assert clip.intake_code == "too_long"
    assert "0:05" in sentences.refusal(clip)


def test_erasing_removes_file_and_names(enrolment, media_root, django_capture_on_commit_callbacks):
    clip = receive(enrolment, SAMPLE.read_bytes(), title="mine")
    with django_capture_on_commit_callbacks(execute=True):
        services.erase(clip)
    clip.refresh_from_db()
    assert (clip.title, clip.generation) == ("", 2)
    assert not Original.objects.exists()
    assert kept_files(media_root) == []
