"""A family comes in by one link: a guardian, her children, consent child by child, once."""

import re

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone

from studio.accounts import (
    child_log_in,
    consent,
    families,
    guardians,
    invitations,
    lesson_endings,
)
from studio.accounts.families import ChildNamed
from studio.accounts.models import (
    AuditEntry,
    Consent,
    Enrolment,
    GuardianLink,
    Instrument,
    Invitation,
    InvitedChild,
    Letter,
    Membership,
    Notice,
    Person,
)
from tests.cast import PASSWORD, as_person, enrol, guard, person

YEAR = timezone.localdate().year
NEW = {"name": "Petra Fenn", "password": "open strings ring", "again": "open strings ring"}
WORDING = {"wording": str(consent.WORDS[consent.Purpose.RECORDINGS].version)}
TWO = (ChildNamed("Ida Fenn", YEAR - 9), ChildNamed("Otto Fenn", YEAR - 15, "viola", 350.0))


@pytest.fixture
def secret(cast) -> str:
    return invite(cast)


def invite(cast, children=TWO, email: str = "petra@home.example") -> str:
    return families.invite(cast.studio, "Petra Fenn", email, children, cast.teacher)[1]


def said(*agreed: str, **more: str) -> dict:
    """What the guardian sends for all who were invited: who is agreed to, by first name."""
    fields = {**NEW, **WORDING}
    for child in InvitedChild.objects.all():
        first = child.name.split()[0]
        fields[f"child{child.pk}-name"] = child.name
        if first in agreed:
            fields[f"child{child.pk}-agrees"] = "on"
    return fields | more


def of(first: str, field: str) -> str:
    return f"child{InvitedChild.objects.get(name__startswith=first).pk}-{field}"


def post(secret: str, fields: dict, client: Client | None = None):
    return (client or Client()).post(f"/invitation/{secret}/", fields)


def place_of(first: str) -> Enrolment:
    return Enrolment.objects.get(pupil__name__startswith=first, pupil__email=None)


# -- inviting ------------------------------------------------------------------------------


def as_typed(*children: dict) -> dict:
    rows = {
        f"child{n}-{name}": value for n, one in enumerate(children) for name, value in one.items()
    }
    return {"name": "Petra Fenn", "email": "Petra@Home.example", **rows}


IDA = {"name": "Ida Fenn", "birth_year": str(YEAR - 9), "kind": "violin"}
OTTO = {
    "name": "Otto Fenn",
    "birth_year": str(YEAR - 15),
    "kind": "viola",
    "string_length_mm": "350",
}


def test_a_teacher_invites_a_family_and_gets_one_link(cast):
    page = as_person(cast.teacher).post("/people/invite/family/", as_typed(IDA, OTTO)).text
    assert "Petra Fenn is invited" in page
    assert "of Ida Fenn and Otto Fenn" in page
    secret = re.search(r"/invitation/([\w-]+)/</textarea>", page)[1]
    offered = invitations.by_secret(secret)
    assert (offered.email, offered.role) == ("petra@home.example", "guardian")
    children = [(one.name, one.kind, one.string_length_mm) for one in offered.children.all()]
    assert children == [("Ida Fenn", "violin", 328.0), ("Otto Fenn", "viola", 350.0)]
    assert "Ida Fenn and Otto Fenn" in as_person(cast.teacher).get("/people/").text


def test_a_letter_says_for_whom_it_is(cast, settings):
    settings.MAIL = {"EMAIL_HOST": "mail.example"}
    as_person(cast.teacher).post("/people/invite/family/", as_typed(IDA, OTTO))
    assert "as guardian of Ida Fenn and Otto Fenn" in Letter.objects.get().body


def test_there_is_room_for_one_more_child_without_a_script(cast):
    page = as_person(cast.teacher).post(
        "/people/invite/family/", as_typed(IDA, {"name": "Otto"}) | {"add": "1"}
    )
    assert page.status_code == 200
    for row in ('name="child0-name" value="Ida Fenn"', 'name="child1-name" value="Otto"'):
        assert row in page.text
    assert 'name="child2-name"' in page.text
    assert 'class="error"' not in page.text
    assert not Invitation.objects.exists()


def test_six_children_are_the_most(cast):
    rows = [IDA | {"name": f"Child {n}"} for n in range(9)]
    page = as_person(cast.teacher).post("/people/invite/family/", as_typed(*rows) | {"add": "1"})
    assert "child5-name" in page.text
    assert "child6-name" not in page.text
    assert "One more child" not in page.text
    as_person(cast.teacher).post("/people/invite/family/", as_typed(*rows))
    assert InvitedChild.objects.count() == families.MOST_CHILDREN


def test_an_empty_row_is_left_out_and_the_first_is_not(cast):
    teacher = as_person(cast.teacher)
    empty = {"name": "", "birth_year": "", "kind": "violin", "string_length_mm": ""}
    teacher.post("/people/invite/family/", as_typed(IDA, empty))
    assert [child.name for child in InvitedChild.objects.all()] == ["Ida Fenn"]
    assert teacher.post("/people/invite/family/", as_typed(empty)).status_code == 422
    assert teacher.post("/people/invite/family/", {}).status_code == 422


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"birth_year": str(YEAR - 19)}, "grown up, and is invited alone"),
        ({"birth_year": str(YEAR)}, "at least two years old"),
        ({"birth_year": "²"}, "Enter a whole number"),
        ({"string_length_mm": "3"}, "greater than or equal to 170"),
        ({"kind": "tuba"}, "not one of the available"),
        ({"name": "I\nda"}, "A name stands on one line"),
    ],
)
def test_what_cannot_be_is_refused_with_what_was_typed(cast, wrong, sentence):
    page = as_person(cast.teacher).post("/people/invite/family/", as_typed(IDA | wrong))
    assert page.status_code == 422
    assert sentence in page.text
    assert "Petra@Home.example" in page.text
    assert not Invitation.objects.exists()


def test_a_second_invitation_replaces_the_first(cast, secret):
    again = invite(cast)
    with pytest.raises(invitations.NoLongerOpen):
        invitations.by_secret(secret)
    invitations.by_secret(again)


def test_a_single_invitation_and_a_familys_stand_beside_each_other(cast, secret):
    email = "petra@home.example"
    invitations.invite(cast.studio, "guardian", "P", email, by=cast.teacher, pupil=cast.pupil)
    assert invitations.by_secret(secret)


# -- accepting -----------------------------------------------------------------------------


def test_one_page_shows_the_words_and_asks_child_by_child(secret):
    page = Client().get(f"/invitation/{secret}/").text
    assert "Ida and Otto, or you for Ida and Otto, may send practice clips" in page
    for first in ("Ida", "Otto"):
        assert f"I agree to recordings of {first}" in page
        assert f"Left open, no clip of {first} can be sent." in page
    ticked = re.findall(r'<input type="checkbox" name="child\d+-agrees"[^>]*checked', page)
    assert ticked == [], "nobody agrees by doing nothing"


def test_a_guardian_and_both_children_come_in_at_once(cast, secret):
    client = Client()
    answer = post(secret, said("Ida", "Otto"), client)
    ida, otto = place_of("Ida"), place_of("Otto")
    assert answer.url == f"/children/{ida.pk}/send/"
    assert client.get(answer.url).status_code == 200
    petra = Person.objects.get(email="petra@home.example")
    assert petra.name == "Petra Fenn"
    for place, kind, length in ((ida, "violin", 328.0), (otto, "viola", 350.0)):
        assert (place.studio, place.teacher) == (cast.studio, cast.teacher)
        instrument = Instrument.objects.get(pupil=place.pupil)
        assert (instrument.kind, instrument.string_length_mm) == (kind, length)
        assert guardians.deciders(place) == [petra]
        assert Consent.objects.get(pupil=place.pupil).given_by == petra
        assert not place.pupil.has_usable_password()
    assert not InvitedChild.objects.exists(), "their names are kept once"
    roles = Membership.objects.filter(studio=cast.studio, started_on=timezone.localdate())
    assert roles.filter(person=petra, role="guardian").count() == 1


def test_consent_is_given_for_who_is_ticked_alone(cast, secret):
    answer = post(secret, said("Otto"))
    assert answer.url == f"/children/{place_of('Otto').pk}/send/"
    assert consent.is_given(place_of("Otto"))
    assert not consent.is_given(place_of("Ida"))


def test_without_any_tick_everybody_comes_in_and_nothing_can_be_sent(cast, secret):
    client = Client()
    assert post(secret, said(), client).url == "/children/"
    page = client.get("/children/").text
    assert page.count("cannot send a clip") == 2
    assert not Consent.objects.filter(pupil__name__endswith="Fenn").exists()


def test_it_is_accepted_once(secret):
    assert post(secret, said("Ida")).status_code == 302
    again = post(secret, NEW | WORDING)
    assert again.status_code == 404
    assert Person.objects.filter(name="Ida Fenn").count() == 1


def test_nothing_is_made_where_something_fails(cast, secret, monkeypatch):
    def fails(*args, **kwargs):
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(families, "link_guardian", fails)
    fields = said("Ida")
    before = Person.objects.count()
    with pytest.raises(RuntimeError), transaction.atomic():
        post(secret, fields)
    assert Person.objects.count() == before
    assert invitations.by_secret(secret)


def test_two_who_accept_at_once_make_one_family(cast, secret):
    offered = invitations.by_secret(secret)
    children = [families.ChildTaken(one, one.name) for one in offered.children.all()]
    families.accept(offered, children, "Petra", PASSWORD)
    with pytest.raises(invitations.NoLongerOpen):
        families.accept(offered, children, "Petra", PASSWORD)


@pytest.mark.parametrize(
    "wrong", [{"again": "another one"}, {"password": "violin", "again": "violin"}]
)
def test_what_is_refused_stays_as_it_was_ticked(secret, wrong):
    fields = said("Ida", **{of("Otto", "name"): "Otto B. Fenn"}) | wrong
    page = post(secret, fields)
    assert page.status_code == 422
    assert re.search(rf'name="{of("Ida", "agrees")}"[^>]*checked', page.text)
    assert "Otto B. Fenn" in page.text
    assert not Person.objects.filter(name="Petra Fenn").exists()


@pytest.mark.parametrize("wording", ["", "1", "none", "99"])
def test_words_that_changed_meanwhile_are_read_again(secret, wording):
    page = post(secret, said("Ida", wording=wording))
    assert page.status_code == 409
    assert "Read them once more" in page.text
    assert not Consent.objects.filter(given_by__name="Petra Fenn").exists()


def test_the_owner_reads_who_came(cast, secret):
    post(secret, said("Ida"))
    came = AuditEntry.objects.filter(act=AuditEntry.Act.CAME)
    assert sorted(one.about.name for one in came) == ["Ida Fenn", "Otto Fenn", "Petra Fenn"]


# -- who has an account --------------------------------------------------------------------


def test_who_has_an_account_is_logged_in_first(cast):
    secret = invite(cast, email=cast.guardian.email)
    page = Client().get(f"/invitation/{secret}/").text
    assert "has an account here already" in page
    assert "<fieldset" not in page
    for who in (None, cast.pupil, cast.teacher):
        assert post(secret, said("Ida"), as_person(who)).status_code == 403
    client = as_person(cast.guardian)
    assert "A password" not in client.get(f"/invitation/{secret}/").text
    assert post(secret, said("Ida"), client).status_code == 302
    assert guardians.deciders(place_of("Ida")) == [cast.guardian]


def test_a_child_who_is_elsewhere_already_keeps_her_account(cast):
    secret = families.invite(
        cast.other_studio,
        "E",
        cast.guardian.email,
        [ChildNamed("Mira", YEAR - 9)],
        cast.foreign_teacher,
    )[1]
    client = as_person(cast.guardian)
    assert "Is Mira here or elsewhere already?" in client.get(f"/invitation/{secret}/").text
    fields = said("Mira", **{of("Mira", "already"): str(cast.pupil.pk)})
    assert post(secret, fields, client).status_code == 302
    place = Enrolment.objects.get(pupil=cast.pupil, studio=cast.other_studio)
    assert consent.is_given(place)
    mira = Person.objects.get(pk=cast.pupil.pk)
    assert (mira.birth_year, mira.name) == (None, "Mira Sandholm"), "as another studio knows her"
    assert GuardianLink.objects.filter(pupil=mira, studio=cast.other_studio).count() == 1


def test_of_two_guardians_the_one_who_moves_the_child_answers_there_and_both_here(cast):
    """Rights go with the guardian who accepted; the other is linked there by the studio."""
    father = person("Halvard Sandholm", cast.studio, "guardian")
    guard(father, cast.pupil, cast.studio)
    child = [ChildNamed("Mira", YEAR - 9)]
    by = cast.foreign_teacher
    secret = families.invite(cast.other_studio, "E", cast.guardian.email, child, by)[1]
    fields = said("Mira", **{of("Mira", "already"): str(cast.pupil.pk)})
    assert post(secret, fields, as_person(cast.guardian)).status_code == 302
    there = Enrolment.objects.get(pupil=cast.pupil, studio=cast.other_studio)
    lesson_endings.end_lessons(cast.enrolment, cast.guardian, lesson_endings.Side.FAMILY)
    assert guardians.deciders(there) == [cast.guardian]
    assert set(guardians.deciders(cast.enrolment)) == {cast.guardian, father}
    assert {notice.to for notice in Notice.objects.filter(text__contains="ended")} >= {father}
    for who, sees in ((cast.guardian, 200), (father, 404)):
        assert as_person(who).get(f"/children/{there.pk}/").status_code == sees
        kept = as_person(who).get("/rights/").text
        assert "lessons at Larkhill strings" in kept  # a copy and erasure stay both parents'
        assert ("lessons at Another studio" in kept) is (sees == 200)


def test_nobody_takes_another_familys_child(cast):
    secret = invite(cast, email=cast.guardian.email)
    fields = said("Ida", **{of("Ida", "already"): str(cast.other_pupil.pk)})
    assert post(secret, fields, as_person(cast.guardian)).status_code == 422
    offered = invitations.by_secret(secret)
    taken = [
        families.ChildTaken(one, one.name, already=cast.other_pupil)
        for one in offered.children.all()
    ]
    families.accept(offered, taken, person=cast.guardian)
    assert not GuardianLink.objects.filter(pupil=cast.other_pupil).exists()


def test_a_child_is_not_chosen_twice(cast):
    secret = invite(cast, email=cast.guardian.email)
    mira = str(cast.pupil.pk)
    fields = said(**{of("Ida", "already"): mira, of("Otto", "already"): mira})
    page = post(secret, fields, as_person(cast.guardian))
    assert page.status_code == 422
    assert "You chose the same child twice." in page.text


def test_what_was_decided_here_before_is_not_decided_by_the_way(cast):
    consent.withdraw(cast.enrolment, cast.guardian, consent.Purpose.RECORDINGS)
    secret = invite(cast, [ChildNamed("Mira Sandholm", YEAR - 9)], cast.guardian.email)
    fields = said("Mira", **{of("Mira", "already"): str(cast.pupil.pk)})
    post(secret, fields, as_person(cast.guardian))
    assert not consent.is_given(cast.enrolment)


def test_a_teacher_makes_no_consent_by_inviting_herself(cast):
    secret = invite(cast, email=cast.teacher.email)
    client = as_person(cast.teacher)
    page = client.get(f"/invitation/{secret}/").text
    assert "your consent for a pupil does not count" in page
    assert "-agrees" not in page
    post(secret, said("Ida", "Otto"), client)
    assert not consent.is_given(place_of("Ida"))
    assert consent.deciders(place_of("Ida")) == []


def test_a_child_is_no_guardian(cast):
    cast.other_pupil.birth_year = YEAR - 12
    cast.other_pupil.save()
    secret = invite(cast, email=cast.other_pupil.email)
    client = as_person(cast.other_pupil)
    assert "a pupil who is not grown up" in client.get(f"/invitation/{secret}/").text
    assert post(secret, said("Ida"), client).status_code == 403


# -- log-ins -------------------------------------------------------------------------------


def test_a_log_in_is_proposed_from_the_studios_age_on(cast, secret):
    def proposed() -> list[bool]:
        page = Client().get(f"/invitation/{secret}/").text
        boxes = re.findall(r'<input type="checkbox" name="child\d+-logs_in"[^>]*>', page)
        return ["checked" in box for box in boxes]

    assert proposed() == [False, True]
    for age, then in ((8, [True, True]), (9, [False, True]), (16, [False, False])):
        as_person(cast.teacher).post("/people/own-log-in/", {"own_login_age": str(age)})
        assert proposed() == then, age


@pytest.mark.parametrize("age", ["-1", "19", "", "nine", "9" * 30])
def test_an_age_that_cannot_be_is_refused(cast, age):
    page = as_person(cast.teacher).post("/people/own-log-in/", {"own_login_age": age})
    assert page.status_code == 422


def test_codes_are_shown_once_and_lead_on_to_the_first_clip(cast, secret):
    log_in = {of("Otto", "logs_in"): "on", of("Otto", "login_name"): "Otto.F"}
    page = post(secret, said("Ida", **log_in))
    assert page.status_code == 200
    code = re.search(r"<code>([0-9A-Z]{4}-[0-9A-Z]{4}-[0-9A-Z]{4})</code>", page.text)[1]
    assert f"/children/{place_of('Ida').pk}/send/" in page.text
    assert Client().post("/log-in/", {"username": "otto.f", "password": code}).status_code == 302


@pytest.mark.parametrize("name", ["", "x", "otto at home"])
def test_a_log_in_needs_a_name(secret, name):
    page = post(secret, said(**{of("Otto", "logs_in"): "on", of("Otto", "login_name"): name}))
    assert page.status_code == 422
    assert "letters from a to z" in page.text


def test_a_name_that_is_taken_or_wanted_twice_is_refused(cast, secret):
    wish = {of(one, "logs_in"): "on" for one in ("Ida", "Otto")}
    wish |= {of("Ida", "login_name"): "fenn", of("Otto", "login_name"): "FENN"}
    assert "Somebody logs in with this name already" in post(secret, said(**wish)).text
    other = person("Runa", cast.studio, "pupil", logs_in=False)
    guard(cast.guardian, other, cast.studio)
    enrol(other, cast.studio, cast.teacher)
    child_log_in.make(other, "otto.fenn", cast.guardian)
    wish = {of("Otto", "logs_in"): "on", of("Otto", "login_name"): "otto.fenn"}
    assert post(secret, said(**wish)).status_code == 422


def test_a_name_that_is_taken_at_the_last_moment_leaves_all_as_it_was(cast, secret, monkeypatch):
    monkeypatch.setattr(child_log_in, "is_taken", lambda name: False)
    Person.objects.create_user(None, None, name="Quicker", login_name="otto.fenn")
    page = post(
        secret, said(**{of("Otto", "logs_in"): "on", of("Otto", "login_name"): "otto.fenn"})
    )
    assert page.status_code == 422
    assert not Person.objects.filter(name="Petra Fenn").exists()
    assert invitations.by_secret(secret)


def test_a_familys_invitation_that_nobody_took_goes_with_its_children(cast, secret):
    Invitation.objects.get(name="Petra Fenn").delete()
    assert not InvitedChild.objects.exists()
