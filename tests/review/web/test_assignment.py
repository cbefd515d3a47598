"""The page of a drill that was set: its notes, its goal, and what the returned clip showed."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from studio.notation import Request, generate
from studio.review.marks.drill_results import Note
from studio.review.returning.services import return_clip
from studio.review.waiting.submissions import begin_review
from tests.cast import as_person, make_drill, set_for
from tests.review.heard_clip import heard_clip, listen_again, measurement, review_of

SCORE = generate(
    Request(key="C major", interval="octaves", direction="up", manner="together", start=1)
)


@pytest.fixture
def assignment(cast):
    drill = make_drill(cast.teacher, cast.studio, score=SCORE.to_dict())
    return set_for(cast.enrolment, drill, share_percent=40, goal="Still")


@pytest.fixture
def answered(cast, assignment):
    """C4 twice (last 30 cents wide), D4 (2 wide), E4 (35 narrow), as tests.review.heard_clip."""
    clip = heard_clip(cast.enrolment)
    begin_review(clip, assignment)
    return clip


def page(who, assignment):
    return as_person(who).get(f"/assignments/{assignment.pk}/")


def give_back(cast, clip):
    return return_clip(review_of(clip), cast.teacher, "Steadier.")


@pytest.mark.parametrize("part", ["pupil", "guardian", "teacher", "colleague"])
def test_every_written_note_is_there_and_named(cast, assignment, part):
    text = page(cast.people()[part], assignment).content.decode()
    for item in SCORE.written:
        assert text.count(f'data-ref="{item.id}"') == 2
    assert "Bar 2: D4 and D5 together, perfect octave" in text
    assert "Still; 40 % of the notes in tune" in text


@pytest.mark.parametrize("part", ["other_pupil", "unlinked_guardian", "foreign_teacher"])
def test_nobody_else_sees_it(cast, assignment, part):
    assert page(cast.people()[part], assignment).status_code == 404


def test_what_is_not_published_is_seen_by_teachers_alone(cast):
    drill = make_drill(cast.teacher, cast.studio, score=SCORE.to_dict())
    hidden = set_for(cast.enrolment, drill, published=False)
    assert page(cast.pupil, hidden).status_code == 404
    assert page(cast.teacher, hidden).status_code == 200


def test_the_pupil_sees_nothing_of_a_clip_before_its_return(cast, assignment, answered):
    assert page(cast.pupil, assignment).context["shown"] is None
    shown = page(cast.teacher, assignment).context["shown"]
    assert [note.playings for note in shown.notes] == [2, 1, 1, 0, 0, 0, 0, 0]


def test_after_the_return_each_note_has_its_last_and_best_figure(cast, assignment, answered):
    give_back(cast, answered)
    answer = page(cast.pupil, assignment)
    text = answer.content.decode()
    for figure in ("+30", "+2", "−35"):
        assert text.count(f">{figure}<") == 2, figure
    assert "; last 30 ± 1 cents wide" in text
    shown = answer.context["shown"]
    assert (shown.reached, shown.left_out) == (1, 5)
    assert not answer.context["reached"]
    assert answer.context["needed"] == 4
    assert "The goal is 4." in text


def test_the_returned_clip_leads_to_the_page_it_was_heard_against(cast, assignment, answered):
    give_back(cast, answered)
    text = as_person(cast.pupil).get(f"/clips/{answered.pk}/").content.decode()
    assert f'href="/assignments/{assignment.pk}/"' in text


def test_what_was_returned_stays_whatever_is_heard_later(cast, assignment, answered):
    give_back(cast, answered)
    before = page(cast.pupil, assignment).context["shown"]
    listen_again(answered, measurement(played=(("C4", 4.0, (-50.0,)),)))
    assert page(cast.pupil, assignment).context["shown"] == before
    assert page(cast.teacher, assignment).context["shown"] != before


def test_a_goal_is_reached_with_its_own_tolerance_and_playings(cast):
    drill = make_drill(
        cast.teacher, cast.studio, score=SCORE.with_written(SCORE.written[:3]).to_dict()
    )
    goal = {"tolerance_cents": 40, "share_percent": 100}
    reached = []
    for playings in (1, 2):
        assignment = set_for(cast.enrolment, drill, playings=playings, **goal)
        clip = heard_clip(cast.enrolment)
        begin_review(clip, assignment)
        give_back(cast, clip)
        reached.append(page(cast.pupil, assignment).context["reached"])
    assert reached == [True, False]


def test_a_drill_in_words_has_a_page_of_words(cast):
    assignment = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    text = page(cast.pupil, assignment).content.decode()
    assert "Hold each one." in text
    assert "drill-sheet>" not in text


@pytest.mark.parametrize(
    ("last", "best", "voices", "words", "figure"),
    [
        (18.2, 18.2, 2, "last 18 ± 1 cents wide", "+18"),
        (-18.2, 4.4, 2, "last 18 ± 1 cents narrow, best 4 cents wide", "−18 (+4)"),
        (0.2, 0.2, 2, "last 0 ± 1 cents off", "0"),
        (-7.0, -1.0, 1, "last 7 ± 1 cents flat, best 1 cent flat", "−7 (−1)"),
        (None, None, 2, "left out", None),
    ],
)
def test_figures_in_words(last, best, voices, words, figure):
    state = "missed" if last is None else "played"
    note = Note("n1", 1, "C4", voices, state, 1, last, best, 0.4, False)
    assert note.in_words == words
    assert (note.figure.text if note.figure else None) == figure


@pytest.mark.parametrize(
    ("goal", "words"),
    [
        ({}, ""),
        ({"share_percent": 90}, "90 % of the notes in tune"),
        ({"tolerance_cents": 1}, "every note within 1 cent"),
        (
            {"share_percent": 80, "tolerance_cents": 10, "playings": 3},
            "80 % of the notes within 10 cents, each played 3 times",
        ),
    ],
)
def test_goals_in_words(cast, goal, words):
    assert set_for(
        cast.enrolment, make_drill(cast.teacher, cast.studio), **goal
    ).goal_in_figures == (words)


def test_goals_are_set_from_the_shelf_and_from_the_pupil_s_page(cast):
    drill = make_drill(cast.teacher, cast.studio)
    client = as_person(cast.teacher)
    goal = {"share_percent": "90", "tolerance_cents": "10", "playings": "3"}
    client.post(f"/drills/{drill.pk}/set/", goal | {"pupil": cast.other_enrolment.pk})
    client.post(f"/pupils/{cast.enrolment.pk}/drills/", goal | {"drill": drill.pk})
    for assignment in (cast.enrolment.assignments.get(), cast.other_enrolment.assignments.get()):
        assert (
            assignment.share_percent,
            assignment.tolerance_cents,
            assignment.playings,
        ) == (90, 10, 3)
        assert assignment.published_at
    refused = client.post(f"/drills/{drill.pk}/set/", {"pupil": cast.foreign_enrolment.pk})
    assert refused.status_code == 422


def test_the_queue_shows_the_beginning_of_each_page_without_loading_the_scores(cast, assignment):
    with CaptureQueriesContext(connection) as seen:
        text = as_person(cast.pupil).get("/queue/").content.decode()
    assert text.count('class="engraved"') == 1
    assert f'href="/assignments/{assignment.pk}/"' in text
    asked = [query["sql"] for query in seen if "drills_drillversion" in query["sql"]]
    assert asked
    assert not any('"drills_drillversion"."score"' in sql for sql in asked)
