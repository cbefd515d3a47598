"""The address of a child's account changes only once a guardian agrees."""

import re
from datetime import timedelta

import pytest
from django.core import mail as outbox
from django.utils import timezone

from studio.accounts import cleaning, letters, tasks
from studio.accounts.models import AddressChange, GuardianLink, Person
from tests.cast import PASSWORD, as_person, guard, person

NEW = "mira@new.example"


@pytest.fixture
def mail(settings, monkeypatch) -> list:
    settings.MAIL, settings.DEFAULT_FROM_EMAIL = {"EMAIL_HOST": "mail.example"}, "s@s.example"
    monkeypatch.setattr(letters, "_wake", lambda: None)
    return outbox.outbox


def ask(pupil: Person, email: str = NEW):
    said = {"email": email, "present_password": PASSWORD}
    return as_person(pupil).post("/account/address/", said, follow=True)


def address(pupil: Person) -> str | None:
    return Person.objects.get(pk=pupil.pk).email


def answer_link(guardian: Person) -> str:
    """Where the notice on each of her pages leads to."""
    page = as_person(guardian).get("/children/").text
    return re.search(r'href="(/children/address/\d+/)"', page)[1]


def test_without_letters_the_guardian_is_asked_on_her_page_and_agrees(cast):
    before = cast.pupil.email
    page = ask(cast.pupil).text
    assert "Edda Sandholm is asked, and has to agree" in page
    assert address(cast.pupil) == before
    where = answer_link(cast.guardian)
    asked = as_person(cast.guardian).get(where).text
    assert NEW in asked
    assert before in asked
    assert asked.count("Agree or decline") == 0, "the page itself asks"
    page = as_person(cast.guardian).post(where, {"choice": "agree"}, follow=True).text
    assert f"From now on Mira logs in with {NEW}" in page
    assert address(cast.pupil) == NEW
    assert "Your address was changed" in as_person(cast.pupil).get("/queue/").text
    assert not AddressChange.objects.exists()
    assert as_person(cast.guardian).post(where, {"choice": "agree"}).status_code == 404, "once"


def test_a_guardian_declines_and_the_old_address_holds(cast):
    before = cast.pupil.email
    ask(cast.pupil)
    page = as_person(cast.guardian).post(answer_link(cast.guardian), {"choice": "decline"})
    assert page.status_code == 302
    assert address(cast.pupil) == before
    assert f"does not want you to log in with {NEW}" in as_person(cast.pupil).get("/queue/").text
    assert "Agree or decline" not in as_person(cast.guardian).get("/children/").text


def test_with_letters_the_address_is_proved_first_and_the_guardian_gets_a_letter(cast, mail):
    before = cast.pupil.email
    ask(cast.pupil)
    tasks.send_letters()
    assert [letter.to for letter in mail] == [[NEW]]
    link = re.search(r"http://testserver(/\S+)", mail[0].body)[1]
    pupil = as_person(cast.pupil)
    assert "Ask Edda Sandholm" in pupil.get(link).text
    pupil.post(link)
    assert address(cast.pupil) == before
    tasks.send_letters()
    (letter,) = mail[1:]
    assert letter.to == [cast.guardian.email]
    where = re.search(r"http://testserver(/\S+)", letter.body)[1]
    assert where == answer_link(cast.guardian)
    as_person(cast.guardian).post(where, {"choice": "agree"})
    assert address(cast.pupil) == NEW


def test_only_who_decides_for_the_child_answers(cast):
    sees_only = cast.colleague  # teaches there, and so does not decide
    guard(sees_only, cast.pupil, cast.studio)
    ask(cast.pupil)
    where = answer_link(cast.guardian)
    for who in (sees_only, cast.teacher, cast.pupil, cast.unlinked_guardian):
        assert as_person(who).post(where, {"choice": "agree"}).status_code == 404
    GuardianLink.objects.filter(guardian=cast.guardian).update(ended_on=timezone.localdate())
    assert as_person(cast.guardian).post(where, {"choice": "agree"}).status_code == 404


def test_a_second_guardian_reads_that_the_first_declined(cast):
    other = person("Ove Sandholm", cast.studio, "guardian")
    guard(other, cast.pupil, cast.studio)
    assert "Edda Sandholm or Ove Sandholm" in ask(cast.pupil).text
    as_person(cast.guardian).post(answer_link(other), {"choice": "decline"})
    assert "Edda Sandholm declined that Mira" in as_person(other).get("/children/").text


def test_a_child_takes_it_back_and_a_newer_wish_takes_its_place(cast):
    ask(cast.pupil)
    ask(cast.pupil, "mira@other.example")
    assert AddressChange.objects.get().email == "mira@other.example"
    assert NEW not in as_person(cast.guardian).get("/children/").text
    pupil = as_person(cast.pupil)
    assert "Take it back" in pupil.get("/account/").text
    page = pupil.post("/account/address/take-back/", follow=True).text
    assert "It is taken back" in page
    assert not AddressChange.objects.exists()
    assert "Agree or decline" not in as_person(cast.guardian).get("/children/").text


def test_an_address_that_was_taken_meanwhile_is_said_to_both(cast):
    before = cast.pupil.email
    ask(cast.pupil)
    Person.objects.create_user(NEW, PASSWORD, name="Quicker")
    where = answer_link(cast.guardian)
    page = as_person(cast.guardian).post(where, {"choice": "agree"}, follow=True).text
    assert "cannot be used here" in page
    assert address(cast.pupil) == before
    assert "Choose another address" in as_person(cast.pupil).get("/queue/").text


def test_what_nobody_answers_is_closed_after_thirty_days_and_the_child_is_told(cast):
    ask(cast.pupil)
    AddressChange.objects.update(asked_at=timezone.now() - timedelta(days=31))
    assert cleaning.clean()["address_changes"] == 1
    assert "Nobody answered within 30 days" in as_person(cast.pupil).get("/queue/").text


def test_a_child_for_whom_nobody_decides_is_told_whom_to_ask(cast):
    Person.objects.filter(pk=cast.other_pupil.pk).update(birth_year=timezone.localdate().year - 10)
    page = ask(cast.other_pupil)
    assert page.status_code == 422
    assert "Ask your teacher to invite your guardian" in page.text


def test_who_is_grown_up_asks_nobody_and_a_guardian_answers_no_more(cast):
    ask(cast.pupil)
    where = answer_link(cast.guardian)
    Person.objects.filter(pk=cast.pupil.pk).update(birth_year=1990)
    assert as_person(cast.guardian).get(where).status_code == 404
    ask(cast.pupil, "mira@other.example")
    assert address(cast.pupil) == "mira@other.example"
    assert not AddressChange.objects.exists(), "and its notice with it"


def test_a_guardian_who_was_linked_later_finds_the_question(cast):
    ask(cast.pupil)
    later = person("Ove Sandholm", cast.studio, "guardian")
    guard(later, cast.pupil, cast.studio)
    page = as_person(later).get(f"/children/{cast.enrolment.pk}/log-in/").text
    assert "Agree or decline" in page
