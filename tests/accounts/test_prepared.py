"""A query that is prepared once finds what the ORM finds each time, and keeps nobody's values."""

from datetime import timedelta

import pytest
from django.db import connection, connections
from django.db.models import BigIntegerField, CharField, DateTimeField
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from studio.accounts import access
from studio.accounts.models import Enrolment, Membership, Person, current
from studio.accounts.prepared import MOST_SHAPES, Given, IsOneOf, Prepared
from studio.clips import access as clips
from studio.clips.models import Clip
from tests.cast import make_clip


@pytest.fixture
def named():
    """People of one name, and how often the query was made."""
    made = []

    @Prepared
    def people(*shape: int):
        made.append(shape)
        found = Person.objects.filter(name=Given("name", CharField())).order_by("pk")
        return found[: shape[0]] if shape else found

    people.times = made
    return people


def test_the_query_is_made_once_and_each_time_asked_for_its_own_values(cast, named):
    for person in (cast.teacher, cast.pupil, cast.teacher, cast.guardian):
        assert named(name=person.name) == list(Person.objects.filter(name=person.name))
    assert named(name="'; DROP TABLE accounts_person; --") == []
    assert named.times == [()]


def test_one_query_is_asked_each_time(cast, named):
    named(name=cast.teacher.name)
    with CaptureQueriesContext(connection) as seen:
        named(name=cast.teacher.name)
        named(name=cast.teacher.name)
    assert len(seen) == 2


def test_what_changed_is_seen_at_once(cast, named):
    assert named(name=cast.teacher.name)
    Person.objects.filter(pk=cast.teacher.pk).update(name="Another")
    assert named(name="Ottilie Brandt") == []
    assert named.first(name="Another") == cast.teacher


def test_nothing_found_is_none(cast, named):
    assert named.first(name="Nobody") is None


def test_a_list_is_begun_before_another_ends(cast, named):
    """What is asked for while rows are being read does not mix with them."""
    outer = [(one.name, named.first(name=cast.pupil.name)) for one in named(name="Ottilie Brandt")]
    assert outer == [("Ottilie Brandt", cast.pupil)]


def test_of_many_shapes_only_some_are_kept(cast, named):
    for most in range(1, 3 * MOST_SHAPES):
        assert named(most, name=cast.teacher.name) == [cast.teacher]
    assert len(named.made) <= MOST_SHAPES


@pytest.mark.parametrize("many", [0, 1, 2, 3])
def test_one_of_as_many_as_there_are(cast, many):
    some = Prepared(lambda: Person.objects.filter(IsOneOf("pk", "keys"), is_active=True))
    everybody = [cast.teacher.pk, cast.pupil.pk, cast.guardian.pk]
    for keys in (everybody[:many], everybody[::-1][:many]):
        assert {one.pk for one in some(keys=keys)} == set(keys)


@pytest.mark.parametrize("number", [2**63, -(2**63) - 1, 10**500])
def test_a_number_that_no_row_can_have_finds_none(cast, number):
    one = Prepared(lambda: Enrolment.objects.filter(pk=Given("place", BigIntegerField())))
    assert one(place=number) == []
    several = Prepared(lambda: Enrolment.objects.filter(IsOneOf("pk", "places")))
    assert several(places=[number, cast.enrolment.pk]) == [cast.enrolment]


def test_a_time_is_the_time_that_is_given(cast):
    before = Prepared(lambda: Clip.objects.filter(created_at__lt=Given("at", DateTimeField())))
    clip = make_clip(cast.enrolment)
    assert before(at=clip.created_at) == []
    assert before(at=clip.created_at + timedelta(microseconds=1)) == [clip]


def test_a_query_of_today_is_another_tomorrow(cast, monkeypatch):
    today = timezone.localdate()
    place = Enrolment.objects.filter(pk=cast.enrolment.pk)
    place.update(ended_on=today + timedelta(days=1))
    here = Prepared(
        lambda: Enrolment.objects.filter(current(), pk=Given("place", BigIntegerField()))
    )
    assert here(place=cast.enrolment.pk) == [cast.enrolment]
    monkeypatch.setattr(timezone, "localdate", lambda: today + timedelta(days=1))
    assert here(place=cast.enrolment.pk) == []


def test_a_clip_comes_with_all_that_its_page_reads(cast):
    clip = make_clip(cast.enrolment)
    found = clips.clip_for(cast.teacher, clip.pk)
    with CaptureQueriesContext(connection) as seen:
        assert found.enrolment.pupil == cast.pupil
        assert found.enrolment.studio == cast.studio
        assert found.consented is True
        assert {stage.kind for stage in found.stages.all()} == {
            stage.kind for stage in clip.stages.all()
        }
        list(found.renditions.all())
    assert len(seen) == 1  # that of the clip as it was made


def test_who_ceases_to_teach_is_out_at_once(cast):
    assert access.taught_enrolment(cast.teacher, cast.enrolment.pk) == cast.enrolment
    assert access.teaches(cast.teacher, cast.enrolment)
    Membership.objects.filter(person=cast.teacher).update(ended_on=timezone.localdate())
    assert not access.teaches(cast.teacher, cast.enrolment)
    assert access.places_to_hear(cast.teacher) == []
    assert access.roles_of(cast.teacher) == []


def test_another_kind_of_database_is_asked_in_sql_of_its_own(cast, named, monkeypatch):
    """Else a query made for PostgreSQL hands SQLite values that it cannot take."""
    named(name=cast.teacher.name)
    monkeypatch.setattr(connections["default"], "vendor", "another")
    named(name=cast.teacher.name)
    assert named.times == [(), ()]
