"""A lesson's drills: proposed for the pupil's instrument, set with one press, never without one."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from studio.accounts.models import Instrument
from studio.drills.models import Assignment, Drill, DrillVersion
from studio.drills.rotation import access, rounds, services
from studio.drills.rotation.models import PlannedKey, RotationLesson, Round
from studio.drills.rotation.overview import overview_of
from studio.drills.rotation.proposals import propose
from studio.drills.services import archive_drill, edit_drill
from studio.notation import is_feasible
from studio.theory.keys import ALL_KEYS, Key
from tests.cast import as_person
from tests.drills.rotation.conftest import soon

NAMES = ("G-major", "G-minor")
BOTH = {"drill": ["G-major-octaves", "G-minor-octaves"]}


@pytest.fixture
def lesson(rotation) -> RotationLesson:
    return RotationLesson.objects.get(pk=overview_of(rotation).next.lesson.pk)


def address(cast, lesson, tail: str = "set/") -> str:
    return f"/pupils/{cast.enrolment.pk}/keys/lessons/{lesson.pk}/{tail}"


def proposals(cast, lesson, **of_round):
    Round.objects.filter(pk=lesson.round_id).update(**of_round)
    found = RotationLesson.objects.select_related("round").get(pk=lesson.pk)
    return propose(found, cast.enrolment)


def play(cast, **says) -> None:
    Instrument.objects.filter(pupil=cast.pupil).update(**says)


# -- proposals


def test_for_which_instrument_they_are_made_is_said_before_they_are_set(cast, lesson):
    client = as_person(cast.teacher)
    for kind in ("viola", "violin"):
        play(cast, kind=kind)
        html = client.get(address(cast, lesson, "")).content.decode()
        assert f"Made for {cast.pupil}’s {kind}." in html
    Instrument.objects.filter(pupil=cast.pupil).delete()
    html = client.get(address(cast, lesson, "")).content.decode()
    assert f"Made for the violin, the studio’s usual: what {cast.pupil} plays is not" in html


def test_what_is_pressed_is_made_for_what_the_pupil_plays_then(cast, lesson):
    """The page was opened while the violin was entered."""
    client = as_person(cast.teacher)
    client.get(address(cast, lesson, ""))
    play(cast, kind="viola", string_length_mm=360)
    client.post(address(cast, lesson), BOTH)
    kinds = Assignment.objects.values_list("version__instrument", flat=True)
    assert list(kinds) == ["viola", "viola"]


@pytest.mark.parametrize(("kind", "length"), [("violin", 285.0), ("viola", 365.0)])
def test_drills_are_made_to_the_pupils_instrument_and_string_length(cast, lesson, kind, length):
    play(cast, kind=kind, string_length_mm=length)
    for proposal in proposals(cast, lesson):
        assert (proposal.made.instrument, proposal.made.string_length_mm) == (kind, length)
        assert proposal.score.instrument == kind


def test_each_key_is_proposed_in_each_interval_of_the_round(cast, lesson):
    found = proposals(cast, lesson, intervals=["octaves", "sixths"])
    assert [proposal.label for proposal in found] == [
        "G major in octaves",
        "G major in sixths",
        "G melodic minor in octaves",
        "G melodic minor in sixths, from B♭",  # G has two sixths above it, one each way
    ]


def test_without_an_instrument_the_studios_usual_one_is_taken(cast, lesson):
    Instrument.objects.all().delete()
    assert {one.made.instrument for one in proposals(cast, lesson)} == {"violin"}


@pytest.mark.parametrize("strings", ["", "4-3", "3-2", "2-1"])
@pytest.mark.parametrize("interval", ["octaves", "tenths"])
def test_for_every_key_something_near_can_be_set(cast, lesson, strings, interval):
    """The nearest is made where what was asked cannot be, and then the reason is said."""
    Round.objects.filter(pk=lesson.round_id).update(strings=strings, intervals=[interval])
    one = Round.objects.get(pk=lesson.round_id)
    instead = 0
    for major, minor in zip(ALL_KEYS[:12], ALL_KEYS[12:], strict=True):
        keys = RotationLesson(round=one)
        keys.plan([PlannedKey(major), PlannedKey(minor)])
        for proposal in propose(keys, cast.enrolment):
            assert is_feasible(proposal.made)
            assert (proposal.made == proposal.asked) == is_feasible(proposal.asked)
            assert (
                bool(proposal.reason) == bool(proposal.instead) == (proposal.made != proposal.asked)
            )
            instead += bool(proposal.instead)
    # An octave scale that may begin on any degree has a place on each pair, in every key.
    assert (instead > 0) == (bool(strings) and interval == "tenths")


def test_in_a_round_on_one_pair_another_pair_is_nearer_than_going_across(cast, lesson):
    major = proposals(cast, lesson, strings="3-2", intervals=["tenths"])[0]
    assert major.made.strings == (4, 3)
    assert major.instead == "on the G and D strings"
    assert "The D and A strings alone are too few for G major in tenths" in major.reason
    page = as_person(cast.teacher).get(address(cast, lesson, "")).content.decode()
    assert "Shown is the nearest, on the G and D strings." in page


# -- setting


def test_nothing_is_set_by_looking(cast, lesson):
    client = as_person(cast.teacher)
    for page in (address(cast, lesson, ""), f"/pupils/{cast.enrolment.pk}/keys/"):
        assert "Set these drills" in client.get(page).content.decode()
    assert not Assignment.objects.exists()
    assert not Drill.objects.exists()


def test_one_press_sets_both_drills_for_the_day_of_the_lesson(cast, lesson):
    says = BOTH | {"due_on": soon().isoformat(), "goal": "Held until it is still"}
    assert as_person(cast.teacher).post(address(cast, lesson), says).status_code == 302
    set_here = list(lesson.assignments.order_by("position"))
    assert [assignment.version.title for assignment in set_here] == [
        "G major in octaves",
        "G melodic minor in octaves",
    ]
    for assignment in set_here:
        assert (assignment.due_on, assignment.goal) == (soon(), "Held until it is still")
        assert assignment.published_at is not None
        assert assignment.version.page.written
    queue = as_person(cast.pupil).get("/queue/").content.decode()
    assert "G major in octaves" in queue


def test_only_what_is_ticked_is_set_and_the_rest_stays_on_offer(cast, lesson):
    client = as_person(cast.teacher)
    client.post(address(cast, lesson), {"drill": "G-minor-octaves"})
    assert [a.version.key for a in lesson.assignments.all()] == ["G minor"]
    assert "Set the others" in client.get(address(cast, lesson, "")).content.decode()


def test_a_key_that_is_ticked_off_is_not_ticked_for_setting(cast, lesson):
    services.tick_keys(lesson, cast.teacher, ["G-minor"])
    page = as_person(cast.teacher).get(address(cast, lesson, "")).content.decode()
    boxes = re.findall(r'<input type="checkbox"[^>]*value="G-(\w+)-octaves"([^>]*)>', page)
    assert [(mode, "checked" in rest) for mode, rest in boxes] == [
        ("major", True),
        ("minor", False),
    ]


def test_a_double_press_sets_each_drill_once(cast, lesson):
    client = as_person(cast.teacher)
    for _ in range(2):
        answer = client.post(address(cast, lesson), BOTH)
        assert answer.status_code == 302
    assert lesson.assignments.count() == Assignment.objects.count() == 2
    page = client.get(address(cast, lesson, "")).content.decode()
    assert "were in Mira Sandholm’s queue already" in page


@pytest.mark.parametrize("chosen", [{}, {"drill": "G-major-tenths"}, {"drill": "x"}])
def test_with_no_drill_ticked_nothing_is_set_and_it_is_said(cast, lesson, chosen):
    answer = as_person(cast.teacher).post(address(cast, lesson), chosen)
    assert answer.status_code == 422
    assert "No drill was ticked" in answer.content.decode()
    assert not Assignment.objects.exists()


def test_a_due_day_that_is_past_is_refused(cast, lesson):
    past = (soon() - timedelta(days=9)).isoformat()
    answer = as_person(cast.teacher).post(address(cast, lesson), BOTH | {"due_on": past})
    assert answer.status_code == 422
    assert "is past. Choose today or a later day" in answer.content.decode()


def test_what_was_set_on_the_tonic_is_not_set_again_on_another_degree(cast, lesson):
    lesson.plan([PlannedKey(Key.parse("D major"))])
    lesson.save()
    client = as_person(cast.teacher)
    chosen = {"drill": "D-major-octaves"}
    client.post(address(cast, lesson), chosen)
    version = DrillVersion.objects.get()
    assert version.request.pop("start") == 0
    version.save()  # as it was stored when each drill began on the tonic
    client.post(address(cast, lesson), chosen)
    assert Assignment.objects.count() == 1


def test_a_drill_of_the_shelf_is_set_again_with_the_fingers_it_was_given(cast, lesson, rotation):
    client = as_person(cast.teacher)
    client.post(address(cast, lesson), BOTH)
    major = Drill.objects.get(versions__key="G major")
    edit_drill(major, title="G major, my fingers")
    services.begin(cast.other_enrolment, cast.teacher, soon())
    other = overview_of(access.rotation_of(cast.other_enrolment)).next.lesson
    client.post(f"/pupils/{cast.other_enrolment.pk}/keys/lessons/{other.pk}/set/", BOTH)
    assert Drill.objects.count() == 2
    titles = set(other.assignments.values_list("version__title", flat=True))
    assert "G major, my fingers" in titles


def test_a_drill_that_left_the_shelf_is_made_anew(cast, lesson):
    client = as_person(cast.teacher)
    client.post(address(cast, lesson), {"drill": "G-major-octaves"})
    archive_drill(Drill.objects.get())
    Assignment.objects.all().delete()
    client.post(address(cast, lesson), {"drill": "G-major-octaves"})
    assert Drill.objects.count() == 2


def test_another_studios_drill_is_never_set(cast, lesson):
    as_person(cast.teacher).post(address(cast, lesson), BOTH)
    services.begin(cast.foreign_enrolment, cast.foreign_teacher, soon())
    other = overview_of(access.rotation_of(cast.foreign_enrolment)).next.lesson
    as_person(cast.foreign_teacher).post(
        f"/pupils/{cast.foreign_enrolment.pk}/keys/lessons/{other.pk}/set/", BOTH
    )
    studios = set(other.assignments.values_list("version__drill__studio", flat=True))
    assert studios == {cast.other_studio.pk}


def test_what_is_made_from_a_plan_says_where_it_comes_from(cast, lesson):
    as_person(cast.teacher).post(address(cast, lesson), BOTH)
    for version in DrillVersion.objects.all():
        assert version.source == DrillVersion.Source.GENERATED
        assert version.request["instrument"] == "violin"
        assert version.incipit.startswith("<svg")


# -- who reaches it, and what it costs


def test_a_lesson_of_another_pupil_is_not_reached_through_this_one(cast, lesson):
    services.begin(cast.other_enrolment, cast.teacher, soon())
    client = as_person(cast.teacher)
    wrong = f"/pupils/{cast.other_enrolment.pk}/keys/lessons/{lesson.pk}/"
    assert client.get(wrong).status_code == 404
    for tail, says in (("set/", BOTH), ("tick/", {"key": "all"}), ("move/", {"way": "end"})):
        assert client.post(wrong + tail, says | {"version": 1}).status_code == 404


def test_the_number_of_queries_does_not_grow_with_the_plan(cast, rotation):
    def queries(page: str) -> int:
        client = as_person(cast.teacher)
        client.get(page)
        with CaptureQueriesContext(connection) as seen:
            assert client.get(page).status_code == 200
        return len(seen)

    page = f"/pupils/{cast.enrolment.pk}/keys/"
    before = queries(page)
    for seen in range(1, 5):
        rounds.add_round(rotation, cast.teacher, seen=seen)
    lessons = list(RotationLesson.objects.all())
    for one in lessons[2:9]:
        services.set_drills(one, cast.teacher, propose(one, cast.enrolment))
    services.tick_keys(lessons[0], cast.teacher, NAMES)
    assert queries(page) == before


# -- pupil and guardian


@pytest.mark.parametrize("part", ["pupil", "guardian"])
def test_pupil_and_guardian_see_which_keys_come_when_and_which_are_done(cast, rotation, part):
    first = overview_of(rotation).next.lesson
    services.tick_keys(first, cast.teacher, NAMES)
    page = {"pupil": "/keys/", "guardian": f"/children/{cast.enrolment.pk}/keys/"}[part]
    text = as_person(cast.people()[part]).get(page).content.decode()
    plan = overview_of(access.rotation_of(cast.enrolment))
    assert "1 lesson done" in text
    assert "2 of 24 keys" in text
    assert f"{plan.next.day:%A %-d %B}" in text
    assert "A♭ major and G♯ minor" in text
    assert "<form" not in text.split("<main")[1]


def test_before_there_is_a_plan_the_pupil_is_told_who_begins_one(cast):
    text = as_person(cast.pupil).get("/keys/").content.decode()
    assert "There is no plan of keys yet. Ottilie Brandt can begin one." in text
