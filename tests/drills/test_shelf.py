import pytest

from studio.drills.models import Drill
from tests.cast import as_person, make_drill, set_for

SAYS = {"title": "Sixths", "words": "Both fingers at once.", "interval": "6", "key": "E♭ major"}


def test_a_teacher_writes_a_drill_and_finds_it_on_the_shelf(cast):
    client = as_person(cast.teacher)
    assert client.post("/drills/new/", SAYS).url == "/drills/"
    version = Drill.objects.get(studio=cast.studio).newest()
    assert {name: getattr(version, name) for name in SAYS} == SAYS
    assert "sixths in" in client.get("/drills/").content.decode()


def test_a_drill_without_a_title_is_refused_and_the_words_are_kept(cast):
    answer = as_person(cast.teacher).post("/drills/new/", SAYS | {"title": ""})
    assert answer.status_code == 422
    assert "Both fingers at once." in answer.content.decode()
    assert not Drill.objects.exists()


def test_an_edit_before_setting_changes_the_version_itself(cast):
    drill = make_drill(cast.teacher, cast.studio)
    as_person(cast.teacher).post(f"/drills/{drill.pk}/words/", SAYS)
    assert [version.title for version in drill.versions.all()] == ["Sixths"]


def test_what_was_set_keeps_its_words_when_the_drill_is_edited(cast):
    drill = make_drill(cast.teacher, cast.studio, "Octaves, slowly")
    assignment = set_for(cast.enrolment, drill)
    as_person(cast.teacher).post(f"/drills/{drill.pk}/words/", SAYS)
    assignment.refresh_from_db()
    assert assignment.version.title == "Octaves, slowly"
    assert [(v.number, v.title) for v in drill.versions.all()] == [
        (1, "Octaves, slowly"),
        (2, "Sixths"),
    ]
    queue = as_person(cast.pupil).get("/queue/").content.decode()
    assert "Octaves, slowly" in queue
    assert "Both fingers at once." not in queue


def test_off_the_shelf_a_drill_cannot_be_set_and_stays_where_it_was(cast):
    drill = make_drill(cast.teacher, cast.studio, "Octaves, slowly")
    set_for(cast.enrolment, drill)
    client = as_person(cast.teacher)
    assert client.post(f"/drills/{drill.pk}/archive/").url == "/drills/"
    assert client.get(f"/drills/{drill.pk}/").status_code == 404
    assert client.post(f"/pupils/{cast.enrolment.pk}/drills/", {"drill": drill.pk}).status_code == (
        422
    )
    assert "Octaves, slowly" in as_person(cast.pupil).get("/queue/").content.decode()


def test_a_key_is_chosen_from_the_24(cast):
    answer = as_person(cast.teacher).post("/drills/new/", SAYS | {"key": "H major"})
    assert answer.status_code == 422


@pytest.mark.parametrize("part", ["teacher", "colleague"])
def test_colleagues_share_the_shelf(cast, part):
    drill = make_drill(cast.teacher, cast.studio)
    assert as_person(cast.people()[part]).get(f"/drills/{drill.pk}/").status_code == 200


def test_the_queries_of_the_shelf_do_not_grow_with_its_drills(
    cast, django_assert_max_num_queries, django_assert_num_queries
):
    client = as_person(cast.teacher)
    make_drill(cast.teacher, cast.studio)
    with django_assert_max_num_queries(12) as few:
        client.get("/drills/")
    for _ in range(12):
        make_drill(cast.teacher, cast.studio)
    with django_assert_num_queries(len(few)):
        client.get("/drills/")
