"""One drill set for several pupils in one form."""

from datetime import timedelta

from django.utils import timezone

from studio.accounts.models import Instrument, Person
from studio.drills.models import Assignment
from studio.notation import Request, generate
from tests.cast import as_person, enrol, make_drill

SOON = timezone.localdate() + timedelta(days=7)


def a_page(cast):
    score = generate(Request(direction="up", manner="together", start=1)).to_dict()
    return make_drill(cast.teacher, cast.studio, "For the violin", score=score)


def test_it_stands_in_every_queue_with_the_same_goal(cast):
    drill = make_drill(cast.teacher, cast.studio)
    places = [cast.enrolment, cast.other_enrolment]
    said = {"pupils": [place.pk for place in places], "due_on": SOON, "goal": "Still at the end"}
    client = as_person(cast.colleague)
    for _ in range(2):  # pressed twice
        assert client.post(f"/drills/{drill.pk}/several/", said).status_code == 302
    found = Assignment.objects.values_list("enrolment", "due_on", "goal").order_by("enrolment")
    assert list(found) == [(place.pk, SOON, "Still at the end") for place in places]


def test_nobody_of_another_studio_can_be_ticked(cast):
    drill = make_drill(cast.teacher, cast.studio)
    said = {"pupils": [cast.enrolment.pk, cast.foreign_enrolment.pk]}
    answer = as_person(cast.teacher).post(f"/drills/{drill.pk}/several/", said)
    assert answer.status_code == 422
    assert not Assignment.objects.exists()


def test_whom_it_does_not_suit_is_said_for_each_and_nothing_is_set_before_it_is_confirmed(cast):
    drill = a_page(cast)
    Instrument.objects.filter(pupil=cast.pupil).update(kind="viola", string_length_mm=370)
    client, address = as_person(cast.teacher), f"/drills/{drill.pk}/several/"
    page = client.get(address).text
    assert page.count("It does not suit:") == 1
    assert "Mira Sandholm plays the viola" in page
    said = {"pupils": [cast.enrolment.pk, cast.other_enrolment.pk]}
    answer = client.post(address, said)
    assert answer.status_code == 422
    assert not Assignment.objects.exists()
    (misfit,) = answer.context["form"].misfits
    assert client.post(address, said | {"all_the_same": misfit.name}).status_code == 302
    assert Assignment.objects.count() == 2


def test_as_many_queries_for_many_pupils(
    cast, django_assert_max_num_queries, django_assert_num_queries
):
    address, client = f"/drills/{a_page(cast).pk}/several/", as_person(cast.teacher)
    client.get(address)
    with django_assert_max_num_queries(15) as few:
        client.get(address)
    for number in range(10):
        child = Person.objects.create(email=f"{number}@pupil.example", name=f"Pupil {number}")
        enrol(child, cast.studio, cast.teacher)
    with django_assert_num_queries(len(few)):
        client.get(address)
