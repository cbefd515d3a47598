"""Drills from here: proposed at a mark, a bar or a span, seen, and set with one press."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from studio.drills.models import Assignment, Drill
from studio.notation import Request, generate
from studio.review.marks import hand_marks
from studio.review.marks.hand_marks import HandMarkText
from studio.review.models import Decision
from studio.review.prescribing.faults import Fault
from studio.review.prescribing.prescription import Facts
from studio.review.prescribing.spots import treated
from studio.review.returning.services import return_clip
from studio.review.waiting.submissions import begin_review
from studio.theory import Key, Pitch
from tests.cast import as_person, make_clip, make_drill, set_for
from tests.review.heard_clip import heard_clip, listen_again, measurement, review_of
from tests.review.prescribed import form_of, shown

SCORE = generate(
    Request(key="C major", interval="octaves", direction="up", manner="together", start=1)
)


@pytest.fixture
def clip(cast):
    return heard_clip(cast.enrolment)


@pytest.fixture
def here(clip) -> str:
    return f"/clips/{clip.pk}/drills/from-here/"


@pytest.fixture
def teacher(cast):
    return as_person(cast.teacher)


def test_a_mark_is_met_with_drills_that_say_why_and_are_seen(teacher, here):
    answer = teacher.get(f"{here}?mark=0")
    html = answer.content.decode()
    found = shown(answer)
    assert [one.name for one in found] == ["these-octaves", "open-octaves", "around-octaves"]
    assert "The octave C4–C5 was 30 ± 1 cents wide at its last playing; " in html
    assert "2 of 3 octaves in this clip ended out of tune." in html
    assert html.count("<svg") >= 3
    assert html.count("Set this drill") == 3
    ids = re.findall(r' id="([^"]+)"', html)
    named = [name for name in ids if re.match(r"(these|open|around)-", name)]
    assert len(named) == len(set(named))


def test_the_goal_is_filled_in_with_what_is_in_force_and_the_day_a_week_on(teacher, here):
    first = shown(teacher.get(f"{here}?mark=0"))[0]
    sent = form_of(first)
    assert (sent["tolerance_cents"], sent["playings"]) == (15, 4)
    assert sent["due_on"] == timezone.localdate() + timezone.timedelta(days=7)


def test_one_press_makes_it_and_sets_it_with_the_clip_unseen_and_a_second_changes_nothing(
    cast, clip, teacher, here
):
    first = shown(teacher.get(f"{here}?mark=0"))[0]
    for _ in range(2):
        answer = teacher.post(f"{here}?mark=0", form_of(first))
        assert answer.url == f"/clips/{clip.pk}/#drills"
    assignment = Assignment.objects.get()
    assert Request.from_dict(Drill.objects.get().newest().request) == first.proposal.request
    assert assignment.version.page == first.score
    assert assignment.published_at is None
    assert list(review_of(clip).drills_set.all()) == [assignment]
    assert assignment.goal_in_figures == "every note within 15 cents, each played 4 times"
    assert assignment.version.title in teacher.get(f"/clips/{clip.pk}/").content.decode()
    assert assignment.version.title not in as_person(cast.pupil).get("/").content.decode()
    again = shown(teacher.get(f"{here}?mark=0"))
    assert [one.is_set for one in again] == [True, False, False]
    teacher.post(f"/clips/{clip.pk}/drills/{assignment.pk}/take-back/")
    assert not Assignment.objects.exists()
    assert not any(one.is_set for one in shown(teacher.get(f"{here}?mark=0")))
    teacher.post(f"{here}?mark=0", form_of(first))
    assert Drill.objects.count() == 1, "the shelf's own is set again"


def test_a_drill_of_the_shelf_in_this_key_comes_after_what_is_shorter_and_is_set(
    cast, teacher, here
):
    make_drill(cast.teacher, cast.studio, "In words", key="C major")
    page = make_drill(cast.teacher, cast.studio, "C major", key="C major", score=SCORE.to_dict())
    make_drill(cast.teacher, cast.studio, "Other key", key="D major")
    make_drill(cast.teacher, cast.studio, "Other interval", interval="6", key="C major")
    make_drill(cast.foreign_teacher, cast.other_studio, "Foreign", key="C major")
    found = shown(teacher.get(f"{here}?mark=0"))
    assert [one.name for one in found] == ["these-octaves", "open-octaves", "shelf-octaves"]
    assert [one.bars for one in found] == [1, 2, 8]
    assert found[2].title == "C major"
    teacher.post(f"{here}?mark=0", form_of(found[2]))
    assert Assignment.objects.get().version == page.newest()


def test_drills_made_for_one_spot_are_not_the_shelf_s_drill_of_a_key(teacher, here):
    first = shown(teacher.get(f"{here}?mark=0"))[0]
    teacher.post(f"{here}?mark=0", form_of(first))
    names = [one.name for one in shown(teacher.get(f"{here}?mark=1"))]
    assert names == ["these-octaves", "open-octaves", "around-octaves"]


def test_what_stands_in_the_queue_is_said_and_can_be_set_again(cast, clip, teacher, here):
    page = make_drill(cast.teacher, cast.studio, "C major", key="C major", score=SCORE.to_dict())
    sixths = generate(
        Request(key="C major", interval="sixths", direction="up", manner="together", start=1)
    )
    make = {"Sixths": {"interval": "6", "score": sixths.to_dict()}, "Any octaves": {"key": ""}}
    others = {
        name: make_drill(cast.teacher, cast.studio, name, **says) for name, says in make.items()
    }
    made = shown(teacher.get(f"{here}?mark=0"))[0]
    teacher.post(f"{here}?mark=0", form_of(made))  # with this clip: seen by nobody yet
    standing = [set_for(cast.enrolment, drill) for drill in (page, *others.values())]
    set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Hidden"), published=False)
    set_for(cast.other_enrolment, make_drill(cast.teacher, cast.studio, "Somebody else's"))
    Assignment.objects.filter(pk=standing[0].pk).update(
        published_at=timezone.now() - timezone.timedelta(days=1)
    )
    answer = teacher.get(f"{here}?mark=0")
    html = " ".join(answer.content.decode().split())
    queued = {one.name: one.queued and one.queued.assignment for one in shown(answer)}
    assert queued == {"these-octaves": None, "open-octaves": None, "shelf-octaves": standing[0]}
    assert "Stands in Mira Sandholm’s queue since yesterday." in html
    assert html.count("Set it again") == 2
    (again,) = answer.context["standing"]
    assert (again.title, again.queued.treats) == ("Any octaves", ("octave C4–C5",))
    assert "<b>Any octaves</b> stands there since today and is for the octave C4–C5." in html
    sent = form_of(again)
    teacher.post(f"{here}?mark=0", sent)
    (new,) = review_of(clip).drills_set.filter(version__title="Any octaves")
    assert (new.published_at, new.due_on) == (None, sent["due_on"])
    answer = teacher.get(f"{here}?mark=0")
    assert [one.is_set for one in answer.context["standing"]] == [True]
    past = sent | {"due_on": "2020-01-01"}
    Assignment.objects.filter(pk=new.pk).delete()
    refused = teacher.post(f"{here}?mark=0", past)
    assert refused.status_code == 422
    assert refused.content.decode().count("is past. Choose today or a later day") == 1
    others["Any octaves"].archived_at = timezone.now()
    others["Any octaves"].save()
    (gone,) = teacher.get(f"{here}?mark=0").context["standing"]
    assert gone.form is None


def test_a_drill_that_has_the_very_double_stop_treats_it_however_it_is_spelled(cast, teacher):
    key = Key.parse("Db major")
    fault = {"run": 0, "short": "P8", "word": "octaves", "deviation_cents": 30.0}
    fault |= {"uncertainty_cents": 1.0, "tolerance_cents": 15.0, "severity": 2}
    here = Fault(low=Pitch.parse("C#4"), high=Pitch.parse("C#5"), **fault)
    facts = Facts(faults=(here,), clip_faults=(here,), key=key)

    def treats(**says) -> bool:
        drill = make_drill(cast.teacher, cast.studio, "Octaves", **says)
        return treated(drill.newest(), facts) == ("octave C♯4–C♯5",)

    def page(**asked) -> dict:
        asked = {"interval": "octaves", "direction": "up", "manner": "together"} | asked
        return generate(Request(**asked)).to_dict()

    assert treats(score=page(key="Db major"))
    assert not treats(score=page(key="C major"))
    assert not treats(interval="6", score=page(key="Db major", interval="sixths"))
    assert treats()
    assert treats(key="D♭ major")
    assert not treats(key="C major")
    assert not treats(interval="")


def test_what_cannot_be_set_is_said_and_what_was_typed_stays(cast, teacher, here):
    first = shown(teacher.get(f"{here}?mark=0"))[0]
    past = form_of(first) | {"due_on": "2020-01-01", "goal": "Softly"}
    answer = teacher.post(f"{here}?mark=0", past)
    assert answer.status_code == 422
    html = answer.content.decode()
    assert "is past. Choose today or a later day" in html
    assert "Softly" in html
    foreign = make_drill(cast.foreign_teacher, cast.other_studio)
    for sent in ({}, {"made": "pattern=pairs"}, {"made": "%00"}, {"drill": foreign.pk}):
        assert teacher.post(f"{here}?mark=0", sent).status_code == 422
    assert not Assignment.objects.exists()


def test_change_it_first_fills_the_form_to_make_drills_with_just_this_request(teacher, here):
    for one in shown(teacher.get(f"{here}?mark=0")):
        page = teacher.get(f"/drills/make/?{one.change}")
        assert page.context["form"].request() == one.proposal.request
        assert page.context["score"] == one.score


def test_a_bar_and_a_note_of_it_and_a_span_stand_for_what_sounds_there(cast, teacher):
    drill = make_drill(cast.teacher, cast.studio, "C major", key="C major", score=SCORE.to_dict())
    clip = heard_clip(cast.enrolment)
    begin_review(clip, set_for(cast.enrolment, drill))
    here = f"/clips/{clip.pk}/drills/from-here/"
    by_bar, by_note = (teacher.get(f"{here}?{q}") for q in ("bar=3", "note=n3"))
    assert [one.name for one in shown(by_bar)] == [one.name for one in shown(by_note)]
    assert "The octave E4–E5 was 35 ± 1 cents narrow" in by_bar.content.decode()
    around = next(one for one in shown(by_bar) if one.proposal.request)
    assert around.proposal.request.key == "C major"
    by_span = teacher.get(f"{here}?start_s=0:03&end_s=0:13").content.decode()
    assert "1 of 2 octaves here ended out of tune." in by_span
    in_tune = teacher.get(f"{here}?bar=2")
    assert shown(in_tune) == []
    html = in_tune.content.decode()
    assert "Nothing here is out of tune by more than the figures can tell." in html
    assert "Make a drill by hand: octaves in C major" in html
    for wrong in ("bar=99", "note=n99", "mark=99"):
        assert teacher.get(f"{here}?{wrong}").status_code == 404
    assert teacher.get(f"{here}?start_s=soon&end_s=3").status_code == 422


def test_a_mark_that_was_dropped_counts_only_where_it_is_pointed_at(cast, clip, teacher, here):
    listening = review_of(clip).clip.listenings.get()
    teacher.post(f"/clips/{clip.pk}/marks/0/", {"choice": "dropped", "listening": listening.pk})
    assert Decision.objects.get().choice == "dropped"
    assert shown(teacher.get(f"{here}?start_s=3&end_s=8")) == []
    assert shown(teacher.get(f"{here}?mark=0"))
    assert "1 of 3 octaves" in teacher.get(f"{here}?mark=1").content.decode()


def test_each_mark_at_the_desk_leads_here_those_by_hand_too(cast, clip, teacher, here):
    hand_marks.add(review_of(clip), cast.teacher, HandMarkText("Lighter", 19.0, 22.0), "")
    html = teacher.get(f"/clips/{clip.pk}/").content.decode()
    assert f'href="{here}?mark=0"' in html
    address = f"{here}?start_s=0:19.00&end_s=0:22.00"
    assert f'href="{address}"' in html
    assert "The octave E4–E5" in teacher.get(address).content.decode()


def test_a_clip_that_is_not_heard_or_that_was_returned_proposes_nothing(cast, clip, teacher, here):
    unheard = make_clip(cast.enrolment)
    page = teacher.get(f"/clips/{unheard.pk}/drills/from-here/?mark=0").content.decode()
    assert "not listened to yet" in page
    sent = form_of(shown(teacher.get(f"{here}?mark=0"))[0])
    return_clip(review_of(clip), cast.teacher, "")
    assert teacher.get(f"{here}?mark=0").url == f"/clips/{clip.pk}/"
    teacher.post(f"{here}?mark=0", sent)
    assert not Assignment.objects.exists()


def test_without_a_place_marks_are_offered_and_with_one_it_can_be_heard(teacher, here):
    html = teacher.get(here).content.decode()
    assert 'href="?mark=0"' in html
    assert 'name="start_s"' in html
    heard = teacher.get(f"{here}?mark=0&hear=around-octaves")
    assert heard.context["hearing"]["steps"]
    assert 'id="hear"' in heard.content.decode()
    part = teacher.get(f"{here}?mark=0", headers={"X-Desk": "parts"}).content.decode()
    assert part.lstrip().startswith('<div id="from-here"')


def test_a_reach_that_is_wide_for_the_hand_is_said_with_the_caution(cast, teacher):
    clip = make_clip(cast.enrolment, has_audio=True)
    stored = measurement((("G3", 4.0, (40.0,)),))
    tenth = {55: ("A3", 57, 220.0), 67: ("C#5", 73, 220.0 * 2.5 * 2 ** (40 / 1200))}
    for event in stored["events"]:
        for voice in event["voices"]:
            voice["pitch"], voice["midi"], voice["f0_hz"] = tenth[voice["midi"]]
        for interval in event["intervals"]:
            interval["size_cents"] = interval["landing_size_cents"] = 1586.3 + 40
    listen_again(clip, stored)
    html = teacher.get(f"/clips/{clip.pk}/drills/from-here/?mark=0").content.decode()
    assert "major tenth A3–C♯5" in html
    assert "mm between the fingers" in html
    assert "If anything hurts, tingles or feels numb" in html


def test_the_number_of_queries_does_not_grow(cast, clip, teacher, here, django_assert_num_queries):
    one = make_drill(cast.teacher, cast.studio, "One", key="C major", score=SCORE.to_dict())
    set_for(cast.enrolment, one)
    set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Two"))
    teacher.get(f"{here}?mark=0")
    with CaptureQueriesContext(connection) as few:
        teacher.get(f"{here}?mark=0")
    for n in range(8):
        more = make_drill(
            cast.teacher, cast.studio, f"More {n}", key="C major", score=SCORE.to_dict()
        )
        set_for(cast.enrolment, more)
    with django_assert_num_queries(len(few)):
        teacher.get(f"{here}?mark=0")
    assert len(few) < 40
