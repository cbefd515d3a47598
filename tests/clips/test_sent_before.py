"""The same recording once more: asked about, decided, and one clip whoever comes at once."""

from pathlib import Path

import pytest

from studio.clips import services, tasks
from studio.clips.models import Clip, Upload
from studio.clips.storage.stores import FolderStore
from studio.clips.uploads import partial, protocol
from studio.clips.uploads import services as uploads
from tests.samples import SAMPLE

DATA = SAMPLE.read_bytes()


@pytest.fixture(autouse=True)
def no_queue(monkeypatch):
    monkeypatch.setattr(services, "dispatch", lambda pk, kind: True)


def receive(enrolment, key: str, data: bytes = DATA, **more) -> Clip:
    said = {"title": key, "upload_key": key}
    return services.receive(enrolment, enrolment.pupil, [data], "a.mp4", **said, **more)


def sent(enrolment, data: bytes = DATA, **said: str) -> Upload:
    upload = uploads.begin(enrolment, enrolment.pupil, len(data), protocol.encoded(said))
    uploads.write(upload, 0, [data])
    uploads.finish(upload)
    return upload


def on_the_bench() -> list[Path]:
    return list(FolderStore().bench().iterdir())


def test_the_same_bytes_under_another_key_are_handed_back_with_the_clip(enrolment):
    first = receive(enrolment, "first")
    with pytest.raises(services.SentBefore) as before:
        receive(enrolment, "second")
    assert before.value.clip == first
    assert before.value.spooled.path.read_bytes() == DATA
    assert receive(enrolment, "third", again=True) != first
    assert Clip.objects.count() == 2


def test_the_same_key_with_another_recording_is_another_clip(enrolment):
    """A page that is gone back to has its key still."""
    first = receive(enrolment, "key")
    assert receive(enrolment, "key") == first
    other = receive(enrolment, "key", DATA + b"\0")
    assert other != first
    assert other.original.sha256 != first.original.sha256


@pytest.mark.parametrize("way", ["erased", "of_another_pupil"])
def test_what_is_erased_or_somebody_elses_is_not_asked_about(cast, way):
    first = receive(cast.other_enrolment if way == "of_another_pupil" else cast.enrolment, "first")
    if way == "erased":
        services.erase(first)
    assert receive(cast.enrolment, "second").intake == Clip.Intake.RECEIVED


def test_of_two_at_once_the_second_finds_the_first_in_its_transaction(enrolment, monkeypatch):
    """Both have looked before either has written."""
    finds = iter([lambda *of: None, services._sent_before])
    first = receive(enrolment, "first")

    monkeypatch.setattr(services, "_sent_before", lambda *of: next(finds)(*of))
    with pytest.raises(services.SentBefore) as before:
        receive(enrolment, "second")
    assert before.value.clip == first
    assert before.value.spooled is None
    assert (Clip.objects.count(), on_the_bench()) == (1, [])
    assert len(list(FolderStore().root.rglob("original"))) == 1


def test_an_upload_of_the_same_waits_for_its_pupil_and_no_sweep_decides(enrolment):
    first = sent(enrolment, title="Octaves", key="a").clip
    second = sent(enrolment, title="Once more", key="b")
    assert (second.clip, second.same_as, second.asks) == (None, first, True)
    Upload.objects.update(changed_at="2020-01-01T00:00Z")
    assert uploads.finish_left() == 0
    assert uploads.finish(second) is None
    clip = uploads.send_again(second)
    assert (clip.title, Clip.objects.count()) == ("Once more", 2)
    assert uploads.send_again(second) == clip
    assert on_the_bench() == []


def test_what_is_left_undecided_goes_with_its_bytes(enrolment):
    sent(enrolment, key="a")
    second = sent(enrolment, key="b")
    Upload.objects.update(changed_at="2020-01-01T00:00Z")
    tasks.remove_left_overs()
    assert not partial.path(second.pk).exists()
    assert (Clip.objects.count(), Upload.objects.count()) == (1, 0)


def test_once_the_first_is_erased_the_second_is_no_question_any_more(enrolment):
    first = sent(enrolment, key="a").clip
    second = sent(enrolment, key="b")
    services.erase(first)
    second = Upload.objects.get(pk=second.pk)
    assert not second.asks
    assert uploads.finish(second) is not None


def test_a_recording_is_recognised_by_its_fingerprint_and_its_words_are_kept(enrolment):
    said = {"title": "Sixths", "note": "Wind", "fingerprint": "9-abc"}
    half = uploads.begin(enrolment, enrolment.pupil, 9, protocol.encoded(said | {"key": "a"}))
    later = {"title": "", "note": "No wind", "fingerprint": "9-abc", "key": "b"}
    again = uploads.begin(enrolment, enrolment.pupil, 9, protocol.encoded(later))
    assert (again.pk, again.key) == (half.pk, "a")
    kept = protocol.decoded(Upload.objects.get().metadata)
    assert (kept["title"], kept["note"]) == ("Sixths", "No wind")
    other = uploads.begin(
        enrolment, enrolment.pupil, 9, protocol.encoded(later | {"fingerprint": "9-abd"})
    )
    assert other.pk != half.pk


def test_words_that_come_while_the_clip_is_made_are_the_clips(cast, monkeypatch):
    taken_in = services.take_in

    def slowly(*args, **kwargs):
        clip = taken_in(*args, **kwargs)
        uploads.say_anew(Upload.objects.get(), protocol.encoded({"title": "Typed meanwhile"}))
        return clip

    monkeypatch.setattr(services, "take_in", slowly)
    upload = sent(cast.enrolment, title="Before")
    assert Clip.objects.get().title == "Typed meanwhile"
    uploads.say_anew(Upload.objects.get(pk=upload.pk), protocol.encoded({"title": "And after"}))
    assert Clip.objects.get().title == "And after"


def test_what_was_refused_goes_by_itself_after_three_days(enrolment):
    receive(enrolment, "letter", b"dear teacher, " * 99)
    tasks.remove_left_overs()
    assert Clip.objects.filter(erased_at=None).count() == 1
    Clip.objects.update(created_at="2020-01-01T00:00Z")
    tasks.remove_left_overs()
    assert not Clip.objects.filter(erased_at=None).exists()
