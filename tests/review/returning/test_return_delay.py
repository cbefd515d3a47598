"""A return can be taken back until its delay ends; only then is it seen, and told."""

from datetime import timedelta

import pytest
from django.utils import timezone

from studio.accounts.models import Consent, Notification
from studio.accounts.notifications import reading
from studio.drills import setting_told
from studio.drills.models import Assignment
from studio.drills.services import set_drill_now
from studio.review.models import Return, Review
from studio.review.returning import notifications, services
from tests.cast import as_person, make_clip, make_drill
from tests.review.heard_clip import heard_clip, review_of

DELAY_MIN = 10
SITE = "https://studio.example"


@pytest.fixture
def returned(cast) -> Return:
    """Returned just now, with a drill, in a studio with a delay."""
    cast.studio.return_delay_min = DELAY_MIN
    cast.studio.save()
    clip = heard_clip(cast.enrolment)
    review = review_of(clip)
    drill = make_drill(cast.teacher, cast.studio, "Set with the clip")
    services.set_drill_with_clip(review, drill.newest(), cast.teacher, None, "")
    return services.return_clip(review, cast.teacher, "Well held.", site=SITE)


def later(monkeypatch, minutes: float) -> None:
    """Everybody's clock moves on."""
    moved = timezone.now() + timedelta(minutes=minutes)
    monkeypatch.setattr(timezone, "now", lambda: moved)


def pages_at_home(cast, clip) -> list[str]:
    """What pupil and guardian see on each of their pages."""
    own, child = as_person(cast.pupil), as_person(cast.guardian)
    addresses = [
        (child, "/children/"),
        (own, "/queue/"),
        (own, f"/clips/{clip.pk}/"),
        (child, f"/children/{cast.enrolment.pk}/"),
        (child, f"/clips/{clip.pk}/"),
    ]
    return [client.get(address).content.decode() for client, address in addresses]


def test_until_the_delay_ends_nobody_at_home_sees_anything_of_it(cast, returned, monkeypatch):
    clip = returned.review.clip
    drill = Assignment.objects.get()
    for page in pages_at_home(cast, clip):
        assert "Well held." not in page
        assert "Set with the clip" not in page
        assert "not read yet" not in page
    assert as_person(cast.pupil).get(f"/assignments/{drill.pk}/").status_code == 404
    assert "Octaves" in as_person(cast.pupil).get("/queue/").content.decode(), "still as sent"
    later(monkeypatch, DELAY_MIN + 0.1)
    children, queue, own, child, guarded = pages_at_home(cast, clip)
    assert "1 answer not read yet" in children
    assert all("Well held." in page for page in (own, guarded))
    assert all("Set with the clip" in page for page in (queue, child))
    assert as_person(cast.pupil).get(f"/assignments/{drill.pk}/").status_code == 200


def test_many_returns_are_said_in_one_line_and_each_can_be_taken_back(cast, returned):
    other = heard_clip(cast.enrolment, "Sixths")
    services.return_clip(review_of(other), cast.teacher, "Rounder.", site=SITE)
    page = as_person(cast.teacher).get("/waiting/").content.decode()
    line, rows = page.split('<details class="notice pending-many">')[1].split("</summary>", 1)
    assert "2 returned clips can still be taken back, the last to Mira Sandholm." in line
    assert page.count('class="notice pending"') == 2
    for clip in (returned.review.clip, other):
        assert f"/clips/{clip.pk}/return/take-back/" in rows.split("</details>", 1)[0]


def test_after_returning_one_line_says_it_at_the_desk_however_many_they_are(cast, returned):
    client = as_person(cast.teacher)
    clips = [heard_clip(cast.enrolment, f"Sixths {n}") for n in range(3)]
    for many, clip in enumerate(clips[:2], start=2):
        seen = client.get(f"/clips/{clip.pk}/preview/").context["seen"]
        page = client.post(f"/clips/{clip.pk}/return/", {"seen": seen}, follow=True)
        html = page.content.decode()
        assert page.context["clip"] in clips[many - 1 :]
        assert 'class="messages"' not in html
        assert html.count("can still be taken back") == 1
        assert f"{many} returned clips can still be taken back, the last to" in html
    services.take_back_return(returned.review)
    services.take_back_return(review_of(clips[0]))
    html = client.get(f"/clips/{clips[2].pk}/").content.decode()
    assert html.count("Returned to") == html.count('class="notice pending"') == 1


def test_taking_back_leaves_everything_as_it_was(cast, returned, monkeypatch):
    clip = returned.review.clip
    client = as_person(cast.teacher)
    waiting = client.get("/waiting/").content.decode()
    assert "Returned to Mira Sandholm" in waiting
    for _ in range(2):  # a second press changes nothing
        answer = client.post(f"/clips/{clip.pk}/return/take-back/", follow=True)
        assert answer.status_code == 200
    review = review_of(clip)
    assert review.state == Review.State.OPEN
    assert review.summary == "Well held."
    assert not Return.objects.exists()
    assert Assignment.objects.get().published_at is None
    later(monkeypatch, DELAY_MIN + 1)
    assert all("Well held." not in page for page in pages_at_home(cast, clip))
    again = services.return_clip(review, cast.teacher, "Better words.")
    assert Assignment.objects.get().published_at == again.visible_at


def test_what_can_be_seen_can_no_longer_be_taken_back(cast, returned, monkeypatch):
    later(monkeypatch, DELAY_MIN)
    clip = returned.review.clip
    page = as_person(cast.teacher).post(f"/clips/{clip.pk}/return/take-back/", follow=True)
    assert "too late" in page.content.decode()
    assert Return.objects.filter(pk=returned.pk).exists()


def test_the_delay_can_be_ended_at_once(cast, returned):
    clip = returned.review.clip
    as_person(cast.colleague).post(f"/clips/{clip.pk}/return/send-now/")
    assert "Well held." in as_person(cast.pupil).get(f"/clips/{clip.pk}/").content.decode()
    assert "Set with the clip" in as_person(cast.pupil).get("/queue/").content.decode()


def test_a_drill_that_is_set_at_once_does_not_wait_for_the_delay(cast, returned):
    version = Assignment.objects.get().version
    teacher, pupil = as_person(cast.teacher), as_person(cast.pupil)
    assert "seen from " in teacher.get(f"/pupils/{cast.enrolment.pk}/").content.decode()
    set_drill_now(version, cast.enrolment, cast.teacher, goal="Today")
    assert Assignment.objects.get().goal == "Today"
    assert "Set with the clip" in pupil.get("/queue/").content.decode()
    services.take_back_return(returned.review)
    assert Assignment.objects.get().is_published, "it was set for itself by then"


def test_pupil_and_guardian_are_told_once_and_only_when_it_can_be_seen(cast, returned, monkeypatch):
    assert notifications.tell_due() == setting_told.tell_due() == 0
    later(monkeypatch, DELAY_MIN + 1)
    assert notifications.tell_due() == 1
    assert notifications.tell_due() == 0
    told = {row.to: row for row in Notification.objects.filter(kind="returned")}
    assert set(told) == {cast.pupil, cast.guardian}
    assert {row.path for row in told.values()} == {f"/clips/{returned.review.clip_id}/"}
    sentence = reading.sentence(told[cast.guardian])
    assert sentence == "Ottilie Brandt has answered a recording of Mira Sandholm."
    assert setting_told.tell_due() == 1, "the drill that was set with it"
    assert setting_told.tell_due() == 0
    assert Notification.objects.filter(kind="set", what="Set with the clip").count() == 2


@pytest.mark.parametrize("end", ["taken back", "consent withdrawn", "erased"])
def test_nobody_is_told_of_what_is_not_there_any_more(cast, returned, monkeypatch, end):
    clip = returned.review.clip
    if end == "taken back":
        services.take_back_return(returned.review)
    elif end == "erased":
        type(clip).objects.filter(pk=clip.pk).update(erased_at=timezone.now())
    else:
        Consent.objects.update(withdrawn_at=timezone.now(), withdrawn_by=cast.guardian)
    later(monkeypatch, DELAY_MIN + 1)
    assert notifications.tell_due() == 0
    assert not Notification.objects.filter(kind="returned").exists()


def test_the_studio_sets_its_delay_and_its_promise(cast):
    client = as_person(cast.teacher)
    client.post("/people/answering/", {"answer_within_days": "3", "return_delay_min": "20"})
    cast.studio.refresh_from_db()
    assert (cast.studio.answer_within_days, cast.studio.return_delay_min) == (3, 20)
    refused = client.post(
        "/people/answering/", {"answer_within_days": "0", "return_delay_min": "0"}
    )
    assert refused.status_code == 422
    cast.studio.refresh_from_db()
    assert cast.studio.answer_within_days == 3


def test_returning_goes_on_to_the_next_clip_and_offers_to_take_back(cast):
    cast.studio.return_delay_min = DELAY_MIN
    cast.studio.save()
    clip, after = heard_clip(cast.enrolment), make_clip(cast.other_enrolment, "Next one")
    client = as_person(cast.teacher)
    seen = client.get(f"/clips/{clip.pk}/preview/").context["seen"]
    page = client.post(f"/clips/{clip.pk}/return/", {"seen": seen}, follow=True)
    assert page.redirect_chain[-1][0].startswith(f"/clips/{after.pk}/")
    assert f"/clips/{clip.pk}/return/take-back/" in page.content.decode()
