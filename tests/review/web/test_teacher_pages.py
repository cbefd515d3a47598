"""The waiting list, the pupils, and a pupil's page."""

import re
from datetime import timedelta

from django.utils import timezone

from studio.accounts.models import Person
from studio.clips.models import Stage
from studio.drills.models import Assignment
from studio.review.models import Review
from tests.cast import as_person, enrol, make_clip, make_drill, make_return, set_for


def waited(enrolment, title: str, **wait):
    return make_clip(enrolment, title, created_at=timezone.now() - timedelta(**wait))


def names(page: str) -> list[str]:
    return re.findall(r'class="name-of">(.*?)<', page)


def test_the_longest_wait_comes_first(cast):
    waited(cast.enrolment, "Yesterday", days=1)
    waited(cast.other_enrolment, "Last week", days=9)
    waited(cast.enrolment, "Just now", minutes=3)
    page = as_person(cast.teacher).get("/waiting/").content.decode()
    assert names(page) == ["Last week", "Yesterday", "Just now"]
    assert "A week or more" in page
    assert "9 days" in page


def test_a_row_says_the_drill_the_length_the_state_and_what_was_found(cast):
    clip = waited(cast.enrolment, "Octaves", days=1)
    assignment = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Slow octaves"))
    Review.objects.filter(clip=clip).update(
        answers=assignment, marks_found=3, double_stops_heard=24, state="open"
    )
    page = as_person(cast.teacher).get("/waiting/").content.decode()
    for said in ("answers “Slow octaves”", "1:04", "3 marks", "in 24 double stops", "begun"):
        assert said in page


def test_a_clip_that_could_not_be_heard_waits_all_the_same(cast):
    clip = waited(cast.enrolment, "Silent", days=1)
    Stage.objects.filter(clip=clip, kind="listening").update(
        state="failed", failure_code="worker_died"
    )
    page = as_person(cast.teacher).get("/waiting/").content.decode()
    assert "Could not be listened to" in page
    assert "The recording is kept" in page


def test_returned_refused_erased_and_foreign_clips_do_not_wait(cast):
    make_return(make_clip(cast.enrolment, "Returned"))
    make_clip(cast.enrolment, "Refused", intake="refused", intake_code="empty")
    make_clip(cast.enrolment, "Erased", erased_at=timezone.now())
    make_clip(cast.foreign_enrolment, "Foreign")
    assert "Nothing waits." in as_person(cast.teacher).get("/waiting/").content.decode()


def test_the_list_can_show_one_pupil(cast):
    waited(cast.enrolment, "Mine", days=1)
    waited(cast.other_enrolment, "Of Jonas", days=2)
    page = as_person(cast.teacher).get(f"/waiting/?pupil={cast.enrolment.pk}").content.decode()
    assert names(page) == ["Mine"]
    assert "Jonas Weidegger" in page  # still on offer


def test_the_queries_of_the_waiting_list_do_not_grow_with_clips(
    cast, django_assert_max_num_queries, django_assert_num_queries
):
    client = as_person(cast.teacher)
    make_clip(cast.enrolment)
    client.get("/waiting/")  # the first writes down that no worker listens
    with django_assert_max_num_queries(18) as few:
        client.get("/waiting/")
    for number in range(40):
        make_clip(cast.enrolment if number % 2 else cast.other_enrolment)
    with django_assert_num_queries(len(few)):
        client.get("/waiting/")


def test_the_queries_of_the_pupils_list_do_not_grow_with_clips(
    cast, django_assert_max_num_queries, django_assert_num_queries
):
    client = as_person(cast.teacher)
    with django_assert_max_num_queries(12) as few:
        client.get("/pupils/")
    for _ in range(5):
        make_return(make_clip(cast.enrolment))
        make_clip(cast.other_enrolment)
    with django_assert_num_queries(len(few)):
        page = client.get("/pupils/").content.decode()
    assert "5 clips wait" in page
    assert "last answered today" in page


def test_many_pupils_come_by_pages_and_one_is_found_by_name(cast):
    for number in range(60):
        pupil = Person.objects.create(email=f"{number}@pupil.example", name=f"Pupil {number:02}")
        enrol(pupil, cast.studio, cast.teacher)
    client = as_person(cast.teacher)
    first, second = (client.get(f"/pupils/?page={n}").content.decode() for n in (1, 2))
    assert "Page 1 of 2" in first
    assert "62 pupils, by name" in first
    assert "Pupil 03" in first
    assert "Pupil 03" not in second
    assert "Pupil 59" in second
    found = client.get("/pupils/?q=pupil+59").content.decode()
    assert "1 pupil with “pupil 59” in the name." in found
    assert "Pupil 58" not in found
    assert "No pupils with “nobody” in the name" in client.get("/pupils/?q=nobody").content.decode()


def test_a_former_pupil_is_not_listed(cast):
    page = as_person(cast.teacher).get("/pupils/").content.decode()
    assert cast.pupil.name in page
    assert cast.former_pupil.name not in page
    assert cast.foreign_pupil.name not in page


def test_level_instrument_and_string_length_are_changed(cast):
    client, address = as_person(cast.teacher), f"/pupils/{cast.enrolment.pk}/"
    about = {"level": "first_steps", "kind": "viola", "string_length_mm": "362.5"}
    assert client.post(f"{address}about/", about).url == address
    cast.enrolment.refresh_from_db()
    assert cast.enrolment.level == "first_steps"
    assert "viola, string length 362.5 mm" in client.get(address).content.decode()


def test_a_string_length_that_no_instrument_has_is_refused(cast):
    about = {"level": "growing", "kind": "violin", "string_length_mm": "33"}
    answer = as_person(cast.teacher).post(f"/pupils/{cast.enrolment.pk}/about/", about)
    assert answer.status_code == 422
    assert "greater than or equal to 170" in answer.content.decode()
    assert cast.enrolment.instrument().string_length_mm == 328.0


def test_a_drill_set_directly_is_in_the_queue_at_once(cast):
    drill = make_drill(cast.teacher, cast.studio, "Straight away")
    due = timezone.localdate() + timedelta(days=7)
    said = {"drill": drill.pk, "due_on": due.isoformat(), "goal": "Five still octaves"}
    client = as_person(cast.teacher)
    assert client.post(f"/pupils/{cast.enrolment.pk}/drills/", said).status_code == 302
    assignment = Assignment.objects.get()
    assert (assignment.due_on, assignment.set_by) == (due, cast.teacher)
    assert "Straight away" in as_person(cast.pupil).get("/queue/").content.decode()


def test_a_due_day_that_is_past_is_refused(cast):
    drill = make_drill(cast.teacher, cast.studio)
    said = {"drill": drill.pk, "due_on": "2020-02-01"}
    answer = as_person(cast.teacher).post(f"/pupils/{cast.enrolment.pk}/drills/", said)
    assert "1 February 2020 is past" in answer.content.decode()
    assert not Assignment.objects.exists()


def test_another_studios_drill_cannot_be_set(cast):
    foreign = make_drill(cast.foreign_teacher, cast.other_studio)
    said = {"drill": foreign.pk}
    answer = as_person(cast.teacher).post(f"/pupils/{cast.enrolment.pk}/drills/", said)
    assert answer.status_code == 422
    assert not Assignment.objects.exists()


def test_a_pupils_page_shows_clips_and_assignments_with_what_is_still_hidden(cast):
    make_return(make_clip(cast.enrolment, "Answered"))
    waited(cast.enrolment, "Waits", days=2)
    set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Hidden"), published=False)
    page = as_person(cast.teacher).get(f"/pupils/{cast.enrolment.pk}/").content.decode()
    assert "returned today, not opened yet" in page
    assert "waiting for 2 days" in page
    assert "seen once its clip is returned" in page
