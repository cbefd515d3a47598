"""A recording whose prober or decoder dies is kept, tried again, and never refused."""

from datetime import timedelta
from io import StringIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.utils import timezone

from studio.clips import services as clips
from studio.clips import tasks
from studio.clips.models import Clip, Original, Stage, Upload
from studio.clips.processing import examination
from studio.clips.uploads import services as uploads
from studio.jobs import leases, queue
from studio.jobs.dead_letters import parked_work, try_again
from studio.jobs.rows import Leased
from studio.media import Limits
from studio.review.models import EnclosedFile, Enclosure, Review
from studio.review.tasks import prepare_enclosure
from tests.cast import as_person, make_clip
from tests.faults.at_work import SAMPLE
from tests.faults.killing import dying

pytestmark = pytest.mark.django_db(transaction=True)

DATA = SAMPLE.read_bytes()
TUS = {"tus-resumable": "1.0.0"}
HAS_MEMORY, NO_MEMORY = Limits(), Limits(probe_memory_bytes=60_000_000)


@pytest.fixture(autouse=True)
def no_queue(monkeypatch, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"
    for place in (clips, examination, tasks):
        monkeypatch.setattr(place, "dispatch", lambda pk, kind: True)
    monkeypatch.setattr(queue.app, "send_task", lambda *args, **more: None)


@pytest.fixture
def pupil(cast):
    return as_person(cast.pupil)


def send_form(pupil) -> Clip:
    file = SimpleUploadedFile("take.mp4", DATA, "video/mp4")
    answer = pupil.post("/send/", {"recording": file, "title": "Slow", "upload_key": "1"})
    assert answer.status_code == 302, "it has arrived"
    return Clip.objects.get()


def send_pieces(pupil) -> Clip:
    headers = TUS | {"upload-length": str(len(DATA))}
    address = pupil.post("/uploads/", content_type="", headers=headers)["Location"]
    for start, end in ((0, 1000), (1000, len(DATA))):
        answer = pupil.patch(
            address,
            DATA[start:end],
            content_type="application/offset+octet-stream",
            headers=TUS | {"upload-offset": str(start)},
        )
        assert answer.status_code == 204
    said = pupil.post(address.replace("/uploads/", "/send/") + "arrived/")
    assert said.status_code == 201, said.content
    assert "tried again by itself" in said.json()["sentence"]
    return Clip.objects.get()


def states(clip: Clip) -> dict[str, str]:
    return dict(Stage.objects.filter(clip=clip).values_list("kind", "state"))


def pages(cast, clip: Clip) -> list[str]:
    """The clip as its pupil and its teacher see it."""
    home = as_person(cast.pupil).get(f"/clips/{clip.pk}/")
    desk = as_person(cast.teacher).get("/waiting/")
    assert (home.status_code, desk.status_code) == (200, 200)
    assert as_person(cast.teacher).get(f"/clips/{clip.pk}/").status_code == 200
    return [home.text, desk.text]


@pytest.mark.parametrize("send", [send_form, send_pieces])
@pytest.mark.parametrize("how", ["killed", "without memory"])
def test_a_good_recording_whose_prober_dies_is_kept_and_looked_at_again(
    cast, pupil, tmp_path, monkeypatch, send, how
):
    if how == "killed":
        with dying(tmp_path, "FFPROBE"):
            clip = send(pupil)
    else:
        with monkeypatch.context() as patched:
            patched.setattr(examination, "limits", lambda: NO_MEMORY)
            clip = send(pupil)
    assert (clip.intake, states(clip)) == ("received", {"examining": "waiting"})
    assert Original.objects.get(clip=clip).size_bytes == len(DATA)
    for page in pages(cast, clip):
        assert "Waiting to be opened" in page
        assert "It will be tried again by itself." in page
        assert "refused" not in page
    tasks.examine_clip(str(clip.pk))
    clip.refresh_from_db()
    assert states(clip) == dict.fromkeys(("listening", "playback", "small"), "waiting")
    assert (clip.has_video, clip.has_audio, clip.info["size_bytes"]) == (True, True, len(DATA))
    assert Review.objects.filter(clip=clip).exists()


def test_a_bad_recording_that_was_not_looked_at_is_refused_once_it_was(cast, pupil, tmp_path):
    with dying(tmp_path, "FFPROBE"):
        file = SimpleUploadedFile("take.mp4", b"\0\0\0\x20ftypisom" + bytes(5000), "video/mp4")
        file.name = "noise.wav"
        pupil.post("/send/", {"recording": SimpleUploadedFile("a.wav", bytes(range(256)) * 20)})
    clip = Clip.objects.get()
    assert clip.intake == "received"
    tasks.examine_clip(str(clip.pk))
    clip.refresh_from_db()
    assert (clip.intake, clip.intake_code, states(clip)) == ("refused", "not_media", {})
    assert not Original.objects.exists()
    assert "It could not be used." in pupil.get(f"/clips/{clip.pk}/").text
    assert "Nothing waits." in as_person(cast.teacher).get("/waiting/").text


WORK = {
    "examining": (tasks.examine_clip, "FFPROBE"),
    "listening": (tasks.listen_to_clip, "FFMPEG"),
    "playback": (tasks.prepare_playback, "FFMPEG"),
    "small": (tasks.prepare_small, "FFMPEG"),
}


@pytest.mark.parametrize("kind", WORK)
def test_what_dies_alone_three_times_is_parked_said_and_can_be_tried_again(
    cast, pupil, tmp_path, kind
):
    task, tool = WORK[kind]
    if kind == "examining":
        with dying(tmp_path, "FFPROBE"):
            clip = send_form(pupil)  # the first of three
    else:
        clip = send_form(pupil)
    with dying(tmp_path, tool):
        for _ in range(3):
            task(str(clip.pk))
    stage = Stage.objects.get(clip=clip, kind=kind)
    assert (stage.state, stage.attempt, stage.failure_code) == ("parked", 3, "killed")
    assert Clip.objects.get().intake == "received"
    for page in pages(cast, clip):
        assert "whoever looks after the server has been asked to look at it" in page
    said = StringIO()
    call_command("parked", stdout=said)
    (one,) = parked_work()
    assert one.name in said.getvalue()
    assert "signal 9" in said.getvalue()
    call_command("try_again", one.name, stdout=said)
    assert list(parked_work()) == []
    task(str(clip.pk))
    assert states(clip).get(kind) in (None, "heard", "playable")


def test_everything_that_is_parked_is_tried_again_at_once(cast, pupil, tmp_path):
    clip = send_form(pupil)
    Stage.objects.filter(clip=clip).update(state=Leased.PARKED, attempt=3, worker_deaths=10)
    assert try_again() == 3
    assert {stage.state for stage in Stage.objects.all()} == {"waiting"}
    assert {stage.worker_deaths for stage in Stage.objects.all()} == {leases.ALONE_AFTER}
    with pytest.raises(LookupError, match="no kind of work"):
        try_again("clips.nothing/1")


def test_an_upload_at_which_processes_died_becomes_a_clip_without_a_look_here(pupil, tmp_path):
    headers = TUS | {"upload-length": str(len(DATA))}
    pupil.post("/uploads/", content_type="", headers=headers)
    upload = Upload.objects.get()
    uploads.partial.path(upload.pk).write_bytes(DATA)
    ago = timezone.now() - timedelta(minutes=5)
    Upload.objects.update(offset_bytes=len(DATA), attempts=uploads.LOOKS, changed_at=ago)
    assert uploads.finish_left() == 1
    assert states(Clip.objects.get()) == {"examining": "waiting"}
    assert Stage.objects.get().attempt == 0


# -- replies -------------------------------------------------------------------------------------


def reply(cast, clip: Clip, name: str, data: bytes, content_type: str):
    said = {"kind": "bow", "text": "", "start_s": "0:01", "form_key": "one"}
    file = SimpleUploadedFile(name, data, content_type)
    client = as_person(cast.teacher)
    return client.post(f"/clips/{clip.pk}/comments/", said | {"recording": file}, follow=True)


@pytest.mark.parametrize(
    ("content_type", "before", "after"),
    [("video/mp4", "video", "video"), ("audio/mp4", "voice", "video")],
)
def test_a_reply_whose_prober_dies_is_kept_and_prepared_later(
    cast, tmp_path, content_type, before, after
):
    clip = make_clip(cast.enrolment)
    with dying(tmp_path, "FFPROBE"):
        page = reply(cast, clip, "reply.mp4", DATA, content_type)
    enclosure = Enclosure.objects.get()
    assert (enclosure.state, enclosure.kind, enclosure.attempt) == ("waiting", before, 1)
    assert "It will be tried again by itself." in page.text
    prepare_enclosure(enclosure_id=str(enclosure.pk))
    enclosure.refresh_from_db()
    assert (enclosure.state, enclosure.kind) == ("ready", after)
    assert enclosure.duration_s > 1
    assert EnclosedFile.objects.filter(kind="shown").exists()


def test_a_reply_whose_decoder_dies_three_times_is_parked(cast, tmp_path):
    clip = make_clip(cast.enrolment)
    reply(cast, clip, "reply.mp4", DATA, "video/mp4")
    enclosure = Enclosure.objects.get()
    with dying(tmp_path, "FFMPEG"):
        for _ in range(3):
            prepare_enclosure(enclosure_id=str(enclosure.pk))
    enclosure.refresh_from_db()
    assert (enclosure.state, enclosure.failure_code) == ("parked", "killed")
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/").text
    assert "whoever looks after the server has been asked to look at it" in page
    assert try_again(f"review.enclosure/{enclosure.pk}") == 1
    prepare_enclosure(enclosure_id=str(enclosure.pk))
    enclosure.refresh_from_db()
    assert enclosure.state == "ready"
