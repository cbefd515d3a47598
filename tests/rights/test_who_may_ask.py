"""Whose data a person may ask for, and for how long."""

import pytest
from django.http import Http404
from django.utils import timezone

from studio.accounts import lesson_endings, services
from studio.accounts.models import Enrolment, GuardianLink, Membership, Person
from studio.rights import access
from tests.cast import as_person


def asked_for(person: Person) -> list[tuple[str, str]]:
    """The names of whose data and where, without the account that everybody has."""
    *rest, last = access.scopes_of(person)
    assert (last.person, last.studio) == (person, None)
    return [(scope.person.name, scope.studio.name) for scope in rest]


def test_a_guardian_asks_for_the_child_and_the_child_does_not(cast):
    assert asked_for(cast.guardian) == [(cast.pupil.name, cast.studio.name)]
    assert asked_for(cast.pupil) == []


def test_a_grown_up_pupil_asks_and_her_guardian_does_not(cast):
    Person.objects.filter(pk=cast.pupil.pk).update(birth_year=1990)
    assert asked_for(cast.pupil) == [(cast.pupil.name, cast.studio.name)]
    assert asked_for(cast.guardian) == []


def test_it_does_not_end_with_the_lessons(cast):
    for place in (cast.enrolment, cast.other_enrolment):
        lesson_endings.end_lessons(place, by=cast.teacher)
    assert asked_for(cast.guardian) == [(cast.pupil.name, cast.studio.name)]
    assert asked_for(cast.other_pupil) == [(cast.other_pupil.name, cast.studio.name)]
    assert access.lessons_for(cast.guardian, cast.enrolment.pk).person == cast.pupil


def test_who_came_back_is_asked_for_once_and_by_the_newest_place(cast):
    lesson_endings.end_lessons(cast.other_enrolment)
    again = Enrolment.objects.create(
        pupil=cast.other_pupil, studio=cast.studio, teacher=cast.teacher
    )
    assert [scope.place for scope in access.scopes_of(cast.other_pupil)] == [again, None]


@pytest.mark.parametrize(
    "who",
    [
        *("teacher", "colleague", "pupil", "other_pupil", "unlinked_guardian"),
        *("former_pupil", "operator", "foreign_teacher", "disabled"),
    ],
)
def test_nobody_else_asks_for_the_childs_lessons(cast, who):
    person = getattr(cast, who)
    assert (cast.pupil.name, cast.studio.name) not in asked_for(person)
    with pytest.raises(Http404):
        access.lessons_for(person, cast.enrolment.pk)


def test_a_guardian_whose_link_ended_asks_no_more(cast):
    link = GuardianLink.objects.get(guardian=cast.guardian)
    services.unlink_guardian(link, by=cast.teacher)
    assert asked_for(cast.guardian) == []
    with pytest.raises(Http404):
        access.lessons_for(cast.guardian, cast.enrolment.pk)


def test_a_guardian_who_teaches_there_asks_only_once_confirmed(cast):
    Membership.objects.create(person=cast.guardian, studio=cast.studio, role="teacher")
    assert asked_for(cast.guardian) == []
    GuardianLink.objects.filter(guardian=cast.guardian).update(confirmed_at=timezone.now())
    assert asked_for(cast.guardian) == [(cast.pupil.name, cast.studio.name)]


def test_the_page_is_reached_from_account_consent_and_children(cast):
    browser = as_person(cast.guardian)
    for page in ("/account/", f"/consent/{cast.enrolment.pk}/", "/children/"):
        assert 'href="/rights/"' in browser.get(page).content.decode()
    said = browser.get("/rights/").content.decode()
    assert f"{cast.pupil.name}’s lessons at {cast.studio.name}" in said
    assert f"/consent/{cast.enrolment.pk}/" in said
    gone = as_person(cast.former_pupil).get("/", follow=True).content.decode()
    assert 'href="/rights/"' in gone
