"""What the pupil says a clip is: kept however it is sent, said to the teacher, and heeded."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from studio.clips import services as clips
from studio.clips.models import Clip, Upload
from studio.clips.uploads.protocol import decoded
from tests.cast import as_person, make_clip, make_return
from tests.review.heard_clip import PLAYED, listen_again, measurement
from tests.review.quiet_clips import quiet_clip, titles
from tests.review.sent import begin, in_pieces

pytestmark = pytest.mark.usefixtures("media_root", "no_queue")

ASKS = {"question": "A question", "hand": "Look at my hand"}
FOLDED = 'id="ledger-fold"'


def page(who, address: str) -> str:
    return as_person(who).get(address).content.decode()


def heard(cast, subject: str, played=PLAYED) -> Clip:
    made = make_clip(cast.enrolment, "Octaves", has_audio=True, subject=subject)
    listen_again(made, measurement(played))
    return made


# -- sending --------------------------------------------------------------------------------------


def test_the_form_asks_and_leaves_it_open_by_itself(cast):
    sending = page(cast.pupil, "/send/")
    for words in ("What is it?", "Your teacher will see", "Double stops", *ASKS.values()):
        assert words in sending


@pytest.mark.parametrize("subject", ["", *Clip.Subject])
def test_a_plain_form_keeps_it(cast, sample, subject):
    recording = SimpleUploadedFile("a.mp4", sample)
    said = {"subject": subject, "upload_key": "k", "recording": recording}
    as_person(cast.pupil).post("/send/", said)
    assert Clip.objects.get().subject == subject


def test_a_recording_in_pieces_keeps_it(cast, sample):
    assert in_pieces(as_person(cast.pupil), sample, subject="hand").status_code == 201
    assert Clip.objects.get().subject == "hand"


def test_it_can_be_changed_while_the_recording_is_on_its_way(cast, sample):
    client = as_person(cast.pupil)
    address = begin(client, len(sample), subject="hand")["Location"]
    words = address.replace("/uploads/", "/send/") + "words/"
    assert client.post(words, {"subject": "question"}).status_code == 204
    assert decoded(Upload.objects.get().metadata)["subject"] == "question"
    assert 'data-subject="question"' in page(cast.pupil, "/send/")
    assert client.post(words, {"subject": "the weather"}).status_code == 422
    assert decoded(Upload.objects.get().metadata)["subject"] == "question"


def test_what_nobody_can_choose_is_not_taken(cast, sample):
    answer = begin(as_person(cast.pupil), len(sample), subject="the weather")
    assert answer.status_code == 422
    assert "the weather" in answer.text
    assert not Upload.objects.exists()


def test_the_same_recording_sent_by_form_keeps_it_until_it_is_answered(cast, sample):
    client = as_person(cast.pupil)
    for key in ("first", "second"):
        recording = SimpleUploadedFile("a.mp4", sample)
        client.post("/send/", {"subject": "question", "upload_key": key, "recording": recording})
    waiting = Upload.objects.get()
    client.post(f"/send/{waiting.pk}/same/")
    assert [clip.subject for clip in Clip.objects.all()] == ["question"] * 2


def test_it_is_erased_with_the_clip(cast):
    clip = make_clip(cast.enrolment, "Octaves", subject="hand")
    clips.erase(clip)
    clip.refresh_from_db()
    assert clip.subject == ""


# -- what is said of it ---------------------------------------------------------------------------


@pytest.mark.parametrize(("subject", "words"), Clip.Subject.choices)
def test_waiting_list_desk_and_own_page_say_it(cast, subject, words):
    clip = heard(cast, subject)
    for address in ("/waiting/", f"/clips/{clip.pk}/"):
        assert f'subject">{words}<' in page(cast.teacher, address)
    assert f"Sent as: {words.lower()}" in page(cast.pupil, f"/clips/{clip.pk}/")


def test_a_returned_clip_still_says_it_to_its_pupil(cast):
    clip = heard(cast, "question")
    make_return(clip, cast.teacher)
    assert "Sent as: a question" in page(cast.pupil, f"/clips/{clip.pk}/")


def test_where_nothing_was_said_nothing_is_said(cast):
    clip = heard(cast, "")
    for who, address in (
        (cast.teacher, "/waiting/"),
        (cast.teacher, f"/clips/{clip.pk}/"),
        (cast.pupil, f"/clips/{clip.pk}/"),
    ):
        said = page(who, address)
        assert 'subject"' not in said
        assert "Sent as" not in said


# -- how the desk opens ---------------------------------------------------------------------------


@pytest.mark.parametrize("subject", ASKS)
def test_a_question_opens_plain_whatever_is_heard(cast, subject):
    desk = page(cast.teacher, f"/clips/{heard(cast, subject).pk}/")
    assert FOLDED in desk
    assert "2 marks: <b>2 to decide" in desk, "what was heard is said all the same"
    assert "No double stops" not in desk


@pytest.mark.parametrize("subject", ASKS)
def test_it_opens_plain_before_it_is_heard(cast, subject):
    clip = make_clip(cast.enrolment, "Octaves", has_audio=True, subject=subject)
    assert FOLDED in page(cast.teacher, f"/clips/{clip.pk}/")


def test_double_stops_have_their_ledger_even_where_none_was_heard(cast):
    assert FOLDED not in page(cast.teacher, f"/clips/{heard(cast, 'double_stops', ()).pk}/")


def test_not_said_is_guessed_as_before(cast):
    assert FOLDED not in page(cast.teacher, f"/clips/{heard(cast, '').pk}/")
    assert FOLDED in page(cast.teacher, f"/clips/{heard(cast, '', ()).pk}/")


@pytest.mark.parametrize("subject", ASKS)
def test_what_asks_is_not_looked_through_in_a_row(cast, subject):
    asking = quiet_clip(cast.enrolment, "Asks", subject=subject)
    quiet_clip(cast.enrolment, "Asks nothing")
    client = as_person(cast.teacher)
    assert titles(client) == ["Asks nothing"]
    Clip.objects.filter(pk=asking.pk).update(subject="double_stops")
    assert sorted(titles(client)) == ["Asks", "Asks nothing"]
