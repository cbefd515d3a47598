"""A guardian sends for her child: to the child's place, by her own hand, and nobody else's."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from studio.accounts import consent
from studio.accounts.models import GuardianLink
from studio.clips.models import Clip, Upload
from studio.clips.uploads import partial
from studio.clips.uploads import services as uploads
from studio.review.models import Return, Review
from tests.cast import as_person, enrol, guard, make_clip, make_drill, make_return, person, set_for
from tests.review.sent import BYTES, TUS, begin, in_pieces

pytestmark = pytest.mark.usefixtures("media_root", "no_queue")


@pytest.fixture
def place(cast):
    """Of Ida, who does not log in."""
    ida = person("Ida Sandholm", cast.studio, "pupil", logs_in=False)
    ida.birth_year = timezone.localdate().year - 9
    ida.save()
    guard(cast.guardian, ida, cast.studio)
    return enrol(ida, cast.studio, cast.teacher, agreed_by=cast.guardian)


@pytest.fixture
def mother(cast, place):
    return as_person(cast.guardian)


def at(place) -> str:
    return f"/uploads/for/{place.pk}/"


def page_of(place) -> str:
    return f"/children/{place.pk}/send/"


def test_a_clip_arrives_at_the_childs_place_from_the_guardian(cast, place, mother, sample):
    drill = set_for(place, make_drill(cast.teacher, cast.studio))
    answer = in_pieces(mother, sample, at(place), title="Octaves", assignment=str(drill.pk))
    assert answer.json()["next"] == f"/children/{place.pk}/"
    assert answer.json()["sentence"].endswith("Ottilie Brandt can see it now.")
    clip = Clip.objects.get()
    assert (clip.enrolment, clip.uploaded_by) == (place, cast.guardian)
    assert Review.objects.get(clip=clip).answers == drill


def test_the_plain_form_sends_the_same(cast, place, mother, sample):
    said = {"title": "By form", "upload_key": "k", "recording": SimpleUploadedFile("a.mp4", sample)}
    answer = mother.post(page_of(place), said, follow=True)
    assert answer.redirect_chain == [(f"/children/{place.pk}/", 302)]
    assert Clip.objects.get().enrolment == place
    assert "Ida’s clips, sent" in answer.text


def test_the_page_speaks_to_a_guardian(place, mother):
    page = mother.get(page_of(place)).text
    assert "Send a clip of Ida" in page
    assert "Words for Ottilie Brandt" in page
    assert "your teacher" not in page.lower()


def test_the_teacher_is_told_who_sent_it_and_the_child_sees_it(cast, sample):
    in_pieces(as_person(cast.guardian), sample, at(cast.enrolment), title="From the kitchen")
    clip = Clip.objects.get()
    teacher = as_person(cast.teacher)
    for page in (f"/clips/{clip.pk}/", f"/pupils/{cast.enrolment.pk}/"):
        assert "by Edda Sandholm" in teacher.get(page).text, page
    for who, page in ((cast.pupil, "/queue/"), (cast.guardian, f"/children/{cast.enrolment.pk}/")):
        said = as_person(who).get(page).text
        assert "From the kitchen" in said
        assert (", by Edda Sandholm" in said) is (who == cast.pupil)


def test_what_the_child_sent_herself_says_nothing_of_a_sender(cast):
    make_clip(cast.enrolment, "My own")
    assert (
        "by Mira Sandholm" not in as_person(cast.teacher).get(f"/pupils/{cast.enrolment.pk}/").text
    )
    assert "by Mira Sandholm" not in as_person(cast.pupil).get("/queue/").text


def test_nobody_but_a_guardian_of_today_sends_for_a_child(cast, place, sample):
    for who in (cast.teacher, cast.pupil, cast.unlinked_guardian, cast.foreign_teacher):
        client = as_person(who)
        assert client.get(page_of(place)).status_code == 404
        assert client.post(page_of(place)).status_code == 404
        assert begin(client, len(sample), at(place)).status_code == 404
    assert not Upload.objects.exists()


def test_a_guardian_sends_nothing_to_a_grown_ups_place(cast, sample):
    cast.pupil.birth_year = timezone.localdate().year - 19
    cast.pupil.save()
    mother = as_person(cast.guardian)
    assert mother.get(page_of(cast.enrolment)).status_code == 404
    assert begin(mother, len(sample), at(cast.enrolment)).status_code == 404
    assert "Send a clip" not in mother.get(f"/children/{cast.enrolment.pk}/").text


def test_without_consent_nothing_is_sent_and_the_guardian_reads_why(cast, place, mother, sample):
    consent.withdraw(place, cast.guardian, consent.Purpose.RECORDINGS)
    refused = mother.get(page_of(place))
    assert refused.status_code == 403
    assert "Ida Sandholm cannot send a clip" in refused.text
    assert begin(mother, len(sample), at(place)).status_code == 403
    assert page_of(place) not in mother.get("/children/").text


def test_a_withdrawal_stops_a_recording_on_its_way(cast, place, mother, sample):
    address = begin(mother, len(sample), at(place))["Location"]
    consent.withdraw(place, cast.guardian, consent.Purpose.RECORDINGS)
    headers = TUS | {"upload-offset": "0"}
    sent = mother.patch(address, sample, content_type=BYTES, headers=headers)
    assert sent.status_code == 403
    assert not Clip.objects.exists()


def test_a_guardian_who_is_unlinked_goes_on_with_nothing(cast, place, mother, sample):
    address = begin(mother, len(sample), at(place))["Location"]
    GuardianLink.objects.filter(pupil=place.pupil).update(ended_on=timezone.localdate())
    headers = TUS | {"upload-offset": "0"}
    sent = mother.patch(address, sample, content_type=BYTES, headers=headers)
    assert sent.status_code == 404


def test_what_was_whole_when_the_link_ended_becomes_no_clip(cast, place, mother, sample):
    other = person("Second Guardian", cast.studio, "guardian")
    guard(other, place.pupil, cast.studio)
    upload = uploads.begin(place, cast.guardian, len(sample), "")
    partial.path(upload.pk).write_bytes(sample)
    long_ago = timezone.now() - timezone.timedelta(minutes=5)
    Upload.objects.update(offset_bytes=len(sample), changed_at=long_ago)
    GuardianLink.objects.filter(guardian=cast.guardian, pupil=place.pupil).update(
        ended_on=timezone.localdate()
    )
    assert consent.is_given(place), "the other guardian is there to withdraw it"
    assert uploads.finish_left() == 0
    assert not Upload.objects.exists()


def test_half_sent_recordings_of_two_children_do_not_mix(cast, place, mother, settings):
    settings.MAX_UNFINISHED_UPLOADS = 1
    begin(mother, 90, at(place), filename="idas.mp4", key="one")
    assert begin(mother, 90, at(cast.enrolment), filename="miras.mp4", key="two").status_code == 201
    assert begin(mother, 90, at(place), filename="idas.mp4", key="three").status_code == 429
    ida, mira = (mother.get(page_of(one)).text for one in (place, cast.enrolment))
    assert ("idas.mp4" in ida, "miras.mp4" in ida) == (True, False)
    assert ("idas.mp4" in mira, "miras.mp4" in mira) == (False, True)


def test_words_typed_for_one_child_are_not_kept_for_the_other(cast, place, mother):
    pages = [mother.get(page_of(one)).text for one in (place, cast.enrolment)]
    own = as_person(cast.pupil).get("/send/").text
    names = [page.partition('data-words="')[2].partition('"')[0] for page in (*pages, own)]
    assert len(set(names)) == len(names)


def test_the_child_does_not_go_on_with_what_the_guardian_began(cast, sample):
    address = begin(as_person(cast.guardian), len(sample), at(cast.enrolment))["Location"]
    child = as_person(cast.pupil)
    assert child.head(address, headers=TUS).status_code == 404
    assert "Half sent" not in child.get("/send/").text


def test_the_same_recording_from_mother_and_child_is_asked_about(cast, sample):
    in_pieces(as_person(cast.pupil), sample)
    answer = in_pieces(as_person(cast.guardian), sample, at(cast.enrolment), key="another")
    page = as_person(cast.guardian).get(answer.json()["next"])
    assert "Ottilie Brandt has it as" in page.text
    left = as_person(cast.guardian).post(answer.json()["next"].replace("/same/", "/forget/"))
    assert left.url == f"/children/{cast.enrolment.pk}/"
    assert Clip.objects.count() == 1


def test_a_refused_clip_is_put_away_by_the_guardian_who_sent_it(cast, place, mother):
    in_pieces(mother, b"dear teacher, " * 999, at(place))
    clip = Clip.objects.get()
    assert clip.intake == Clip.Intake.REFUSED
    home = mother.get(f"/children/{place.pk}/").text
    assert "Put it away" in home
    assert page_of(place) in home
    answer = mother.post(f"/clips/{clip.pk}/put-away/")
    assert answer.url == f"/children/{place.pk}/"


def test_an_answer_is_read_with_a_child_who_does_not_log_in(cast, place, mother):
    returned = make_return(make_clip(place, "Octaves"))
    assert "1 answer not read yet" in mother.get("/children/").text
    mother.get(f"/clips/{returned.review.clip_id}/")
    assert Return.objects.get(pk=returned.pk).read_at is not None
    assert "not read yet" not in mother.get("/children/").text


def test_the_page_of_a_drill_leads_a_guardian_to_sending(cast, place, mother):
    drill = set_for(place, make_drill(cast.teacher, cast.studio))
    assert f"{page_of(place)}?assignment={drill.pk}" in mother.get(f"/assignments/{drill.pk}/").text
    assert f"{page_of(place)}?assignment={drill.pk}" in mother.get(f"/children/{place.pk}/").text


def test_a_childs_page_has_no_empty_part(cast, place, mother):
    page = mother.get(f"/children/{place.pk}/").text
    main = page.partition("<main")[2]
    hidden = r"<(kept-clips|waiting-entries) hidden.*?</\1>"
    shown = re.sub(hidden, "", main, flags=re.DOTALL)
    assert re.findall(r"<h2[^>]*>([^<]*)", shown) == ["Noted practice", "How Ida reads"]
    assert "Note practice</a>" in shown  # that part has something to do
    assert "Nothing is here yet" in main
    set_for(place, make_drill(cast.teacher, cast.studio))
    main = mother.get(f"/children/{place.pk}/").text.partition("<main")[2]
    assert "Ida’s drills" in main
    assert "Ida’s clips" not in main.replace("Ida’s clips come back", "")


def test_each_child_has_a_part_of_the_guardians_first_page(cast, place, mother):
    set_for(place, make_drill(cast.teacher, cast.studio))
    page = mother.get("/children/").text
    for name in ("Ida Sandholm", "Mira Sandholm"):
        assert page.count(f">{name}</a>") == 1
    assert "Ida’s drills: 1 to practise" in page
    assert "Mira’s drills" not in page
    assert page.count("Send a clip of") == 2
