"""Pupils go to a colleague, a teacher leaves, the studio changes hands, and one closes."""

import pytest

from studio.accounts import audit, handing_over, invitations
from studio.accounts.models import AuditEntry, Enrolment, Membership, Notice, Person
from studio.review.models import Review
from studio.review.waiting import triage
from tests.cast import PASSWORD, as_person, enrol, make_clip, make_return, person


@pytest.fixture
def colleague(cast) -> Membership:
    """Has one pupil of her own, and a clip that she has taken."""
    wren = person("Wren Oakes", cast.studio, "pupil")
    enrol(wren, cast.studio, cast.colleague)
    return Membership.objects.get(person=cast.colleague)


def place_of(who: Person) -> Enrolment:
    return Enrolment.objects.get(pupil=who)


def wren() -> Enrolment:
    return Enrolment.objects.select_related("pupil", "teacher").get(pupil__name="Wren Oakes")


def told(who: Person) -> str:
    return " ".join(Notice.objects.filter(to=who).values_list("text", flat=True))


# -- pupils --------------------------------------------------------------------------------


def test_one_pupil_is_handed_over_and_the_family_is_told(cast):
    mine = Membership.objects.get(person=cast.teacher)
    path = f"/people/teachers/{mine.pk}/pupils/"
    teacher = as_person(cast.teacher)
    assert "Mira Sandholm" in teacher.get(path).text
    said = {f"place-{cast.enrolment.pk}": cast.colleague.pk}
    assert teacher.post(path, said).url == "/people/"
    assert place_of(cast.pupil).teacher == cast.colleague
    assert place_of(cast.other_pupil).teacher == cast.teacher
    assert "Colleague teaches you" in told(cast.pupil)
    assert "Colleague teaches Mira Sandholm" in told(cast.guardian)
    assert "Colleague teaches Mira Sandholm" in told(cast.colleague)
    assert told(cast.other_pupil) == ""
    entry = AuditEntry.objects.get(act="handed_over")
    assert (entry.by, entry.about) == (cast.teacher, cast.pupil)


def test_all_are_handed_over_at_once_and_one_of_them_elsewhere(cast, colleague):
    third = person("Third Teacher", cast.studio, "teacher")
    mine = Membership.objects.get(person=cast.teacher)
    said = {"all": cast.colleague.pk, f"place-{cast.enrolment.pk}": third.pk}
    as_person(cast.teacher).post(f"/people/teachers/{mine.pk}/pupils/", said)
    assert place_of(cast.pupil).teacher == third
    assert place_of(cast.other_pupil).teacher == cast.colleague


def test_nobody_of_another_studio_is_given_a_pupil(cast):
    mine = Membership.objects.get(person=cast.teacher)
    said = {f"place-{cast.enrolment.pk}": cast.foreign_teacher.pk}
    answer = as_person(cast.teacher).post(f"/people/teachers/{mine.pk}/pupils/", said)
    assert answer.status_code == 422
    assert place_of(cast.pupil).teacher == cast.teacher


def test_a_colleague_hands_over_her_own_alone(cast, colleague):
    owner = Membership.objects.get(person=cast.teacher)
    browser = as_person(cast.colleague)
    assert browser.get(f"/people/teachers/{owner.pk}/pupils/").status_code == 404
    assert "Wren Oakes" in browser.get(f"/people/teachers/{colleague.pk}/pupils/").text


# -- a teacher leaves ----------------------------------------------------------------------


def test_no_teacher_leaves_pupils_without_one(cast, colleague):
    owner = as_person(cast.teacher)
    path = f"/people/teachers/{colleague.pk}/end/"
    assert "Wren Oakes" in owner.get(path).text
    answer = owner.post(path)
    assert answer.status_code == 422
    assert "Choose who teaches Wren Oakes" in answer.text
    assert Membership.objects.get(pk=colleague.pk).ended_on is None
    with pytest.raises(handing_over.StillNeeded, match="Wren Oakes would be without a teacher"):
        handing_over.end_membership(colleague)


def test_the_owner_hands_over_and_ends_with_one_press(cast, colleague):
    clip = make_clip(wren(), "Waits")
    triage.take(Review.objects.get(clip=clip), cast.colleague)
    answered = make_clip(wren(), "Answered")
    make_return(answered)
    before = as_person(cast.colleague)
    assert before.get(f"/clips/{clip.pk}/").status_code == 200
    said = {f"place-{wren().pk}": cast.teacher.pk}
    answer = as_person(cast.teacher).post(f"/people/teachers/{colleague.pk}/end/", said)
    assert answer.url == "/people/"
    for path in (f"/clips/{clip.pk}/", f"/pupils/{wren().pk}/", "/waiting/", "/people/"):
        assert before.get(path).status_code == 404, "her open session opens nothing any more"
    assert wren().teacher == cast.teacher
    assert Review.objects.get(clip=clip).taken_by is None
    assert as_person(wren().pupil).get(f"/clips/{answered.pk}/").status_code == 200
    assert "teaches you" in told(wren().pupil)
    assert "You no longer teach at Larkhill strings" in told(cast.colleague)


def test_she_leaves_by_herself(cast, colleague):
    browser = as_person(cast.colleague)
    said = {f"place-{wren().pk}": cast.teacher.pk}
    assert browser.post("/people/leave/", said).status_code == 302
    assert wren().teacher == cast.teacher
    assert browser.get("/people/").status_code == 404
    assert "Colleague no longer teaches" in told(cast.teacher)


def test_only_the_owner_ends_a_colleague_s_place(cast, colleague):
    third = person("Third Teacher", cast.studio, "teacher")
    path = f"/people/teachers/{Membership.objects.get(person=third).pk}/end/"
    assert as_person(cast.colleague).post(path).status_code == 404
    assert path not in as_person(cast.colleague).get("/people/").text
    assert path in as_person(cast.teacher).get("/people/").text


def test_a_pupil_who_comes_by_her_invitation_has_a_teacher(cast, colleague):
    invited, _ = invitations.invite(
        cast.studio, "pupil", "Nell Ash", "nell@n.example", by=cast.colleague, birth_year=1990
    )
    handing_over.end_membership(colleague, {wren().pk: cast.teacher})
    invited.refresh_from_db()
    nell = invitations.accept(invited, "Nell Ash", PASSWORD)
    assert place_of(nell).teacher == cast.teacher


# -- the owner -----------------------------------------------------------------------------


def test_the_owner_does_not_leave_before_she_hands_the_studio_over(cast):
    owner = Membership.objects.get(person=cast.teacher)
    page = as_person(cast.teacher).post("/people/leave/")
    assert page.status_code == 409
    assert "hand it over to a colleague first" in page.text
    with pytest.raises(handing_over.StillNeeded, match="owner of Larkhill strings"):
        handing_over.end_membership(owner)


def test_the_owner_hands_the_studio_over_and_then_leaves(cast):
    teacher = as_person(cast.teacher)
    assert teacher.post("/people/owner/", {"owner": cast.colleague.pk}).url == "/people/"
    assert [one.person for one in audit.owners(cast.studio)] == [cast.colleague]
    assert "Colleague owns Larkhill strings" in told(cast.colleague)
    assert AuditEntry.objects.get(act="owner_changed").by == cast.teacher
    assert teacher.get("/people/owner/").status_code == 404
    teacher.post("/people/leave/", {"all": cast.colleague.pk})
    assert set(
        Enrolment.objects.filter(studio=cast.studio, ended_on=None).values_list(
            "teacher", flat=True
        )
    ) == {cast.colleague.pk}


@pytest.mark.parametrize("name", ["owner", "close", "leave"])
def test_it_asks_who_is_there_once_more(cast, name, monkeypatch):
    monkeypatch.setattr("studio.accounts.reauthentication.is_fresh", lambda request: False)
    answer = as_person(cast.teacher).get(f"/people/{name}/")
    assert answer.url.startswith("/account/again/")


def test_no_pupil_and_no_foreign_teacher_is_made_the_owner(cast):
    for who in (cast.pupil, cast.foreign_teacher, cast.teacher, cast.disabled):
        answer = as_person(cast.teacher).post("/people/owner/", {"owner": who.pk})
        assert answer.status_code == 422


# -- the only teacher stops ----------------------------------------------------------------


def test_a_studio_with_colleagues_is_not_closed(cast):
    assert as_person(cast.teacher).post("/people/close/").url == "/people/leave/"
    with pytest.raises(handing_over.StillNeeded, match="Hand it over"):
        handing_over.close(cast.studio)


def test_the_only_teacher_closes_the_studio(cast):
    clip = make_clip(cast.enrolment)
    make_return(clip)
    invitations.invite(cast.studio, "pupil", "N", "n@n.example", by=cast.teacher)
    handing_over.end_membership(Membership.objects.get(person=cast.colleague), {})
    browser = as_person(cast.teacher)
    assert "Close the studio" in browser.get("/people/leave/").text
    assert "2 pupils" in browser.get("/people/close/").text
    browser.post("/people/close/")
    assert not Enrolment.objects.filter(studio=cast.studio, ended_on=None).exists()
    assert not invitations.open_in(cast.studio).exists()
    assert browser.get("/people/").status_code == 404
    assert browser.get(f"/clips/{clip.pk}/").status_code == 404
    for who in (cast.pupil, cast.guardian, cast.other_pupil):
        assert "The studio closes" in told(who)
        assert "take it back" not in told(who)
    assert as_person(cast.guardian).get(f"/clips/{clip.pk}/").status_code == 200
    assert as_person(cast.guardian).get("/rights/").status_code == 200
    assert AuditEntry.objects.filter(act="studio_closed").count() == 1
