"""The waiting list: order, promise, taking, handing over and resting, shared by colleagues."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from studio.clips.models import Clip
from studio.review.models import Review
from studio.review.waiting import triage
from tests.cast import as_person, make_clip, make_drill, set_for


@pytest.fixture
def three(cast) -> list[Clip]:
    """Mira's of five days with two marks, Jonas's of nine days, Mira's of an hour with six."""
    now = timezone.now()
    clips = [
        make_clip(cast.enrolment, "Sixths", created_at=now - timedelta(days=5), duration_s=40.0),
        make_clip(cast.other_enrolment, "Tenths", created_at=now - timedelta(days=9)),
        make_clip(cast.enrolment, "Octaves", created_at=now - timedelta(hours=1), duration_s=90.0),
    ]
    drill = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "All octaves"))
    Review.objects.filter(clip=clips[0]).update(marks_found=2, double_stops_heard=9)
    Review.objects.filter(clip=clips[2]).update(marks_found=6, double_stops_heard=9, answers=drill)
    Clip.objects.filter(pk=clips[1].pk).update(duration_s=65.0)
    return clips


def listed(client, query: str = "") -> list[str]:
    page = client.get(f"/waiting/{query}").content.decode()
    return re.findall(r'class="name-of">(.*?)<', page)


@pytest.mark.parametrize(
    ("order", "titles"),
    [
        ("wait", ["Tenths", "Sixths", "Octaves"]),
        ("pupil", ["Tenths", "Sixths", "Octaves"]),
        ("drill", ["Octaves", "Tenths", "Sixths"]),
        ("length", ["Sixths", "Tenths", "Octaves"]),
        ("found", ["Octaves", "Sixths", "Tenths"]),
    ],
)
def test_the_list_can_be_put_in_order_and_remembers_it(cast, three, order, titles):
    client = as_person(cast.teacher)
    assert listed(client, f"?order={order}") == titles
    assert listed(client) == titles, "remembered"


def test_the_desks_next_clip_follows_the_order(cast, three):
    client = as_person(cast.teacher)
    sixths, tenths, octaves = three
    client.get("/waiting/?order=found")
    page = client.get(f"/clips/{octaves.pk}/")
    assert page.context["place"].next == sixths.pk
    client.get("/waiting/?order=wait")
    assert client.get(f"/clips/{octaves.pk}/").context["place"].previous == sixths.pk
    assert client.get(f"/clips/{tenths.pk}/").context["place"].next == sixths.pk


def test_what_waits_longer_than_promised_is_late(cast, three):
    page = as_person(cast.teacher).get("/waiting/").content.decode()
    assert "2 days late" in page
    assert "<b>1 late</b>" in page
    cast.studio.answer_within_days = 3
    cast.studio.save()
    page = as_person(cast.teacher).get("/waiting/").content.decode()
    assert all(said in page for said in ("6 days late", "2 days late"))
    assert "<b>2 late</b>" in page


def test_the_first_who_takes_a_clip_has_it_and_the_second_is_told(cast, three):
    clip = three[0]
    mine, hers = as_person(cast.teacher), as_person(cast.colleague)
    mine.post(f"/clips/{clip.pk}/take/")
    answer = hers.post(f"/clips/{clip.pk}/take/", follow=True).content.decode()
    assert "Ottilie Brandt has taken this clip" in answer
    assert Review.objects.get(clip=clip).taken_by == cast.teacher
    assert "Yours to answer" in mine.get("/waiting/").content.decode()
    assert "Ottilie Brandt answers it" in hers.get("/waiting/").content.decode()
    assert listed(mine, "?whose=mine") == ["Sixths"]
    assert listed(hers, "?whose=nobody") == ["Tenths", "Octaves"]
    assert listed(hers) == ["Tenths", "Sixths", "Octaves"], "nothing is hidden from her"
    page = hers.get(f"/clips/{three[1].pk}/")
    assert page.context["place"].next == three[2].pk, "the desk passes over what he has taken"
    hers.post(f"/clips/{clip.pk}/take/", {"over": cast.teacher.pk})
    assert Review.objects.get(clip=clip).taken_by == cast.colleague


def test_taking_over_knows_from_whom(cast, three):
    """He took it over from nobody's hands in the meantime: what she saw does not stand."""
    review = Review.objects.get(clip=three[0])
    triage.take(review, cast.teacher)
    with pytest.raises(triage.TakenAlready, match="Ottilie Brandt"):
        triage.take(review, cast.colleague, over=cast.pupil.pk)


def test_a_clip_is_handed_over_and_let_go(cast, three):
    clip = three[0]
    mine, hers = as_person(cast.teacher), as_person(cast.colleague)
    mine.post(f"/clips/{clip.pk}/hand-over/", {"to": cast.colleague.pk})
    assert Review.objects.get(clip=clip).taken_by == cast.colleague
    mine.post(f"/clips/{clip.pk}/let-go/")
    assert Review.objects.get(clip=clip).taken_by == cast.colleague, "not his to let go"
    hers.post(f"/clips/{clip.pk}/let-go/")
    assert Review.objects.get(clip=clip).taken_by is None


@pytest.mark.parametrize("part", ["foreign_teacher", "disabled", "pupil"])
def test_a_clip_is_handed_only_to_who_teaches_here(cast, three, part):
    clip, other = three[0], cast.people()[part]
    as_person(cast.teacher).post(f"/clips/{clip.pk}/hand-over/", {"to": other.pk})
    assert Review.objects.get(clip=clip).taken_by is None


def test_a_clip_rests_is_counted_and_comes_back_by_itself(cast, three, monkeypatch):
    client = as_person(cast.teacher)
    client.post(f"/clips/{three[1].pk}/rest/", {"until": "three"})
    assert listed(client) == ["Sixths", "Octaves"]
    assert "1 clip rests" in client.get("/waiting/").content.decode()
    assert listed(client, "?snoozed=1") == ["Tenths"]
    assert client.get(f"/clips/{three[0].pk}/").context["place"].count == 2
    moved = timezone.now() + timedelta(days=4)  # it comes back in the morning
    monkeypatch.setattr(timezone, "now", lambda: moved)
    assert listed(client) == ["Tenths", "Sixths", "Octaves"]


@pytest.mark.parametrize("until", ["2020-01-01", "2999-01-01", "soon"])
def test_a_clip_does_not_rest_until_a_day_that_is_none(cast, three, until):
    client = as_person(cast.teacher)
    answer = client.post(f"/clips/{three[0].pk}/rest/", {"until": until}, follow=True)
    assert "Choose a day after today" in answer.content.decode()
    assert len(listed(client)) == 3


def test_a_long_list_is_shown_in_parts(cast):
    for number in range(62):
        make_clip(cast.enrolment, f"Take {number}")
    client = as_person(cast.teacher)
    assert len(listed(client)) == 40
    assert "Show more" in client.get("/waiting/").content.decode()
    assert len(listed(client, "?rows=80")) == 62


def test_what_a_teacher_who_leaves_had_taken_is_free_again(cast, three):
    triage.take(Review.objects.get(clip=three[0]), cast.colleague)
    held = cast.colleague.memberships.get()
    client = as_person(cast.teacher)
    assert "reaches nothing" in client.get(f"/people/teachers/{held.pk}/end/").content.decode()
    client.post(f"/people/teachers/{held.pk}/end/")
    assert Review.objects.get(clip=three[0]).taken_by is None
    assert as_person(cast.colleague).get("/waiting/").status_code == 404


def test_nobody_ends_the_own_membership(cast):
    mine = cast.teacher.memberships.get()
    assert as_person(cast.teacher).post(f"/people/teachers/{mine.pk}/end/").status_code == 404
