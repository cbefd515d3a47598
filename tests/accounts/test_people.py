"""People: invitations that work once for a few days, links of guardians, and places that end."""

import hashlib
import re
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from studio.accounts import access, consent, invitations
from studio.accounts.models import Enrolment, GuardianLink, Invitation, Membership, Person, Studio
from tests.cast import as_person, enrol, make_clip, person

NEW = {"name": "Runa Feld", "password": "open strings ring", "again": "open strings ring"}


def invite(cast, role: str, **said) -> str:
    """Invite by the teacher's page; the path of the link that it shows."""
    said = {"name": "Runa Feld", "email": "Runa@Studio.example"} | said
    answer = as_person(cast.teacher).post(f"/people/invite/{role}/", said)
    assert answer.status_code == 200, answer.content.decode()
    assert answer["Cache-Control"] == "private, no-store"
    return re.search(r"http://testserver(/invitation/[\w-]+/)", answer.content.decode())[1]


def invite_pupil(cast, **said) -> str:
    return invite(cast, "pupil", birth_year=timezone.localdate().year - 30, **said)


def runa() -> Person:
    return Person.objects.get(email="runa@studio.example")


# -- inviting ------------------------------------------------------------------------------


def test_an_invited_pupil_chooses_a_password_and_has_a_place(cast):
    link = invite_pupil(cast)
    browser = as_person(None)
    assert "by Ottilie Brandt" in browser.get(link).content.decode()
    assert browser.post(link, NEW).status_code == 302
    place = Enrolment.objects.get(pupil=runa())
    assert (place.studio, place.teacher) == (cast.studio, cast.teacher)
    assert runa().check_password(NEW["password"])
    assert browser.get("/queue/").status_code == 200, "logged in"
    assert consent.deciders(place) == [runa()]
    assert browser.get("/send/").status_code == 403, "an invitation is no consent"


def test_an_invited_guardian_sees_the_child_and_may_agree(cast):
    link = invite(cast, "guardian", place=cast.other_enrolment.pk)
    browser = as_person(None)
    browser.post(link, NEW)
    assert browser.get(f"/children/{cast.other_enrolment.pk}/").status_code == 200
    assert browser.get(f"/children/{cast.enrolment.pk}/").status_code == 404
    assert consent.deciders(cast.other_enrolment) == [runa()]


def test_an_invited_colleague_teaches_in_the_studio(cast):
    browser = as_person(None)
    browser.post(invite(cast, "teacher"), NEW)
    assert access.teaching_studio(runa()) == cast.studio


def test_the_secret_has_256_bits_and_only_its_hash_is_kept(cast):
    secret = invite_pupil(cast).split("/")[2]
    assert len(secret) * 6 >= 256
    row = Invitation.objects.get()
    assert row.token_sha256 == hashlib.sha256(secret.encode()).hexdigest()
    assert secret not in str(Invitation.objects.values().get())


def test_a_link_works_once(cast):
    link = invite_pupil(cast)
    as_person(None).post(link, NEW)
    for answer in (as_person(None).get(link), as_person(None).post(link, NEW)):
        assert answer.status_code == 404
        assert "Ask whoever sent it for a new one" in answer.content.decode()
    assert Enrolment.objects.filter(pupil=runa()).count() == 1


def test_two_at_once_are_one(cast):
    secret = invite_pupil(cast).split("/")[2]
    first, second = invitations.by_secret(secret), invitations.by_secret(secret)
    invitations.accept(first, "Runa", "open strings ring")
    with pytest.raises(invitations.NoLongerOpen):
        invitations.accept(second, "Somebody else", "open strings ring")


@pytest.mark.parametrize("gone", ["cancelled", "run out", "replaced", "invented"])
def test_a_link_that_no_longer_holds_opens_nothing(cast, gone):
    link = invite_pupil(cast)
    if gone == "cancelled":
        pk = Invitation.objects.get().pk
        as_person(cast.teacher).post(f"/people/invitations/{pk}/cancel/")
    elif gone == "run out":
        assert invitations.LIFETIME.days <= 7
        Invitation.objects.update(expires_at=timezone.now())
    elif gone == "replaced":
        invite_pupil(cast)
    else:
        link = "/invitation/" + "x" * 43 + "/"
    assert as_person(None).post(link, NEW).status_code == 404
    assert not Person.objects.filter(email="runa@studio.example").exists()


def test_looking_at_a_link_does_not_use_it(cast):
    link = invite_pupil(cast)
    for _ in range(2):
        answer = as_person(None).get(link)
        assert answer.status_code == 200
    assert answer["Referrer-Policy"] == "strict-origin"


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"again": "open strings rang"}, "The two are not the same"),
        ({"password": "violin", "again": "violin"}, "at least 8 characters"),
        ({"password": "password1", "again": "password1"}, "too common"),
        ({"password": "runa@studio", "again": "runa@studio"}, "too similar"),
    ],
)
def test_a_poor_password_is_refused_and_the_link_still_works(cast, said, sentence):
    link = invite_pupil(cast)
    answer = as_person(None).post(link, NEW | said)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert as_person(None).post(link, NEW).status_code == 302


def test_who_has_an_account_accepts_logged_in_and_nobody_else_can(cast):
    link = invite(cast, "guardian", email=cast.foreign_pupil.email, place=cast.enrolment.pk)
    for who in (None, cast.other_pupil):
        assert "has an account here already" in as_person(who).get(link).content.decode()
        assert as_person(who).post(link, NEW).status_code == 403
    assert not cast.foreign_pupil.check_password(NEW["password"])
    assert as_person(cast.foreign_pupil).post(link).status_code == 302
    assert cast.foreign_pupil in consent.deciders(cast.enrolment)


def test_a_pupil_who_comes_back_the_same_day_has_a_new_place(cast):
    as_person(cast.teacher).post(f"/people/places/{cast.enrolment.pk}/end/")
    link = invite_pupil(cast, email=cast.pupil.email)
    as_person(cast.guardian).post(link)
    assert as_person(cast.pupil).get("/queue/").status_code == 200
    assert access.own_enrolment(cast.pupil) != cast.enrolment


def test_a_wrong_form_keeps_what_was_typed_and_says_what_is_missing(cast):
    answer = as_person(cast.teacher).post("/people/invite/pupil/", {"name": "Runa", "email": "r@"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="Runa"' in page
    assert "Enter a valid email address" in page
    assert Invitation.objects.count() == 0


def test_another_studios_pupil_and_guardian_cannot_be_chosen(cast):
    teacher = as_person(cast.teacher)
    said = {"name": "R", "email": "r@r.example", "place": cast.foreign_enrolment.pk}
    assert teacher.post("/people/invite/guardian/", said).status_code == 422
    said = {"place": cast.foreign_enrolment.pk, "guardian": cast.guardian.pk}
    assert teacher.post("/people/guardians/", said).status_code == 422
    assert GuardianLink.objects.filter(pupil=cast.foreign_pupil).count() == 0


# -- guardians and places ------------------------------------------------------------------


def test_the_page_shows_pupils_guardians_teachers_and_invitations(cast):
    invite_pupil(cast, name="Somebody Invited")
    page = as_person(cast.teacher).get("/people/").content.decode()
    for name in ("Mira Sandholm", "Guardian: Edda Sandholm", "Colleague", "Somebody Invited"):
        assert name in page
    assert "Foreign" not in page


def test_the_page_asks_for_a_guardian_of_a_child_without_one(cast):
    year = timezone.localdate().year
    Person.objects.filter(pk=cast.other_pupil.pk).update(birth_year=year - 9)
    consent.withdraw(cast.other_enrolment, cast.other_pupil, "recordings")
    page = as_person(cast.teacher).get("/people/").content.decode()
    assert "a guardian has to be invited first" in page


def test_a_guardian_can_be_linked_to_a_second_child_and_unlinked(cast):
    teacher, guardian = as_person(cast.teacher), as_person(cast.guardian)
    said = {"place": cast.other_enrolment.pk, "guardian": cast.guardian.pk}
    for _ in range(2):
        assert teacher.post("/people/guardians/", said).status_code == 302
    link = GuardianLink.objects.get(guardian=cast.guardian, pupil=cast.other_pupil)
    assert guardian.get(f"/children/{cast.other_enrolment.pk}/").status_code == 200
    assert "goes on holding" in teacher.get(f"/people/guardians/{link.pk}/end/").content.decode()
    assert guardian.get(f"/children/{cast.other_enrolment.pk}/").status_code == 200
    teacher.post(f"/people/guardians/{link.pk}/end/")
    assert guardian.get(f"/children/{cast.other_enrolment.pk}/").status_code == 404
    assert guardian.get(f"/children/{cast.enrolment.pk}/").status_code == 200


def test_a_clip_without_an_answer_is_out_of_everyones_reach_once_lessons_end(cast):
    clip, teacher = make_clip(cast.enrolment), as_person(cast.teacher)
    assert (
        "Nothing is deleted"
        in teacher.get(f"/people/places/{cast.enrolment.pk}/end/").content.decode()
    )
    teacher.post(f"/people/places/{cast.enrolment.pk}/end/")
    for who in (cast.teacher, cast.pupil, cast.guardian):
        assert as_person(who).get(f"/clips/{clip.pk}/").status_code == 404
    assert access.roles_of(cast.pupil) == []


def test_the_queries_do_not_grow_with_the_pupils(
    cast, django_assert_max_num_queries, django_assert_num_queries
):
    teacher = as_person(cast.teacher)
    with django_assert_max_num_queries(18) as few:
        teacher.get("/people/")
    for number in range(5):
        enrol(person(f"Pupil {number}", cast.studio, "pupil"), cast.studio, cast.teacher)
    with django_assert_num_queries(len(few)):
        teacher.get("/people/")


# -- the first studio ----------------------------------------------------------------------


def add_studio(name="Larkhill strings", email="ottilie@studio.example") -> str:
    said = StringIO()
    call_command(
        "add_studio",
        name,
        "--teacher-name",
        "Ottilie Brandt",
        "--teacher-email",
        email,
        stdout=said,
    )
    return said.getvalue()


def test_the_first_teacher_comes_in_by_the_printed_link_and_can_invite(db):
    said = add_studio()
    assert "http://localhost:8000/invitation/" in said
    assert "on the page People" in said
    browser = as_person(None)
    link = re.search(r"(/invitation/[\w-]+/)", said)[1]
    browser.post(link, {"name": "Ottilie Brandt", "password": "a good bow", "again": "a good bow"})
    assert browser.get("/people/").status_code == 200
    assert Membership.objects.get().role == "teacher"
    with pytest.raises(CommandError, match="with a teacher already"):
        add_studio()


def test_a_lost_link_is_made_anew_and_the_first_no_longer_works(db):
    first, second = (re.search(r"(/invitation/[\w-]+/)", add_studio())[1] for _ in range(2))
    assert Studio.objects.count() == 1
    assert as_person(None).get(first).status_code == 404
    assert as_person(None).get(second).status_code == 200


@pytest.mark.parametrize(
    ("name", "email", "sentence"),
    [("Larkhill", "ottilie", "no e-mail address"), (" ", "o@o.example", "need a name")],
)
def test_a_studio_with_wrong_values_is_not_made(db, name, email, sentence):
    with pytest.raises(CommandError, match=sentence):
        add_studio(name, email)
    assert Studio.objects.count() == 0


def test_the_link_has_the_studios_own_address(db, settings):
    settings.ALLOWED_HOSTS, settings.HTTPS = ["studio.example"], True
    assert "https://studio.example/invitation/" in add_studio()
    settings.CSRF_TRUSTED_ORIGINS = ["https://lessons.example:8443"]
    assert "https://lessons.example:8443/invitation/" in add_studio()
