"""The demo's plan, as the demo makes it."""

from datetime import timedelta

from studio.demo import keys, people
from studio.drills.rotation import access
from studio.drills.rotation.overview import overview_of
from tests.cast import as_person


def test_the_demo_has_a_plan_under_way(db):
    cast = people.make_studio()
    keys.plan(cast)
    place = cast.places[keys.LOGIN]
    plan = overview_of(access.rotation_of(place))
    assert plan.rounds[0].keys_done == 2 * keys.HELD
    assert plan.next.day == plan.today + timedelta(days=2)
    days = [found.day for found in plan.rounds[0].open[:4]]
    assert days[3] - days[2] == 3 * keys.WEEK
    page = as_person(cast.teacher).get(f"/pupils/{place.pk}/keys/").content.decode()
    assert "8 of 24 keys ticked off" in page
    assert str(plan.next.lesson) in as_person(place.pupil).get("/queue/").content.decode()
