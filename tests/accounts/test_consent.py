"""Consent: who decides, what holds, what a withdrawal stops, and what it leaves alone."""

import dataclasses

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from studio.accounts import consent
from studio.accounts.models import Consent, GuardianLink
from studio.clips import services, tasks
from studio.clips.models import Clip, Stage
from studio.clips.processing import stages
from studio.review import access as reviews
from tests.cast import agree, as_person, guard, make_clip, make_return, person

RECORDINGS = consent.Purpose.RECORDINGS
DESK = ("", "desk.json", "desk/progress.json", "preview/", "media/", "poster/", "peaks/")


@pytest.fixture
def withdrawn(cast):
    consent.withdraw(cast.enrolment, cast.guardian, RECORDINGS)
    return cast


def born(cast, years_ago: int | None):
    """Mira's place, her birthday being so many calendar years ago."""
    cast.pupil.birth_year = None if years_ago is None else timezone.localdate().year - years_ago
    cast.pupil.save()
    cast.enrolment.refresh_from_db()
    return cast.enrolment


def unlink(cast) -> None:
    GuardianLink.objects.filter(guardian=cast.guardian).update(ended_on=timezone.localdate())


# -- who decides ---------------------------------------------------------------------------


@pytest.mark.parametrize("years_ago", [None, 7, 18])
def test_the_guardians_of_today_decide_for_a_pupil_who_is_not_surely_grown_up(cast, years_ago):
    assert consent.deciders(born(cast, years_ago)) == [cast.guardian]


def test_a_grown_up_decides_alone_whoever_is_linked(cast):
    assert consent.deciders(born(cast, 19)) == [cast.pupil]


def test_a_pupil_of_unknown_age_without_a_guardian_decides(cast):
    unlink(cast)
    assert consent.deciders(born(cast, None)) == [cast.pupil]


def test_nobody_decides_for_a_child_without_a_guardian(cast):
    unlink(cast)
    place = born(cast, 9)
    assert consent.deciders(place) == []
    assert "Ask your teacher to link one" in consent.cannot_send(place)


def test_a_guardian_of_another_studio_does_not_decide(cast):
    stranger = person("Distant Aunt", cast.other_studio, "guardian")
    guard(stranger, cast.pupil, cast.other_studio)
    assert consent.deciders(cast.enrolment) == [cast.guardian]


# -- what holds ----------------------------------------------------------------------------


def test_consent_is_for_one_studio(cast):
    assert consent.is_given(cast.enrolment)
    Consent.objects.filter(pupil=cast.pupil).update(studio=cast.other_studio)
    assert not consent.is_given(cast.enrolment)


def test_consent_to_fewer_words_no_longer_holds_when_more_is_asked(cast, monkeypatch):
    words = consent.WORDS[RECORDINGS]
    newer = words.version + 1
    more = dataclasses.replace(words, version=newer, holds_since=newer)
    monkeypatch.setitem(consent.WORDS, RECORDINGS, more)
    assert not consent.is_given(cast.enrolment)
    assert "ask for more" in consent.cannot_watch(cast.enrolment)
    consent.give(cast.enrolment, cast.guardian, RECORDINGS, mark(cast))
    assert consent.is_given(cast.enrolment)
    assert consent.withdraw(cast.enrolment, cast.guardian, RECORDINGS) == 2
    monkeypatch.setitem(consent.WORDS, RECORDINGS, words)
    assert not consent.is_given(cast.enrolment), "a withdrawal ends every version"


def test_two_standing_consents_for_the_same_words_cannot_be(cast):
    with pytest.raises(IntegrityError, match=r"(?i)unique"), transaction.atomic():
        agree(cast.pupil, cast.studio)


def mark(cast) -> str:
    return consent.standing(cast.enrolment).mark


def test_who_gave_and_who_withdrew_and_when_is_kept(withdrawn):
    consent.give(withdrawn.enrolment, withdrawn.guardian, RECORDINGS, mark(withdrawn))
    first, second = consent.standing(withdrawn.enrolment).history
    assert first.given_by == first.withdrawn_by == withdrawn.guardian
    assert first.given_at < first.withdrawn_at <= second.given_at
    assert second.withdrawn_at is None


# -- the pages -----------------------------------------------------------------------------


def address(cast, *more: str) -> str:
    return "/".join(["/consent", str(cast.enrolment.pk), *more, ""])


def test_the_page_says_what_is_asked_for_and_who_agreed(cast):
    for who in (cast.guardian, cast.pupil):
        page = as_person(who).get(address(cast)).content.decode()
        assert "The teachers of Larkhill strings: Colleague, Ottilie Brandt." in page
        assert "<b>Given</b> by Edda Sandholm" in page
    assert "Withdraw it" not in page
    assert "Edda Sandholm decides about this" in page


def test_withdrawing_asks_first_and_says_what_happens(cast):
    browser = as_person(cast.guardian)
    page = browser.get(address(cast, "recordings")).content.decode()
    assert "Nothing is deleted." in page
    assert "New clips are not accepted" in page
    assert consent.is_given(cast.enrolment), "looking changes nothing"
    answer = browser.post(address(cast, "recordings"), {"choice": "withdraw"}, follow=True)
    assert "<b>Withdrawn</b> by Edda Sandholm" in answer.content.decode()
    assert not consent.is_given(cast.enrolment)


def test_giving_again_is_one_press_and_twice_is_once(withdrawn):
    browser, seen = as_person(withdrawn.guardian), mark(withdrawn)
    for _ in range(2):
        browser.post(address(withdrawn, "recordings"), {"choice": "give", "mark": seen})
    assert [row.withdrawn_at is None for row in Consent.objects.filter(pupil=withdrawn.pupil)] == [
        False,
        True,
    ]


def test_an_old_page_does_not_undo_a_withdrawal(withdrawn):
    old = mark(withdrawn)
    consent.give(withdrawn.enrolment, withdrawn.guardian, RECORDINGS, old)
    consent.withdraw(withdrawn.enrolment, withdrawn.guardian, RECORDINGS)
    answer = as_person(withdrawn.guardian).post(
        address(withdrawn, "recordings"), {"choice": "give", "mark": old}
    )
    assert answer.status_code == 409
    assert "decided otherwise in the meantime" in answer.content.decode()
    assert not consent.is_given(withdrawn.enrolment)


def test_a_grown_up_pupil_gives_and_withdraws_alone(cast):
    born(cast, 30)
    pupil, guardian = as_person(cast.pupil), as_person(cast.guardian)
    assert guardian.post(address(cast, "recordings"), {"choice": "withdraw"}).status_code == 404
    assert pupil.post(address(cast, "recordings"), {"choice": "withdraw"}).status_code == 302
    assert not consent.is_given(cast.enrolment)


def test_a_purpose_that_nobody_asks_for_is_not_found(cast):
    assert as_person(cast.guardian).get(address(cast, "fame")).status_code == 404


# -- what it stops -------------------------------------------------------------------------


def test_without_consent_nothing_can_be_sent_and_the_sentence_says_who_must_agree(withdrawn):
    browser = as_person(withdrawn.pupil)
    for answer in (
        browser.get("/send/"),
        browser.post("/send/", {"title": "Sixths"}),
        browser.get("/queue/"),
    ):
        assert "Edda Sandholm has to agree" in answer.content.decode()
    tus = {"Tus-Resumable": "1.0.0", "Upload-Length": "5", "Accept": "*/*"}
    answer = browser.post("/uploads/", headers=tus)
    assert answer.status_code == 403
    assert "Edda Sandholm has to agree" in answer.text
    with pytest.raises(consent.ConsentMissing, match="does not hold") as refused:
        services.receive(withdrawn.enrolment, withdrawn.pupil, [b"sound"], "clip.mp4")
    assert "Edda Sandholm has to agree" in refused.value.sentence
    assert "Sandholm" not in str(refused.value), "names stay out of the log"
    assert Clip.objects.count() == 0


def test_without_consent_no_teacher_watches_or_hears_and_is_told_why(cast):
    clip = make_clip(cast.enrolment, "Held sixths")
    assert list(reviews.waiting_for(cast.teacher))
    consent.withdraw(cast.enrolment, cast.guardian, RECORDINGS)
    for part in DESK:
        for who in (cast.teacher, cast.colleague):
            answer = as_person(who).get(f"/clips/{clip.pk}/{part}")
            assert answer.status_code == 403
            assert "was withdrawn on" in answer.content.decode()
        assert as_person(cast.foreign_teacher).get(f"/clips/{clip.pk}/{part}").status_code == 404
    said = {"kind": "bow", "text": "More", "start_s": "1.0"}
    assert as_person(cast.teacher).post(f"/clips/{clip.pk}/comments/", said).status_code == 403
    assert not reviews.waiting_for(cast.teacher)
    assert "was withdrawn on" in page_of(cast)
    assert "no consent for recordings" in as_person(cast.teacher).get("/pupils/").content.decode()


def page_of(cast) -> str:
    return as_person(cast.teacher).get(f"/pupils/{cast.enrolment.pk}/").content.decode()


def test_the_pupil_and_the_guardian_still_see_their_own(withdrawn):
    clip = make_clip(withdrawn.enrolment, "Held sixths")
    make_return(clip, "Listen to the upper note.")
    for who in (withdrawn.pupil, withdrawn.guardian):
        answer = as_person(who).get(f"/clips/{clip.pk}/")
        assert "Listen to the upper note." in answer.content.decode()


def test_a_teacher_who_is_the_childs_guardian_watches_as_a_guardian(withdrawn):
    clip = make_clip(withdrawn.enrolment)
    guard(withdrawn.colleague, withdrawn.pupil, withdrawn.studio)
    withdrawn.colleague.memberships.create(studio=withdrawn.studio, role="guardian")
    browser = as_person(withdrawn.colleague)
    assert browser.get(f"/clips/{clip.pk}/media/").status_code == 404  # allowed; no file here
    assert browser.get(f"/clips/{clip.pk}/desk.json").status_code == 403


def test_everything_is_back_when_consent_is_given_again(withdrawn):
    clip = make_clip(withdrawn.enrolment)
    consent.give(withdrawn.enrolment, withdrawn.guardian, RECORDINGS, mark(withdrawn))
    assert as_person(withdrawn.teacher).get(f"/clips/{clip.pk}/").status_code == 200
    assert as_person(withdrawn.pupil).get("/send/").status_code == 200


def test_listening_waits_while_consent_does_not_hold_and_goes_on_after(cast, monkeypatch):
    sent = []
    monkeypatch.setattr(tasks, "dispatch", lambda clip_id, kind: sent.append(kind))
    clip = make_clip(cast.enrolment)
    long_ago = timezone.now() - timezone.timedelta(minutes=5)
    clip.stages.update(state=Stage.State.WAITING, changed_at=long_ago)
    consent.withdraw(cast.enrolment, cast.guardian, RECORDINGS)
    assert stages.claim(clip.pk, Stage.Kind.LISTENING) is None
    for copy in (Stage.Kind.SMALL, Stage.Kind.PLAYBACK):
        assert stages.claim(clip.pk, copy) is not None, "the pupil's own copies are made"
    tasks.sweep()
    assert sent == []
    waiting = Stage.objects.get(clip=clip, kind=Stage.Kind.LISTENING)
    assert (waiting.state, waiting.attempt) == (Stage.State.WAITING, 0)
    consent.give(cast.enrolment, cast.guardian, RECORDINGS, mark(cast))
    tasks.sweep()
    assert sent == [Stage.Kind.LISTENING]
    assert stages.claim(clip.pk, Stage.Kind.LISTENING).attempt == 1
