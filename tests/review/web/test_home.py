"""The pupil's practice page, and the same for the guardian."""

from datetime import timedelta

from django.utils import timezone

from studio.accounts.models import Consent
from studio.clips.models import Clip, Stage
from studio.review.models import Return, Review
from tests.cast import as_person, make_clip, make_drill, make_return, set_for


def queue(cast) -> str:
    return as_person(cast.pupil).get("/queue/").content.decode()


def test_assignments_stand_in_order_with_due_day_goal_and_words(cast):
    first = make_drill(cast.teacher, cast.studio, "First of all")
    second = make_drill(cast.teacher, cast.studio, "Then this")
    set_for(cast.enrolment, first, due_on=timezone.localdate(), goal="Still and round")
    set_for(cast.enrolment, second, due_on=timezone.localdate() - timedelta(days=2))
    page = queue(cast)
    assert page.index("First of all") < page.index("Then this")
    assert "Due today" in page
    assert "Was due on" in page
    assert "Still and round" in page
    assert "Hold each one." in page


def test_what_waits_for_a_return_is_not_in_the_queue(cast):
    set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Secret"), published=False)
    assert "Secret" not in queue(cast)


def test_a_returned_clip_is_new_until_its_pupil_opens_it(cast):
    returned = make_return(make_clip(cast.enrolment, "Monday octaves"))
    assert "Ottilie Brandt has answered “Monday octaves”" in queue(cast)
    as_person(cast.guardian).get(f"/clips/{returned.review.clip_id}/")
    assert Return.objects.get().read_at is None
    as_person(cast.pupil).get(f"/clips/{returned.review.clip_id}/")
    assert Return.objects.get().read_at is not None
    page = queue(cast)
    assert "has answered" not in page
    assert "Monday octaves" in page


def test_a_clip_under_way_says_in_plain_words_where_it_is(cast):
    clip = make_clip(cast.enrolment, "On its way")
    Stage.objects.filter(clip=clip, kind="listening").update(state="working", progress=0.62)
    Stage.objects.filter(clip=clip, kind="playback").update(state="waiting")
    page = queue(cast)
    assert "Arrived; your teacher has it" in page
    assert "Listening" in page
    assert '<progress value="62"' in page
    assert 'hx-trigger="every 3s"' in page


def test_nothing_is_polled_once_nothing_moves(cast):
    make_clip(cast.enrolment, "Settled")
    page = queue(cast)
    assert "Your teacher has it." in page
    assert "hx-trigger" not in page


def test_the_poll_brings_the_part_alone(cast):
    make_clip(cast.enrolment, "Settled")
    part = as_person(cast.pupil).get("/queue/", headers={"hx-request": "true"})
    assert "HX-Request" in part["Vary"]
    assert "<html" not in part.content.decode()
    assert 'id="sent"' in part.content.decode()


def test_a_refused_clip_says_why_and_goes_after_a_while(cast):
    clip = make_clip(cast.enrolment, "Not music", intake="refused", intake_code="not_media")
    assert "This file is not a recording we can read" in queue(cast)
    Clip.objects.filter(pk=clip.pk).update(created_at=timezone.now() - timedelta(days=4))
    assert "Not music" not in queue(cast)


def test_a_refused_clip_can_be_put_away_by_who_sent_it_alone(cast):
    clip = make_clip(cast.enrolment, "Not music", intake="refused", intake_code="not_media")
    address = f"/clips/{clip.pk}/put-away/"
    assert "Put it away" in queue(cast)
    guardian = as_person(cast.guardian)
    assert "Put it away" not in guardian.get(f"/children/{cast.enrolment.pk}/").text
    assert guardian.post(address).status_code == 404
    page = as_person(cast.pupil).post(address, follow=True).text
    assert "It was put away." in page
    assert "Not music" not in page
    received = make_clip(cast.enrolment, "Octaves")
    assert as_person(cast.pupil).post(f"/clips/{received.pk}/put-away/").status_code == 404


def test_once_a_clip_of_it_was_sent_a_drill_says_so_and_not_that_it_was_due(cast):
    late = timezone.localdate() - timedelta(days=2)
    drill = make_drill(cast.teacher, cast.studio, "Sixths")
    assignment = set_for(cast.enrolment, drill, due_on=late)
    clip = make_clip(cast.enrolment)
    Review.objects.filter(clip=clip).update(answers=assignment)
    Clip.objects.filter(pk=clip.pk).update(created_at=timezone.now() - timedelta(days=1))
    pupil, address = as_person(cast.pupil), f"/assignments/{assignment.pk}/"
    for page in (queue(cast), pupil.get(address).text):
        assert "Sent yesterday" in page
        assert "as due on" not in page
    teacher = as_person(cast.teacher)
    assert "Was due on" in teacher.get(address).text
    assert "was due on" in teacher.get(f"/pupils/{cast.enrolment.pk}/").text
    make_return(clip)
    assert "Sent yesterday, answered today" in queue(cast)


def test_a_refused_or_erased_clip_of_a_drill_was_not_sent(cast):
    late = timezone.localdate() - timedelta(days=2)
    assignment = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio), due_on=late)
    clip = make_clip(cast.enrolment, erased_at=timezone.now())
    Review.objects.filter(clip=clip).update(answers=assignment)
    assert "Was due on" in queue(cast)


def test_a_clip_without_sound_says_so(cast):
    clip = make_clip(cast.enrolment, has_audio=False, notes=[["no_sound", {}]])
    Stage.objects.filter(clip=clip, kind="listening").update(
        state="failed", failure_code="no_sound"
    )
    page = queue(cast)
    assert "No sound in it" in page
    assert page.count("Check that the microphone is allowed") == 1
    assert "Could not be listened to" not in page


def test_a_clip_that_may_not_be_watched_says_what_holds(cast):
    clip = make_clip(cast.enrolment, "Octaves")
    Consent.objects.update(withdrawn_at=timezone.now(), withdrawn_by=cast.guardian)
    client = as_person(cast.pupil)
    for page in (queue(cast), client.get(f"/clips/{clip.pk}/").text):
        assert "Your teacher cannot watch or hear it now." in page
        assert "Your teacher has it" not in page
        assert "The answer appears" not in page


def test_an_erased_clip_is_gone(cast):
    make_clip(cast.enrolment, "Erased", erased_at=timezone.now())
    assert "Erased" not in queue(cast)


def test_many_returns_are_shown_on_demand(cast):
    for number in range(10):
        make_return(make_clip(cast.enrolment, f"Take {number:02d}"))
    assert "Take 00" not in queue(cast)
    everything = as_person(cast.pupil).get("/queue/?returned=all").content.decode()
    assert "Take 00" in everything
    assert "Take 09" in everything


def test_the_guardian_sees_what_the_child_sees(cast):
    set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Set for Mira"))
    make_return(make_clip(cast.enrolment, "Answered"))
    make_clip(cast.enrolment, "Sent")
    make_clip(cast.other_enrolment, "Of another child")
    client = as_person(cast.guardian)
    overview = client.get("/children/").content.decode()
    assert "Mira Sandholm" in overview
    assert "1 answer not read yet" in overview
    assert "Jonas" not in overview
    page = client.get(f"/children/{cast.enrolment.pk}/").content.decode()
    for seen in ("Set for Mira", "Answered", "Sent"):
        assert seen in page
    assert "Of another child" not in page


def test_a_guardian_whose_link_ended_sees_no_child(cast):
    client = as_person(cast.unlinked_guardian)
    assert "No child is linked to you" in client.get("/children/").content.decode()
    assert client.get(f"/children/{cast.enrolment.pk}/").status_code == 404


def test_the_queries_of_the_practice_page_do_not_grow_with_rows(
    cast, django_assert_max_num_queries, django_assert_num_queries
):
    def fill(count: int) -> None:
        drill = make_drill(cast.teacher, cast.studio)
        for _ in range(count):
            set_for(cast.enrolment, drill)
            make_clip(cast.enrolment)
            make_return(make_clip(cast.enrolment))

    client = as_person(cast.pupil)
    fill(1)
    with django_assert_max_num_queries(18) as few:
        client.get("/queue/")
    fill(5)
    with django_assert_num_queries(len(few)):
        client.get("/queue/")
    guardian = as_person(cast.guardian)
    with django_assert_max_num_queries(17):
        guardian.get(f"/children/{cast.enrolment.pk}/")
