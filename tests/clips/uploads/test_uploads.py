"""tus 1.0.0 as its specification says (https://tus.io/protocols/resumable-upload, 1.0.0)."""

import base64
import errno
import hashlib
import os
import resource
from datetime import timedelta
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from django.db.models import F
from django.test import Client
from django.utils import timezone

from studio.accounts import consent
from studio.accounts.models import Enrolment
from studio.clips import services as clips
from studio.clips import tasks
from studio.clips.models import Clip, Upload
from studio.clips.storage import spool
from studio.clips.storage.stores import FolderStore
from studio.clips.uploads import partial, services
from studio.review.models import Review
from tests.cast import as_person, make_drill, set_for
from tests.clips.uploads.tus import BYTES, DATA, TUS, begin, begun, offset_of, patch, words


@pytest.fixture(autouse=True)
def no_queue(monkeypatch):
    monkeypatch.setattr(clips, "dispatch", lambda pk, kind: True)


@pytest.fixture
def pupil(cast) -> Client:
    return as_person(cast.pupil)


def file_of(address: str) -> Path:
    return partial.path(UUID(address.split("/")[-2]))


def sent(client: Client, data: bytes = DATA, **said: str):
    """A recording in three pieces; the last answer."""
    address, third = begun(client, len(data), **said), len(data) // 3
    for first, last in ((0, third), (third, 2 * third), (2 * third, len(data))):
        answer = patch(client, address, first, data[first:last])
    return answer


# -- core ------------------------------------------------------------------------------------


def test_options_tells_version_extensions_size_and_algorithms(pupil, settings):
    answer = pupil.options("/uploads/")
    assert answer.status_code == 204
    assert answer["Tus-Version"] == "1.0.0"
    offered = set(answer["Tus-Extension"].split(","))
    assert offered >= {"creation", "expiration", "checksum", "termination"}
    assert answer["Tus-Max-Size"] == str(settings.MAX_UPLOAD_BYTES)
    assert answer["Tus-Checksum-Algorithm"] == "sha1,sha256"


def test_a_recording_in_pieces_becomes_a_clip_with_its_words_and_its_drill(cast, pupil):
    assignment = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    said = {"filename": "ü.mp4", "title": "B♭ octaves", "note": "Schwer!"}
    answer = sent(pupil, **said, assignment=str(assignment.pk))
    assert (answer.status_code, answer["Upload-Offset"]) == (204, str(len(DATA)))
    clip = Clip.objects.get()
    assert (clip.title, clip.note, clip.enrolment) == ("B♭ octaves", "Schwer!", cast.enrolment)
    assert clip.original.sha256 == hashlib.sha256(DATA).hexdigest()
    assert clip.original.filename == "ü.mp4"
    assert FolderStore().path(clip.original.path).read_bytes() == DATA
    assert Review.objects.get(clip=clip).answers == assignment
    assert list(FolderStore().bench().iterdir()) == []


def test_head_tells_offset_length_expiry_and_metadata_and_is_never_cached(pupil):
    address = begun(pupil, title="Sixths")
    patch(pupil, address, 0, DATA[:1000])
    answer = pupil.head(address, headers=TUS)
    assert (answer["Upload-Offset"], answer["Upload-Length"]) == ("1000", str(len(DATA)))
    assert answer["Upload-Metadata"] == words(title="Sixths")
    assert answer["Upload-Expires"].endswith("GMT")
    assert ("no-store" in answer["Cache-Control"], answer["Tus-Resumable"]) == (True, "1.0.0")


@pytest.mark.parametrize("offset", [0, 999, 1001])
def test_another_offset_is_a_conflict_and_changes_nothing(pupil, offset):
    address = begun(pupil)
    patch(pupil, address, 0, DATA[:1000])
    answer = patch(pupil, address, offset, b"wrong")
    assert (answer.status_code, answer["Upload-Offset"]) == (409, "1000")
    assert file_of(address).read_bytes() == DATA[:1000]


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"tus_resumable": "0.2.2"}, 412),
        ({"tus_resumable": ""}, 412),
        ({"content_type": "application/octet-stream"}, 415),
        ({"upload_offset": "-1"}, 400),
        ({"upload_offset": "ten"}, 400),
        ({"upload_checksum": "md5 AAAA"}, 400),
        ({"upload_checksum": "sha1 no base64"}, 400),
        ({"upload_metadata": "title no-base64!"}, 400),
    ],
)
def test_what_the_server_cannot_read_is_refused_and_changes_nothing(pupil, headers, status):
    address = begun(pupil)
    answer = patch(pupil, address, 0, DATA[:1000], **headers)
    assert answer.status_code == status
    assert (status == 412) == ("Tus-Version" in answer)
    assert offset_of(pupil, address) == 0
    assert file_of(address).read_bytes() == b""


def test_a_post_may_stand_for_another_method_but_a_get_may_not(pupil):
    address = begun(pupil)
    as_patch = TUS | {"x-http-method-override": "PATCH", "upload-offset": "0"}
    answer = pupil.post(address, DATA[:500], content_type=BYTES, headers=as_patch)
    assert answer.status_code == 204
    assert pupil.get(address, headers=TUS | {"x-http-method-override": "DELETE"}).status_code == 405
    assert offset_of(pupil, address) == 500


# -- creation --------------------------------------------------------------------------------


@pytest.mark.parametrize("length", ["", "-5", "many", "9" * 30])
def test_an_upload_without_a_length_is_not_begun(pupil, length):
    answer = pupil.post("/uploads/", content_type="", headers=TUS | {"upload-length": length})
    assert answer.status_code == 400
    assert not Upload.objects.exists()


def test_more_than_may_be_is_refused_at_the_start_and_in_a_chunk(pupil, settings):
    settings.MAX_UPLOAD_BYTES = 2_000_000
    answer = begin(pupil, 2_500_000)
    assert answer.status_code == 413
    assert "The file is 3 MB; at most 2 MB can be sent." in answer.text
    address = begun(pupil, 1000)
    assert patch(pupil, address, 0, bytes(1001)).status_code == 413
    assert offset_of(pupil, address) == 0


def test_the_first_bytes_may_come_with_the_creation(pupil):
    headers = TUS | {"upload-length": str(len(DATA))}
    answer = pupil.post("/uploads/", DATA[:4000], content_type=BYTES, headers=headers)
    assert (answer.status_code, answer["Upload-Offset"]) == (201, "4000")
    assert patch(pupil, answer["Location"], 4000, DATA[4000:]).status_code == 204
    assert Clip.objects.get().original.size_bytes == len(DATA)


def test_words_that_cannot_be_taken_are_refused_before_any_byte(cast, pupil):
    answer = begin(pupil, title="x" * 161)
    assert answer.status_code == 422
    assert "160 characters" in answer.text
    other = set_for(cast.other_enrolment, make_drill(cast.teacher, cast.studio))
    assert begin(pupil, assignment=str(other.pk)).status_code == 422
    assert not Upload.objects.exists()


def test_the_words_may_change_while_the_recording_is_on_its_way(pupil):
    address = begun(pupil, title="Sixths")
    patch(pupil, address, 0, DATA[:1000])
    last = words(title="Thirds after all", note="in D")
    assert patch(pupil, address, 1000, DATA[1000:], upload_metadata=last).status_code == 204
    assert (Clip.objects.get().title, Clip.objects.get().note) == ("Thirds after all", "in D")


@pytest.mark.fault(
    31, "the same send pressed twice, in pieces", "one upload, one clip; another length is refused"
)
def test_the_same_key_is_the_same_upload(pupil, seen):
    addresses = {begun(pupil, key="k") for _ in range(2)}
    assert len(addresses) == 1
    assert begin(pupil, 5, key="k").status_code == 400
    address = addresses.pop()
    patch(pupil, address, 0, DATA)
    assert begun(pupil, key="k") == address
    assert Upload.objects.count() == Clip.objects.count() == 1
    seen("one upload and one clip after three sends with one key")


def test_half_sent_recordings_are_limited_and_one_that_goes_makes_room(pupil, settings):
    settings.MAX_UNFINISHED_UPLOADS = 2
    address, _ = begun(pupil), begun(pupil)
    answer = begin(pupil)
    assert answer.status_code == 429
    assert answer.text.startswith("2 half-sent recordings are waiting already")
    assert pupil.delete(address, headers=TUS).status_code == 204
    begun(pupil)


# -- checksum --------------------------------------------------------------------------------


def of(data: bytes, algorithm: str = "sha1") -> str:
    return f"{algorithm} {base64.b64encode(hashlib.new(algorithm, data).digest()).decode()}"


@pytest.mark.fault(
    35, "a byte flipped in a chunk", "460, the chunk discarded, the offset as before"
)
def test_a_chunk_that_changed_on_its_way_is_discarded(pupil, seen):
    address = begun(pupil)
    right, flipped = DATA[:50_000], bytearray(DATA[:50_000])
    flipped[25_000] ^= 1
    answer = patch(pupil, address, 0, bytes(flipped), upload_checksum=of(right))
    assert (answer.status_code, answer.reason_phrase) == (460, "Checksum Mismatch")
    assert (offset_of(pupil, address), file_of(address).stat().st_size) == (0, 0)
    for algorithm in ("sha1", "sha256"):
        at = offset_of(pupil, address)
        chunk = DATA[at : at + 50_000]
        answer = patch(pupil, address, at, chunk, upload_checksum=of(chunk, algorithm))
        assert answer.status_code == 204
    assert offset_of(pupil, address) == 100_000
    seen("460, offset 0, file empty; the right chunk was taken after it")


# -- termination and expiration --------------------------------------------------------------


def test_an_ended_upload_is_gone_with_its_bytes(pupil):
    address = begun(pupil)
    patch(pupil, address, 0, DATA[:1000])
    assert pupil.delete(address, headers=TUS).status_code == 204
    assert not file_of(address).exists()
    assert pupil.head(address, headers=TUS).status_code == 404
    assert patch(pupil, address, 1000, b"more").status_code == 404


@pytest.mark.fault(
    37, "an upload that nobody goes on with", "gone after 24 h, its room and its place given back"
)
def test_an_abandoned_upload_expires_and_gives_its_place_back(pupil, settings, seen):
    settings.MAX_UNFINISHED_UPLOADS = 1
    address = begun(pupil)
    patch(pupil, address, 0, DATA[:1000])
    later(timedelta(hours=23, minutes=59))
    tasks.remove_left_overs()
    assert offset_of(pupil, address) == 1000
    assert begin(pupil).status_code == 429
    later(timedelta(minutes=2))
    assert pupil.head(address, headers=TUS).status_code == 404
    other = begun(pupil)
    tasks.remove_left_overs()
    assert [upload.pk.hex in file_of(other).name for upload in Upload.objects.all()] == [True]
    assert not file_of(address).exists()
    seen("offset 1000 after 23 h 59 min; 404 after 24 h 1 min, file removed, another could begin")


def later(span: timedelta) -> None:
    Upload.objects.update(changed_at=F("changed_at") - span)


# -- a clip, exactly once --------------------------------------------------------------------


def test_the_last_piece_again_makes_no_second_clip(pupil):
    address = begun(pupil)
    patch(pupil, address, 0, DATA[:1000])
    assert patch(pupil, address, 1000, DATA[1000:]).status_code == 204
    assert patch(pupil, address, 1000, DATA[1000:]).status_code == 409
    assert offset_of(pupil, address) == len(DATA)
    assert patch(pupil, address, len(DATA), b"").status_code == 204
    assert Clip.objects.count() == 1


def test_what_is_no_recording_becomes_a_refused_clip_and_is_not_kept(pupil, media_root):
    sent(pupil, b"dear teacher, " * 500)
    clip = Clip.objects.get()
    assert (clip.intake, clip.intake_code) == (Clip.Intake.REFUSED, "not_media")
    assert [path for path in media_root.rglob("*") if path.is_file()] == []


def test_an_empty_recording_is_refused_at_once(pupil):
    begun(pupil, 0)
    assert Clip.objects.get().intake_code == "empty"


@pytest.mark.parametrize("when", ["before_the_rows", "after_the_rows"])
def test_a_process_that_dies_on_finishing_leaves_one_clip_all_the_same(pupil, monkeypatch, when):
    """What a kill leaves at each side of the clip's rows, then what the sweep makes of it."""
    taken_in = clips.take_in

    def dies(*args, **kwargs):
        if when == "after_the_rows":
            taken_in(*args, **kwargs)
        raise KeyboardInterrupt

    address = begun(pupil)
    monkeypatch.setattr(clips, "take_in", dies)
    with pytest.raises(KeyboardInterrupt):
        patch(pupil, address, 0, DATA)
    monkeypatch.setattr(clips, "take_in", taken_in)
    monkeypatch.setattr(tasks, "dispatch", lambda pk, kind: True)
    tasks.sweep()
    assert Clip.objects.count() == (when == "after_the_rows"), "its process may still be at it"
    later(services.FINISH_AFTER)
    tasks.sweep()
    assert services.finish_left() == 0
    assert Clip.objects.get().original.sha256 == hashlib.sha256(DATA).hexdigest()
    assert Upload.objects.get().clip == Clip.objects.get()
    assert not file_of(address).exists()


def test_a_failure_of_ours_keeps_all_and_is_tried_again_for_as_long_as_it_takes(pupil, monkeypatch):
    def fails(*args):
        raise OSError(errno.EIO, "by the test")

    address = begun(pupil)
    with monkeypatch.context() as patched:
        patched.setattr(spool, "keep", fails)
        assert patch(pupil, address, 0, DATA).status_code == 204
        later(services.FINISH_AFTER)
        for _ in range(8):
            assert services.finish_left() == 0
        later(Upload.LIFETIME)
        assert services.forget_expired() == 0, "it is not the pupil's doing"
    assert file_of(address).read_bytes() == DATA
    assert services.finish_left() == 1
    assert Clip.objects.get().intake == Clip.Intake.RECEIVED


def test_a_copy_of_the_handle_in_a_forked_child_does_not_keep_the_lock():
    pk = uuid4()
    partial.create(pk)
    with partial.locked(pk) as handle:
        copy = os.dup(handle)
        with pytest.raises(partial.Busy), partial.locked(pk):
            pass
    with partial.locked(pk):
        os.close(copy)


# -- whose it is -----------------------------------------------------------------------------


@pytest.mark.parametrize("part", ["other_pupil", "foreign_pupil", "guardian", "teacher"])
def test_an_upload_is_the_senders_alone(cast, pupil, part):
    """A stranger's answer is that of an upload which does not exist."""
    address, stranger = begun(pupil), as_person(cast.people()[part])
    for there in (address, f"/uploads/{uuid4()}/"):
        assert stranger.head(there, headers=TUS).status_code == 404
        assert patch(stranger, there, 0, b"x").status_code == 404
        assert stranger.delete(there, headers=TUS).status_code == 404
        assert stranger.options(there).status_code == 404
    assert offset_of(pupil, address) == 0


def test_nobody_sends_without_the_pages_token(cast):
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.pupil, backend="django.contrib.auth.backends.ModelBackend")
    assert begin(client).status_code == 403
    token = "t" * 32
    client.cookies["csrf"] = token
    headers = TUS | {"upload-length": "5", "x-csrftoken": token}
    answer = client.post("/uploads/", content_type="", headers=headers)
    assert answer.status_code == 201
    assert patch(client, answer["Location"], 0, b"hello").status_code == 403
    assert patch(client, answer["Location"], 0, b"he", x_csrftoken=token).status_code == 204


def test_a_place_that_has_ended_takes_no_more_bytes(cast, pupil):
    address = begun(pupil)
    Enrolment.objects.filter(pk=cast.enrolment.pk).update(ended_on=timezone.localdate())
    assert patch(pupil, address, 0, b"x").status_code == 404


def test_without_consent_nothing_more_comes_and_nothing_stays(cast, pupil):
    address = begun(pupil)
    patch(pupil, address, 0, DATA[:1000])
    consent.withdraw(cast.enrolment, cast.guardian, consent.Purpose.RECORDINGS)
    answer = patch(pupil, address, 1000, DATA[1000:])
    assert (answer.status_code, Upload.objects.get().offset_bytes) == (403, 1000)
    Upload.objects.update(length_bytes=1000)  # as if the last byte had come just before
    later(services.FINISH_AFTER)
    services.finish_left()
    assert not Upload.objects.exists()
    assert not Clip.objects.exists()
    assert not file_of(address).exists()


# -- the disk --------------------------------------------------------------------------------


@pytest.mark.fault(
    10, "the disk takes no more in the middle of a chunk", "507, and the offset that is on the disk"
)
def test_a_disk_that_takes_no_more_is_said_with_an_honest_offset(pupil, monkeypatch, seen):
    """The kernel's own limit on a file's size stands for the end of the disk."""
    data, room = DATA * (6_000_000 // len(DATA)), 4_000_000
    monkeypatch.setattr(partial, "SYNC_BYTES", 1 << 20)
    address = begun(pupil, len(data))
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, before[1]))
    try:
        answer = patch(pupil, address, 0, data)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert (answer.status_code, answer["Upload-Offset"]) == (507, str(room))
    assert "no room left" in answer.text
    assert offset_of(pupil, address) == room
    assert file_of(address).read_bytes() == data[:room]
    assert patch(pupil, address, room, data[room:]).status_code == 204
    assert Clip.objects.get().original.sha256 == hashlib.sha256(data).hexdigest()
    seen(f"507 and offset {room} of {len(data)}; with room again it went on, the hash is right")


def test_what_would_not_fit_is_refused_before_it_is_sent(pupil, monkeypatch):
    monkeypatch.setattr(partial, "SPARE_BYTES", 1 << 60)
    answer = begin(pupil)
    assert answer.status_code == 507
    assert not Upload.objects.exists()


def test_an_offset_is_not_promised_when_the_file_is_gone(pupil):
    """As after a restored backup: half-sent files are not in it."""
    address = begun(pupil, key="k")
    patch(pupil, address, 0, DATA[:1000])
    file_of(address).unlink()
    assert pupil.head(address, headers=TUS).status_code == 404
    again = begun(pupil, key="k")
    assert again != address
    assert patch(pupil, again, 0, DATA).status_code == 204
    assert Clip.objects.count() == 1
