"""Voice and video replies: taken in by their content, prepared, played by those who may, erased."""

import json
from datetime import timedelta

import pytest
from django.utils import timezone

from studio.accounts import consent
from studio.clips import services as clips
from studio.clips.models import Clip, Rendition
from studio.clips.storage import spool
from studio.clips.storage.stores import FolderStore
from studio.clips.tasks import sweep
from studio.clips.upkeep import backup
from studio.clips.upkeep.verification import verify
from studio.jobs import leases
from studio.media import make_still, probe
from studio.review.enclosures import dispatch, intake
from studio.review.models import Comment, EnclosedFile, Enclosure, Return
from studio.review.returning.services import return_clip
from studio.review.tasks import prepare_enclosure
from tests.cast import as_person, make_clip
from tests.media import hostile
from tests.media.recordings import ffmpeg
from tests.review.heard_clip import review_of
from tests.review.replies import comment, file
from tests.samples import SAMPLE


@pytest.fixture(scope="session")
def video() -> bytes:
    picture = ("-f", "lavfi", "-i", "testsrc=size=160x120:rate=15:duration=2")
    tone = ("-f", "lavfi", "-i", "sine=frequency=440:duration=2")
    coded = ("-c:v", "libvpx", "-c:a", "libopus", "-f", "webm", "-live", "1", "pipe:1")
    return ffmpeg(*picture, *tone, *coded)


@pytest.fixture(autouse=True)
def folder(settings, tmp_path, monkeypatch):
    settings.MEDIA_ROOT = tmp_path / "media"
    monkeypatch.setattr(dispatch, "send", lambda *args: True)


@pytest.fixture
def clip(cast) -> Clip:
    return make_clip(cast.enrolment, has_audio=True)


@pytest.fixture
def teacher(cast):
    return as_person(cast.teacher)


def prepared(clip) -> Enclosure:
    enclosure = Enclosure.objects.get(comment__review__clip=clip)
    prepare_enclosure(enclosure_id=str(enclosure.pk))
    enclosure.refresh_from_db()
    return enclosure


def address(clip, enclosure) -> str:
    return f"/clips/{clip.pk}/enclosures/{enclosure.pk}/"


def at_rest() -> list[str]:
    return sorted(entry.name for entry in FolderStore().entries())


# -- taken in ------------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_a_voice_reply_without_words_is_prepared_and_served_by_ranges(teacher, clip, voice):
    assert comment(teacher, clip, voice).status_code == 200
    enclosure = prepared(clip)
    assert (enclosure.kind, enclosure.state) == ("voice", "ready")
    assert enclosure.duration_s == pytest.approx(3.0, abs=0.1)
    answer = teacher.get(address(clip, enclosure), headers={"range": "bytes=4-7"})
    assert (answer.status_code, answer.getvalue()) == (206, b"ftyp")
    assert answer["Content-Type"] == "audio/mp4"
    assert answer["Cache-Control"] == "private, no-cache"
    assert "passwd" not in answer["Content-Disposition"]
    page = teacher.get(f"/clips/{clip.pk}/").content.decode()
    assert f'src="{address(clip, enclosure)}"' in page


@pytest.mark.django_db(transaction=True)
def test_a_video_reply_becomes_h264_and_aac(teacher, clip, video):
    comment(teacher, clip, video, text="Like this.")
    enclosure = prepared(clip)
    shown = probe(FolderStore().path(enclosure.file("shown").path))
    assert (enclosure.kind, shown.video_codec, shown.audio_codec) == ("video", "h264", "aac")


def test_a_plain_form_adds_the_same(teacher, clip, voice):
    answer = comment(teacher, clip, voice, script=False)
    assert answer.status_code == 302
    assert Enclosure.objects.get().comment.text == ""
    page = teacher.get(f"/clips/{clip.pk}/").content.decode()
    assert "It is being prepared" in page
    assert 'enctype="multipart/form-data"' in page


def test_a_comment_without_words_and_reply_is_refused(teacher, clip):
    answer = comment(teacher, clip, None)
    assert answer.status_code == 422
    assert "Write what you want to say." in answer.content.decode()


@pytest.mark.django_db(transaction=True)
def test_sent_twice_is_one_and_another_take_of_the_same_form_stands_instead(
    teacher, clip, voice, video
):
    for _ in range(2):
        comment(teacher, clip, voice)
    assert Enclosure.objects.get().kind == "voice"
    comment(teacher, clip, video)
    assert Enclosure.objects.get().kind == "video"
    assert Comment.objects.count() == 1
    assert len(at_rest()) == 1


def test_a_second_reply_to_a_comment_is_a_conflict(cast, teacher, clip, voice, video):
    comment(teacher, clip, voice)
    more = f"/clips/{clip.pk}/comments/{Comment.objects.get().pk}/reply/"
    parts = {"X-Desk": "parts"}
    again = as_person(cast.colleague).post(more, {"recording": file(video)}, headers=parts)
    assert again.status_code == 409
    assert "has a voice reply by now" in again.content.decode()
    assert teacher.post(more, {"recording": file(voice)}, headers=parts).status_code == 200
    assert Enclosure.objects.get().kind == "voice"


def test_a_reply_too_long_is_refused_with_what_to_do(teacher, clip, monkeypatch, voice):
    monkeypatch.setattr(intake, "MAX_S", 2.0)
    answer = comment(teacher, clip, voice)
    assert answer.status_code == 422
    assert "The recording lasts 0:03; at most 0:02 can be sent." in answer.content.decode()
    monkeypatch.setattr(intake, "MAX_BYTES", 10_000)
    assert comment(teacher, clip, voice).status_code == 422
    assert not Comment.objects.exists()
    assert at_rest() == []


def test_hostile_files_are_refused_with_the_same_sentences_and_leave_nothing(
    teacher, clip, tmp_path
):
    cases = [case for case in hostile.CASES if case.refused]
    hostile.build(tmp_path / "hostile", "http://127.0.0.1:9/", cases)
    assert len(cases) > 10
    for case in cases:
        sent = (tmp_path / "hostile" / case.name).read_bytes()
        answer = comment(teacher, clip, sent, text="Listen.")
        assert answer.status_code == 422, case.name
        assert "The reply was not added." in answer.content.decode(), case.name
    assert not Comment.objects.exists()
    assert at_rest() == []


# -- drawings ------------------------------------------------------------------------------------

ARROW = {"kind": "arrow", "from": [0.2, 0.2], "to": [0.6, 0.3]}
LABEL = {"kind": "label", "at": [0.1, 0.4], "text": "<b>wrist</b>"}


def drawn(*strokes, frame_s: float = 3.4) -> dict:
    sent = json.dumps({"frame_s": frame_s, "strokes": list(strokes)})
    return {"drawing": sent, "drawing_words": "The wrist bends in"}


@pytest.fixture
def filmed(clip) -> Clip:
    """The clip with a playable copy, whose pictures carry their time."""
    part = spool.bench_path(".mp4")
    part.write_bytes(SAMPLE.read_bytes())
    stored = spool.keep(spool.finished(part), f"{spool.clip_folder(clip.pk)}/playable.mp4")
    Rendition.objects.create(
        clip=clip,
        kind="playable",
        path=stored.path,
        sha256=stored.sha256,
        size_bytes=stored.size_bytes,
        content_type="video/mp4",
    )
    return clip


@pytest.mark.django_db(transaction=True)
def test_a_drawing_lies_on_the_clips_own_picture_and_is_shown_with_what_it_says(
    cast, teacher, filmed
):
    assert comment(teacher, filmed, None, **drawn(ARROW, LABEL)).status_code == 200
    enclosure = prepared(filmed)
    assert (enclosure.kind, enclosure.state) == ("drawing", "ready")
    picture = teacher.get(address(filmed, enclosure))
    assert picture["Content-Type"] == "image/jpeg"
    assert picture.getvalue()[:2] == b"\xff\xd8"
    return_clip(review_of(filmed), cast.teacher, "")
    for page in (teacher.get(f"/clips/{filmed.pk}/"), home_page(cast, filmed)):
        html = page.content.decode()
        written = "Written on it: &lt;b&gt;wrist&lt;/b&gt;."
        assert f'alt="The wrist bends in {written}"' in html
        assert "<b>wrist</b>" not in html
        assert '<path class="ink" d="M200 200 L600 300 M' in html


def home_page(cast, clip):
    return as_person(cast.pupil).get(f"/clips/{clip.pk}/")


def test_a_still_is_the_last_frame_that_begins_no_later(tmp_path):
    """The sample has 15 frames a second; a browser's time of a frame lies somewhere in it."""
    stills = []
    for at_s in (3.334, 3.35, 3.399, 3.401, 99.0):
        make_still(SAMPLE, tmp_path / "still.jpg", at_s)
        stills.append((tmp_path / "still.jpg").read_bytes())
    assert stills[0] == stills[1] == stills[2] != stills[3]
    assert stills[4] not in stills[:4]


def test_a_drawing_is_edited_and_a_change_in_the_meantime_is_a_conflict(cast, teacher, filmed):
    comment(teacher, filmed, None, **drawn(ARROW))
    where = f"{address(filmed, Enclosure.objects.get())}drawing/"
    parts, both = {"X-Desk": "parts"}, drawn(ARROW, LABEL) | {"version": "1"}
    for _ in range(2):
        assert teacher.post(where, both, headers=parts).status_code == 200
    late = as_person(cast.colleague).post(where, drawn(LABEL) | {"version": "1"}, headers=parts)
    assert late.status_code == 409
    assert "it now shows: “The wrist bends in”" in late.content.decode()
    assert [stroke["kind"] for stroke in Enclosure.objects.get().strokes] == ["arrow", "label"]


def test_a_drawing_is_added_to_a_comment_that_stands(teacher, filmed, voice):
    comment(teacher, filmed, voice)
    page, parts = f"/clips/{filmed.pk}/", {"X-Desk": "parts"}
    assert "Add a reply" in teacher.get(page).content.decode()
    more = f"{page}comments/{Comment.objects.get().pk}/reply/"
    for _ in range(2):
        assert teacher.post(more, drawn(ARROW), headers=parts).status_code == 200
    assert teacher.post(more, drawn(LABEL), headers=parts).status_code == 409
    assert teacher.post(more, {}, headers=parts).status_code == 422
    assert set(Enclosure.objects.values_list("kind", flat=True)) == {"voice", "drawing"}
    assert "Add a reply" not in teacher.get(page).content.decode()


@pytest.mark.parametrize(
    "sent",
    [
        "{",
        "[]",
        '{"frame_s": NaN, "strokes": []}',
        '{"frame_s": 1, "strokes": [{"kind": "circle", "at": [0.5, 0.5], "radius": 1e999}]}',
        '{"frame_s": 1, "strokes": [{"kind": "line", "points": [[0, 0]]}]}',
        '{"frame_s": 1, "strokes": [{"kind": "arrow", "from": [0, true], "to": [1, 1]}]}',
        '{"frame_s": 1, "strokes": [{"kind": "script", "text": "x"}]}',
        '{"frame_s": 1, "strokes": [{"kind": "label", "at": [0, 0], "text": "\u0000"}]}',
        json.dumps({"frame_s": 1, "strokes": [{"kind": "line", "points": [[0, 0]] * 401}]}),
        "[" * 50_000,
    ],
    ids=range(10),
)
def test_what_is_no_drawing_is_refused_in_a_sentence(teacher, filmed, sent):
    answer = comment(teacher, filmed, None, drawing=sent, drawing_words="It")
    assert answer.status_code == 422
    assert "The drawing did not arrive whole" in answer.content.decode()
    assert not Comment.objects.exists()


def test_a_drawing_must_say_what_it_shows(teacher, filmed):
    answer = comment(teacher, filmed, None, **drawn(ARROW) | {"drawing_words": " "})
    assert answer.status_code == 422
    assert "Say in words what the drawing shows" in answer.content.decode()


# -- work ----------------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_a_killed_worker_is_made_good_by_the_sweep(teacher, clip, voice, monkeypatch):
    comment(teacher, clip, voice)
    enclosure = Enclosure.objects.get()
    assert dispatch.claim(str(enclosure.pk)).attempt == 1
    prepare_enclosure(enclosure_id=str(enclosure.pk))  # doubled: another holds it
    assert Enclosure.objects.get().state == "working"
    Enclosure.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    sent: list = []
    monkeypatch.setattr(dispatch, "send", lambda task, queue, said, rows: sent.append(said))
    sweep()
    assert sent == [{"enclosure_id": str(enclosure.pk)}]
    done = prepared(clip)
    assert (done.attempt, done.worker_deaths) == (1, 1)
    for _ in range(leases.MAX_ATTEMPTS):
        prepare_enclosure(enclosure_id=str(enclosure.pk))
    assert EnclosedFile.objects.count() == len(at_rest()) == 2


# -- who may hear it -----------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_home_hears_it_once_the_return_can_be_seen_and_while_consent_holds(
    cast, teacher, clip, voice
):
    comment(teacher, clip, voice)
    enclosure = prepared(clip)
    where, home = address(clip, enclosure), (as_person(cast.pupil), as_person(cast.guardian))

    def seen() -> list[int]:
        return [who.get(where).status_code for who in home]

    assert seen() == [404, 404]
    return_clip(review_of(clip), cast.teacher, "")
    Return.objects.update(visible_at=timezone.now() + timedelta(minutes=5))
    assert seen() == [404, 404]
    Return.objects.update(visible_at=timezone.now())
    assert seen() == [200, 200]
    assert as_person(cast.other_pupil).get(where).status_code == 404
    assert as_person(cast.foreign_teacher).get(where).status_code == 404
    page = home[0].get(f"/clips/{clip.pk}/").content.decode()
    assert "Voice reply, 0:03" in page
    assert f'src="{where}"' in page
    consent.withdraw(cast.enrolment, cast.guardian, consent.Purpose.RECORDINGS)
    assert seen() == [403, 403]
    assert teacher.get(where).status_code == 403


@pytest.mark.django_db(transaction=True)
def test_what_was_returned_stays(cast, teacher, clip, voice):
    comment(teacher, clip, voice)
    enclosure = prepared(clip)
    return_clip(review_of(clip), cast.teacher, "")
    frozen = Return.objects.get().snapshot["moments"][0]["enclosures"]
    assert [each["id"] for each in frozen] == [str(enclosure.pk)]
    teacher.post(f"{address(clip, enclosure)}remove/", headers={"X-Desk": "parts"})
    assert Enclosure.objects.filter(pk=enclosure.pk).exists()


# -- its files -----------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("how", ["removed", "comment deleted", "clip erased"])
def test_its_files_go_with_it(teacher, clip, voice, how):
    comment(teacher, clip, voice)
    enclosure = prepared(clip)
    assert len(at_rest()) == 2
    if how == "removed":
        for _ in range(2):
            answer = teacher.post(f"{address(clip, enclosure)}remove/")
            assert answer.status_code == 302
    elif how == "comment deleted":
        teacher.post(f"/clips/{clip.pk}/comments/{enclosure.comment_id}/delete/")
    else:
        clips.erase(clip)
    assert not Enclosure.objects.exists()
    assert at_rest() == []


@pytest.mark.django_db(transaction=True)
def test_verify_and_backup_know_its_files(teacher, clip, voice, tmp_path, settings):
    comment(teacher, clip, voice)
    prepared(clip)
    report = verify()
    assert (report.files, report.faults, report.orphans) == (2, [], [])
    manifest = backup.back_up(tmp_path / "backup").manifest
    assert [entry["path"] for entry in manifest["files"]] == sorted(
        EnclosedFile.objects.values_list("path", flat=True),
        key=lambda path: "shown" in path,
    )
    FolderStore().delete(EnclosedFile.objects.get(kind="shown").path)
    assert len(verify().faults) == 1
