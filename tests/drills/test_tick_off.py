import pytest

from tests.cast import as_person, make_drill, set_for


@pytest.fixture
def assignment(cast):
    return set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))


@pytest.mark.parametrize("part", ["pupil", "guardian"])
def test_a_drill_is_ticked_off_and_opened_again(cast, assignment, part):
    client, address = as_person(cast.people()[part]), f"/assignments/{assignment.pk}/done/"
    assert client.post(address, {"next": "/queue/"}).url == "/queue/"
    assignment.refresh_from_db()
    assert assignment.done_at is not None
    client.post(address, {"open": "1"})
    assignment.refresh_from_db()
    assert assignment.done_at is None


@pytest.mark.parametrize(
    "part", ["other_pupil", "teacher", "unlinked_guardian", "foreign_pupil", "foreign_teacher"]
)
def test_nobody_else_ticks_it_off(cast, assignment, part):
    answer = as_person(cast.people()[part]).post(f"/assignments/{assignment.pk}/done/")
    assignment.refresh_from_db()
    assert (answer.status_code, assignment.done_at) == (404, None)


def test_what_is_not_published_cannot_be_ticked_off(cast):
    hidden = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio), published=False)
    assert as_person(cast.pupil).post(f"/assignments/{hidden.pk}/done/").status_code == 404


def test_the_way_back_leads_to_no_other_host(cast, assignment):
    address = f"/assignments/{assignment.pk}/done/"
    assert as_person(cast.pupil).post(address, {"next": "https://evil.example/"}).url == "/"
