"""A pupil's lessons on one line of time: what is found, by whom, page by page."""

from datetime import datetime, timedelta
from importlib import import_module

from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from studio.accounts.models import Consent
from studio.clips.models import Clip
from studio.drills import services as drills
from studio.drills.lessons import services as lessons
from studio.drills.models import Assignment
from studio.drills.practice.services import Practised, note
from studio.drills.rotation import services as rotation
from studio.review import questions
from studio.review.history import entries
from studio.review.models import ReturnedMoment, Review
from studio.review.questions import About
from studio.review.returning.services import return_clip, take_back_return
from tests.cast import Cast, as_person, make_clip, make_drill, make_return, set_for
from tests.review.heard_clip import heard_clip

TODAY = timezone.localdate()
UPPER, THUMB = "Listen to the upper note.", "The thumb is freer today."


def everything(cast: Cast) -> Clip:
    """One of each kind on the line."""
    drill = make_drill(cast.teacher, cast.studio, "Octaves in steps", interval="P8", key="G major")
    assignment = set_for(cast.enrolment, drill)
    clip = heard_clip(cast.enrolment, "Octaves at dusk")
    Review.objects.filter(clip=clip).update(answers=assignment)
    make_return(clip, UPPER)
    drills.tick_off(set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Sixths")))
    said = {"held_on": TODAY, "text": THUMB, "agreed": ""}
    lessons.write(cast.enrolment, cast.teacher, share=True, **said)
    lessons.write(cast.enrolment, cast.teacher, share=False, **said | {"text": "Ask about sleep."})
    questions.ask(cast.enrolment, cast.pupil, "Which finger begins?", About(), "")
    note(cast.enrolment, cast.pupil, Practised(TODAY, 25, word="slowly"))
    return clip


def page(cast: Cast, who: str = "teacher", query: str = "") -> str:
    addresses = {
        "teacher": f"/pupils/{cast.enrolment.pk}/history/",
        "pupil": "/history/",
        "guardian": f"/children/{cast.enrolment.pk}/history/",
    }
    answer = as_person(getattr(cast, who)).get(addresses[who] + query)
    assert answer.status_code == 200
    return answer.text


def test_clips_comments_drills_lessons_questions_and_practice_stand_on_one_line(cast):
    everything(cast)
    for who in ("teacher", "pupil", "guardian"):
        found = page(cast, who)
        for said in (UPPER, "Octaves at dusk", "Octaves in steps", THUMB, "finger", "25 min"):
            assert said in found
        assert ("Ask about sleep." in found) == (who == "teacher")


FOUND = [
    ("?q=UPPER+note", UPPER, THUMB),
    ("?q=thumb", THUMB, UPPER),
    ("?q=finger", "Which finger", UPPER),
    ("?interval=octaves", "Octaves at dusk", "25 min"),
    ("?interval=tenths", "Nothing of that", "Octaves at dusk"),
    ("?key=G+major", "Octaves in steps", "Sixths</a>"),
    ("?kind=intonation", UPPER, "Octaves in steps</a>\n          <span"),
    ("?kind=bow", "Nothing of that", UPPER),
    ("?what=practice", "25 min", "Octaves at dusk"),
    ("?what=done", "Sixths", "25 min"),
    (f"?until={TODAY - timedelta(days=3)}", "Nothing of that", "25 min"),
    (f"?since={TODAY - timedelta(days=3)}", UPPER, "Nothing of that"),
    ("?since=long+ago&interval=elevenths&before=x~y~z", UPPER, "Nothing of that"),
    ("?before=9999-12-31T23:59:59%2B00:00~clip~1", UPPER, "Nothing of that"),
    ("?before=2026-01-01T00:00:00%2B00:00~clip~no-key", "Nothing yet", UPPER),
    ("?until=9999-12-31&since=0001-01-01", UPPER, "Nothing of that"),
]


def test_it_is_found_by_words_interval_key_kind_and_period(cast):
    everything(cast)
    for query, there, not_there in FOUND:
        found = page(cast, "teacher", query)
        assert there in found, query
        assert not_there not in found, query


def test_all_of_a_drill_is_found_by_its_number(cast):
    everything(cast)
    drill = Assignment.objects.get(version__title="Octaves in steps").version.drill_id
    found = page(cast, "pupil", f"?drill={drill}")
    assert "Octaves at dusk" in found
    assert "All of the drill “Octaves in steps”." in found
    assert "25 min" not in found


def test_keys_that_were_ticked_off_stand_there(cast):
    plan = rotation.begin(cast.enrolment, cast.teacher, TODAY)
    lesson = plan.rounds.get(number=1).lessons.first()
    rotation.tick_keys(lesson, cast.teacher, [one.name for one in lesson.planned])
    key = lesson.planned[0].key.name
    assert "Keys ticked off" in page(cast, "pupil", f"?key={key}")


def test_at_home_nothing_is_said_of_a_clip_before_it_can_be_seen(cast):
    type(cast.studio).objects.update(return_delay_min=30)
    clip = heard_clip(cast.enrolment, "Just returned")
    cast.enrolment.refresh_from_db()
    make_return(Clip.objects.get(pk=clip.pk), UPPER)
    for who in ("pupil", "guardian"):
        found = page(cast, who)
        assert UPPER not in found
        assert "Not answered yet" in found
        assert "Nothing of that" in page(cast, who, "?q=upper")
    assert UPPER in page(cast)


def test_without_consent_a_teacher_reads_of_drills_and_lessons_alone(cast):
    everything(cast)
    Consent.objects.filter(pupil=cast.pupil).delete()
    found = page(cast)
    assert THUMB in found
    assert UPPER not in found
    assert "25 min" not in found
    assert UPPER in page(cast, "pupil")


def test_page_by_page_each_entry_comes_once_and_in_order(cast, monkeypatch):
    monkeypatch.setattr(entries, "A_PAGE", 3)
    start = timezone.make_aware(datetime(2026, 3, 2, 0, 0))
    drill = make_drill(cast.teacher, cast.studio)
    for number in range(9):  # some of the same moment, midnight among them
        at = start + timedelta(days=number // 3)
        clip = make_clip(cast.enrolment, f"Clip {number}")
        Clip.objects.filter(pk=clip.pk).update(created_at=at)
        Assignment.objects.filter(pk=set_for(cast.enrolment, drill).pk).update(published_at=at)
        day = at.date()
        said = {"held_on": day, "text": f"Note {number}", "agreed": ""}
        lessons.write(cast.enrolment, cast.teacher, share=True, **said)
    client, query, seen, times = as_person(cast.pupil), "", [], []
    while query is not None:
        shown = client.get(f"/history/{query}").context["page"]
        here = [entry for _month, some in shown.months for entry in some]
        seen += [(entry.what, entry.place.pk) for entry in here]
        times += [entry.place.at for entry in here]
        query = None
        if shown.earlier:
            query = f"?before={str(shown.earlier).replace('+', '%2B')}"
    assert len(seen) == len(set(seen)) == 27
    assert times == sorted(times, reverse=True)


def test_as_many_queries_for_many_entries(cast):
    address = f"/pupils/{cast.enrolment.pk}/history/?q=note"
    client = as_person(cast.teacher)
    everything(cast)
    client.get(address)
    few = queries_of(client, address)
    for number in range(12):
        make_return(make_clip(cast.enrolment, f"Clip {number}"))
        make_drill(cast.teacher, cast.studio, f"Note {number}")
    assert queries_of(client, address) == few <= 35


# -- the rows that it is found by ------------------------------------------------------------


def test_a_moments_row_says_what_the_snapshot_says_and_goes_with_it(cast):
    type(cast.studio).objects.update(return_delay_min=30)
    clip = heard_clip(cast.enrolment)
    clip = Clip.objects.select_related("enrolment__studio").get(pk=clip.pk)
    returned = make_return(clip)
    rows = list(ReturnedMoment.objects.order_by("number"))
    assert [row.text for row in rows] == [one["text"] for one in returned.snapshot["moments"]]
    (comment,) = (row for row in rows if row.kind == "intonation")
    assert (comment.interval, comment.low, comment.high) == ("octaves", 60, 72)  # C4–C5
    assert Review.objects.get(clip=clip).intervals == "octaves"
    take_back_return(Review.objects.get(clip=clip))
    assert not ReturnedMoment.objects.exists()


def test_the_migration_gives_what_was_returned_before_the_same_rows(cast):
    make_return(heard_clip(cast.enrolment))
    make_return(make_clip(cast.other_enrolment))
    names = ("returned", "enrolment", "number", "at", "kind", "interval", "low", "drill", "text")
    kept = list(ReturnedMoment.objects.order_by("returned", "number").values(*names))
    ReturnedMoment.objects.all().delete()
    Review.objects.update(intervals="")
    import_module("studio.review.migrations.0012_returned_moments").fill(apps, None)
    assert list(ReturnedMoment.objects.order_by("returned", "number").values(*names)) == kept
    assert set(Review.objects.values_list("intervals", flat=True)) == {"octaves", ""}


# -- at the desk -----------------------------------------------------------------------------


def test_what_was_said_before_stands_beside_the_mark_it_concerns(cast):
    before = heard_clip(cast.enrolment, "Last week")
    make_return(before, UPPER)  # at 4.0 s, where C4–C5 sounds
    review = Review.objects.get(clip=heard_clip(cast.enrolment, "This week"))
    found = as_person(cast.teacher).get(f"/clips/{review.clip_id}/").text
    assert found.count("Said before about this") == 2  # of both octaves that are marked
    assert "the same two notes" in found
    assert "the same interval" in found
    assert UPPER in found
    other = heard_clip(cast.other_enrolment, "Of another pupil")
    assert UPPER not in as_person(cast.teacher).get(f"/clips/{other.pk}/").text


def test_the_desk_takes_as_many_queries_however_much_was_said(cast):
    clip = heard_clip(cast.enrolment)
    client = as_person(cast.teacher)
    make_return(heard_clip(cast.enrolment))
    client.get(f"/clips/{clip.pk}/")
    few = queries_of(client, f"/clips/{clip.pk}/")
    for _ in range(6):
        make_return(heard_clip(cast.enrolment))
    client.get(f"/clips/{clip.pk}/")  # its judgement is no longer kept by the process
    assert queries_of(client, f"/clips/{clip.pk}/") == few


def queries_of(client, address: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200
    return len(seen)


def test_a_clip_returned_twice_counts_once(cast):
    clip = make_clip(cast.enrolment)
    review = Review.objects.get(clip=clip)
    return_clip(review, cast.teacher, "Once.")
    assert page(cast).count("Once.") == 1
