"""Sending: arrived, refused, broken off, sent twice; by script and by the plain form."""

import dataclasses
import errno
from pathlib import Path
from urllib.parse import unquote

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from studio import media
from studio.clips import services
from studio.clips.models import Clip, Upload
from studio.clips.uploads.protocol import decoded
from studio.review.models import Review
from studio.web.spooling import SpooledFiles
from tests.cast import as_person, make_drill, set_for
from tests.review.sent import BYTES, TUS, begin, in_pieces

pytestmark = pytest.mark.usefixtures("media_root", "no_queue")


def kept_files(media_root) -> list[Path]:
    return [path for path in media_root.rglob("*") if path.is_file()]


def test_a_clip_arrives_with_its_words_and_the_drill_it_answers(cast, sample):
    assignment = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    answer = in_pieces(
        as_person(cast.pupil),
        sample,
        title="B♭ octaves",
        note="Schwer!",
        assignment=str(assignment.pk),
    )
    assert answer.status_code == 201
    assert answer.json()["next"] == "/queue/"
    clip = Clip.objects.get()
    assert (clip.title, clip.note, clip.enrolment) == ("B♭ octaves", "Schwer!", cast.enrolment)
    assert (clip.original.size_bytes, clip.original.filename) == (len(sample), "clip.mp4")
    assert Review.objects.get(clip=clip).answers == assignment


def test_the_plain_form_sends_the_same(cast, sample):
    said = {"title": "By form", "upload_key": "k", "recording": SimpleUploadedFile("a.mp4", sample)}
    answer = as_person(cast.pupil).post("/send/", said, follow=True)
    assert "Your clip has arrived." in answer.content.decode()
    assert Clip.objects.get().title == "By form"


def test_a_send_pressed_twice_makes_one_clip(cast, sample):
    client = as_person(cast.pupil)
    first, second = in_pieces(client, sample), in_pieces(client, sample)
    assert first.json()["clip"] == second.json()["clip"]
    assert Clip.objects.count() == 1


@pytest.mark.parametrize("data", [b"", b"dear teacher, " * 999], ids=["zero_bytes", "letter"])
def test_what_is_no_recording_is_refused_with_what_to_do(cast, media_root, data):
    answer = in_pieces(as_person(cast.pupil), data)
    assert answer.status_code == 422
    assert "end" in answer.json()["sentence"]  # "send it", "Send a video"
    assert Clip.objects.get().intake == Clip.Intake.REFUSED
    assert kept_files(media_root) == []


def test_the_plain_form_shows_the_refusal_keeps_the_words_and_has_a_new_key(cast):
    letter = SimpleUploadedFile("letter.mp4", b"dear teacher, " * 999)
    said = {"title": "My title", "upload_key": "old-key", "recording": letter}
    page = as_person(cast.pupil).post("/send/", said)
    assert page.status_code == 422
    assert "not a recording we can read" in page.text
    assert "My title" in page.text
    assert "old-key" not in page.text


def test_an_announced_length_over_the_limit_is_refused_before_it_is_read(cast, settings):
    settings.MAX_UPLOAD_BYTES = 2_000_000
    request = {"CONTENT_LENGTH": "2500000", "wsgi.input": Unread()}
    client = as_person(cast.pupil)
    by_script = begin(client, 2_500_000)
    assert by_script.status_code == 413
    assert "The file is 3 MB; at most 2 MB can be sent." in by_script.text
    form = "multipart/form-data; boundary=x"
    by_form = client.generic("POST", "/send/", b"", form, **request)
    assert by_form.status_code == 413
    assert "at most 2 MB" in by_form.text


def test_more_bytes_than_may_come_are_not_kept(cast, settings, media_root, sample):
    settings.MAX_UPLOAD_BYTES = len(sample) - 1
    recording = SimpleUploadedFile("a.mp4", sample)
    page = as_person(cast.pupil).post("/send/", {"upload_key": "k", "recording": recording})
    assert page.status_code == 413
    assert (Clip.objects.count(), kept_files(media_root)) == (0, [])


def test_a_full_disk_is_said_and_keeps_nothing(cast, sample, monkeypatch):
    def full(*args, **kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(services, "receive", full)
    said = {"upload_key": "k", "recording": SimpleUploadedFile("a.mp4", sample)}
    answer = as_person(cast.pupil).post("/send/", said)
    assert answer.status_code == 507
    assert "no room left" in answer.text


def test_a_disk_that_fills_while_the_form_is_read_is_said_too(
    cast, sample, settings, tmp_path, monkeypatch
):
    """Before any view sees it: the plain form's recording is put on the disk as it comes."""
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path)
    took = SpooledFiles._write

    def full(self, raw, start):
        if start:
            raise OSError(errno.ENOSPC, "No space left on device")
        return took(self, raw, start)

    monkeypatch.setattr(SpooledFiles, "_write", full)
    client = as_person(cast.pupil)
    client.raise_request_exception = False
    said = {"upload_key": "k", "recording": SimpleUploadedFile("a.mp4", sample * 2)}
    answer = client.post("/send/", said)
    assert (answer.status_code, "no room left" in answer.text) == (507, True)
    assert (Clip.objects.count(), kept_files(tmp_path)) == (0, [])
    monkeypatch.undo()
    said["recording"] = SimpleUploadedFile("a.mp4", sample)
    assert client.post("/send/", said).status_code == 302
    assert Clip.objects.count() == 1


def test_half_of_a_recording_has_not_arrived(cast, sample):
    client = as_person(cast.pupil)
    address = begin(client, len(sample))["Location"].replace("/uploads/", "/send/")
    answer = client.post(f"{address}arrived/")
    assert answer.status_code == 409
    assert "Not all of it has arrived yet." in answer.json()["sentence"]


def test_what_could_not_be_opened_yet_is_kept_and_said_to_be(cast, sample, monkeypatch):
    def fails(*args):
        raise media.Failed("crashed", exit_code=1)

    monkeypatch.setattr(media, "probe", fails)
    answer = in_pieces(as_person(cast.pupil), sample)
    assert (answer.status_code, answer.json()["next"]) == (201, "/queue/")
    assert "you need not send it again" in answer.json()["sentence"]


def test_the_page_lists_what_is_half_sent_and_removes_it(cast, sample, media_root):
    client = as_person(cast.pupil)
    address = begin(client, 84_000_000, filename="octaves.mp4")["Location"]
    headers = TUS | {"upload-offset": "0"}
    client.patch(address, bytes(12_300_000), content_type=BYTES, headers=headers)
    assert "octaves.mp4: 12.3 MB of 84.0 MB, kept until " in client.get("/send/").text
    assert "Half sent" not in as_person(cast.other_pupil).get("/send/").text
    page = client.post(address.replace("/uploads/", "/send/") + "forget/", follow=True)
    assert "It was removed. Nothing of it is kept." in page.text
    assert "Half sent" not in page.text
    assert kept_files(media_root) == []


def test_a_clip_without_sound_is_not_announced_as_ready(cast, sample, monkeypatch):
    probed = media.probe

    def mute(*args):
        return dataclasses.replace(probed(*args), has_audio=False)

    monkeypatch.setattr(media, "probe", mute)
    answer = in_pieces(as_person(cast.pupil), sample).json()
    assert answer["sentence"].startswith("Your clip has arrived. The recording has no sound")
    assert "record it again" in answer["sentence"]


def test_a_script_is_told_that_nobody_or_somebody_else_is_logged_in(cast, sample):
    address = begin(as_person(cast.pupil), len(sample))["Location"]
    at_send = address.replace("/uploads/", "/send/")
    asked = (("head", address), ("post", f"{at_send}arrived/"), ("post", f"{at_send}words/"))
    for who, words in ((None, "You are logged out."), (cast.other_pupil, "Somebody else is")):
        client = as_person(who)
        for method, where in asked:
            headers = TUS | {"x-sender": str(cast.pupil.pk)}
            answer = getattr(client, method)(where, headers=headers)
            said = unquote(answer.get("X-Sentence", "")) or answer.json()["sentence"]
            assert (answer.status_code, said.startswith(words)) == (401, True)


def test_words_that_cannot_be_taken_while_it_runs_are_refused_and_change_nothing(cast, sample):
    client = as_person(cast.pupil)
    pk = begin(client, len(sample), title="Sixths")["Location"].split("/")[-2]
    answer = client.post(f"/send/{pk}/words/", {"title": "x" * 161})
    assert answer.status_code == 422
    assert "160 characters" in answer.json()["sentence"]
    assert decoded(Upload.objects.get().metadata)["title"] == "Sixths"


def test_without_a_script_the_same_recording_is_asked_about_and_words_are_kept(
    cast, sample, media_root
):
    client = as_person(cast.pupil)
    for key in ("a", "b"):
        recording = SimpleUploadedFile("a.mp4", sample)
        said = {"title": f"Take {key}", "upload_key": key, "recording": recording}
        page = client.post("/send/", said, follow=True)
    assert "This recording was sent before" in page.text
    assert "Take a" in page.text
    assert "Take b" in page.text
    address = page.redirect_chain[-1][0]
    assert as_person(cast.other_pupil).get(address).status_code == 404
    assert "It was sent before: say what to do" in client.get("/send/").text
    page = client.post(address, follow=True)
    assert "Your clip has arrived." in page.text
    assert set(Clip.objects.values_list("title", flat=True)) == {"Take a", "Take b"}
    assert client.get(address, follow=True).redirect_chain[-1][0] == "/queue/"


def test_another_pupils_drill_cannot_be_answered(cast, sample):
    other = set_for(cast.other_enrolment, make_drill(cast.teacher, cast.studio))
    answer = begin(as_person(cast.pupil), len(sample), assignment=str(other.pk))
    assert answer.status_code == 422
    assert not Clip.objects.exists()


@pytest.mark.parametrize("part", ["teacher", "guardian", "former_pupil"])
def test_only_a_pupil_sends(cast, sample, part):
    client = as_person(cast.people()[part])
    assert client.get("/send/").status_code == 404
    assert begin(client, len(sample)).status_code == 404
    assert not Clip.objects.exists()


@pytest.mark.parametrize("address", ["/send/", "/uploads/"])
def test_sending_needs_the_pages_token(cast, sample, address):
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.pupil, backend="django.contrib.auth.backends.ModelBackend")
    said = {"upload_key": "k", "recording": SimpleUploadedFile("a.mp4", sample)}
    assert client.post(address, said).status_code == 403
    assert not Clip.objects.exists()


def test_the_link_in_the_queue_chooses_the_drill(cast):
    assignment = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    client = as_person(cast.pupil)
    page = client.get(f"/send/?assignment={assignment.pk}").text
    assert f'<option value="{assignment.pk}" selected>' in page
    assert client.get("/send/?assignment=nonsense").status_code == 200


def test_the_page_tells_the_script_the_limits(cast, settings):
    settings.MAX_UPLOAD_BYTES, settings.MAX_CLIP_S = 5_000_000, 90
    page = as_person(cast.pupil).get("/send/").text
    assert 'data-max-bytes="5000000"' in page
    assert 'data-max-s="90"' in page
    assert "up to 5 MB and 90 seconds" in page


class Unread:
    """A body that fails the test when it is read."""

    def read(self, *args):
        raise AssertionError("the body was read")

    readline = read
