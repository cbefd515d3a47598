"""The desk's page: the ledger, what it says of a clip that is not heard, and who may see it."""

import re

import pytest
from django.urls import reverse

from studio.clips.models import Stage
from studio.drills import services as drills
from studio.notation import Request, generate
from studio.review.comments import CommentText, add_comment
from studio.review.marks.judging import judged
from studio.review.models import Review
from studio.review.waiting.submissions import begin_review, open_review
from studio.review.web.desk import words
from studio.review.web.desk.blocks import HEIGHT, LIMIT_CENTS, MIDDLE, lift, y_of
from studio.review.web.desk.ledger import blocks_of
from tests.cast import as_person, make_clip, set_for
from tests.review.heard_clip import heard_clip, listen_again, measurement, review_of


@pytest.fixture
def clip(cast):
    return heard_clip(cast.enrolment)


@pytest.fixture
def page(cast, clip):
    def get() -> str:
        return as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()

    return get


def ledger_of(clip) -> list:
    review = review_of(clip)
    return blocks_of(judged(review), review.comments.all())


def test_runs_stand_in_the_order_played_with_their_last_deviation(clip):
    runs = [block for block in ledger_of(clip) if block.kind == "run"]
    assert [block.name for block in runs] == ["octave C4–C5", "octave D4–D5", "octave E4–E5"]
    assert [block.last.deviation for block in runs] == ["+30", "+2", "−35"]
    assert [block.last.plus_minus for block in runs] == ["±1 c"] * 3
    assert [len(block.rows) for block in runs] == [2, 1, 1]


def test_the_run_that_came_closer_says_so_and_holds_its_mark(clip):
    first, second, third = (block for block in ledger_of(clip) if block.kind == "run")
    assert first.trend == "closer by 10 ±1 c"
    assert [len(block.marks) for block in (first, second, third)] == [1, 0, 1]
    assert (first.weight, second.weight) == ("marked", "")


def test_broken_notes_are_folded_into_the_run_they_belong_to(clip):
    first = next(block for block in ledger_of(clip) if block.kind == "run")
    assert [row.name for row in first.singles] == ["C4", "C5"]
    assert not [block for block in ledger_of(clip) if block.kind == "singles"]


def test_a_note_that_moved_is_said_once_by_the_mark_or_else_beside_the_run(cast):
    stored = measurement()
    lower = stored["events"][6]["voices"][0]
    lower["f0_hz"] *= 2 ** (-12 / 1200)  # D4, 12 cents lower together than alone
    clip = make_clip(cast.enrolment, has_audio=True)
    listen_again(clip, stored)
    first, second, _ = (block for block in ledger_of(clip) if block.kind == "run")
    assert [mark.params["because"] for mark in first.marks] == ["slipped"]
    assert first.said == []
    assert second.marks == []
    assert second.said == ["The lower note went 12 ± 1 cents lower when the other note came to it."]
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()
    assert f'<p class="aside">{second.said[0]}</p>' in page


def test_what_the_bow_did_is_shown_where_it_was_and_marked_only_where_the_drill_holds_both(cast):
    stored = measurement()
    event = stored["events"][6]
    at = event["start_s"] + 0.4
    event["voices"][1]["dropouts"] = [[at, at + 0.4]]
    clip = make_clip(cast.enrolment, has_audio=True)
    listen_again(clip, stored)
    second = [block for block in ledger_of(clip) if block.kind == "run"][1]
    assert second.said == ["The upper note fell silent at 0:12 for 0.4 s."]
    assert second.marks == []
    score = generate(
        Request(key="C major", interval="octaves", direction="up", manner="together", start=1)
    )
    drill = drills.add_drill(
        cast.studio, cast.teacher, title="C major", words="Slowly", score=score.to_dict()
    )
    clip = make_clip(cast.enrolment, has_audio=True)
    begin_review(clip, set_for(cast.enrolment, drill))
    listen_again(clip, stored)
    second = [block for block in ledger_of(clip) if block.kind == "run"][1]
    assert [mark.code for mark in second.marks] == ["voice_dropout"]
    assert second.said == []
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()
    assert "Keep the bow on both strings." in page


def test_a_comment_stands_with_what_sounded_then(cast, clip):
    review = review_of(clip)
    for at in (4.5, 0.3, 30.0):
        add_comment(review, cast.teacher, CommentText("bow", f"at {at}", at))
    held = {block.name or block.kind: len(block.comments) for block in ledger_of(clip)}
    assert held == {"whole": 1, "octave C4–C5": 1, "octave D4–D5": 0, "octave E4–E5": 1}


def test_what_is_unsure_is_said_with_its_reason(cast):
    stored = measurement()
    for interval in stored["events"][2]["intervals"] + stored["events"][3]["intervals"]:
        interval["unsure_reason"] = "too_short"
    clip = make_clip(cast.enrolment, has_audio=True)
    listen_again(clip, stored)
    first = next(block for block in ledger_of(clip) if block.kind == "run")
    assert first.last.verdict == "unsure"
    assert first.last.reason == words.UNSURE_REASONS["too_short"]
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()
    assert f"<b>Unsure.</b> {words.UNSURE_REASONS['too_short']}" in page


def test_the_page_shows_names_figures_and_sentences(page):
    html = page()
    assert "octave C4–C5" in html
    assert "<b>+30</b> <small>±1 c</small>" in html
    assert "30 ± 1 cents wide" in html
    assert "4 double stops, 2 marks: <b>2 to decide</b>" in html


def test_marks_stand_in_time_and_carry_their_rank_by_importance(page):
    # 30 and 35 of 15 cents: the second one is the more important.
    assert re.findall(r'data-mark="(\d)"|data-rank="(\d)"', page()) == [
        ("0", ""),
        ("", "2"),
        ("1", ""),
        ("", "1"),
    ]


def test_no_style_or_script_stands_in_the_page_itself(page):
    html = page()
    assert "style=" not in html
    assert "<style" not in html
    assert all(" src=" in tag for tag in re.findall(r"<script[^>]*>", html))


def test_opening_the_page_opens_the_review_once(cast, clip, page):
    page()
    opened = review_of(clip)
    assert opened.state == Review.State.OPEN
    open_review(opened)
    page()
    assert review_of(clip).opened_at == opened.opened_at


@pytest.mark.parametrize(
    ("state", "said"),
    [
        (Stage.State.WORKING, "What is heard appears here by itself"),
        (Stage.State.WAITING, "What is heard appears here by itself"),
        (Stage.State.FAILED, "The recording is kept"),
    ],
)
def test_a_clip_that_is_not_heard_says_where_it_is(cast, state, said):
    clip = make_clip(cast.enrolment, has_audio=True)
    Stage.objects.filter(clip=clip, kind="listening").update(state=state, failure_code="unexpected")
    html = as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()
    assert said in html
    assert "Add comment" in html


def test_a_clip_without_sound_or_without_notes_says_so(cast):
    silent = make_clip(cast.enrolment, has_audio=False)
    empty = make_clip(cast.enrolment, has_audio=True)
    listen_again(empty, measurement() | {"events": []})
    client = as_person(cast.teacher)
    assert "no sound to listen to" in client.get(f"/clips/{silent.pk}/").content.decode()
    assert "No notes were heard" in client.get(f"/clips/{empty.pk}/").content.decode()


def test_the_place_among_waiting_clips_leads_on(cast, clip):
    second = make_clip(cast.other_enrolment)
    make_clip(cast.foreign_enrolment)
    html = as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()
    assert "1 of 2" in html
    assert re.search(rf'href="/clips/{second.pk}/"\s+data-go="next-clip"', html)
    assert 'data-go="previous-clip"' not in html


def test_progress_tells_both_stages(cast, clip):
    Stage.objects.filter(clip=clip, kind="playback").update(state="working", progress=0.25)
    answer = as_person(cast.teacher).get(reverse("desk_progress", args=[clip.pk])).json()
    assert answer["listening"]["done"] is True
    assert answer["playback"] | {"words": ""} == {
        "words": "",
        "percent": 25,
        "done": False,
        "moving": True,
    }


@pytest.mark.parametrize("who", ["pupil", "guardian", "other_pupil", "foreign_teacher"])
@pytest.mark.parametrize("name", ["desk_picture", "desk_progress", "desk_preview"])
def test_nobody_but_a_teacher_of_the_studio_reaches_the_desk(cast, clip, who, name):
    assert as_person(getattr(cast, who)).get(reverse(name, args=[clip.pk])).status_code == 404


def test_pages_cost_the_same_number_of_queries_however_long_the_ledger(
    cast, clip, django_assert_num_queries, django_assert_max_num_queries
):
    client = as_person(cast.teacher)
    add_comment(review_of(clip), cast.teacher, CommentText("bow", "Less", 3.0))
    client.get(f"/clips/{clip.pk}/")
    with django_assert_max_num_queries(40) as first:
        client.get(f"/clips/{clip.pk}/")
    for n in range(6):
        add_comment(review_of(clip), cast.teacher, CommentText("bow", "More", 4.0 + n))
    with django_assert_num_queries(len(first)):
        client.get(f"/clips/{clip.pk}/")


def test_the_lift_is_up_for_wide_and_stays_at_the_edge_beyond_its_limit():
    top, bottom = y_of(15.0), y_of(-15.0)
    assert 0 < y_of(30.0) < top < MIDDLE < bottom < y_of(-80.0) < HEIGHT
    assert y_of(-80.0) == y_of(-LIMIT_CENTS)
    drawn = lift([(30.0, 1.0, False), (-80.0, None, True)], 15.0)
    assert drawn.hairs == f"M0 {top:g}h40M0 {bottom:g}h40"
    assert drawn.earlier == f"M3.5 {y_of(30.0):g}h13"
    assert (drawn.last, drawn.unsure) == (f"M23.5 {y_of(-80.0):g}h13", True)
    assert drawn.give == f"M10 {y_of(32.0):g}V{y_of(28.0):g}"


def test_the_last_playings_of_all_runs_stand_in_one_column():
    one, many = lift([(1.0, 0.5, False)], 15.0), lift([(1.0, 0.5, False)] * 12, 15.0)
    assert (one.width, many.width) == ("40", "160")
    from_right = [int(d.width) - float(d.last[1:].split()[0]) for d in (one, many)]
    assert from_right[0] == from_right[1]
    assert one.way == ""


def test_notes_below_the_instrument_are_said(cast, clip, page):
    assert "lowest string" not in page()
    below = {"notes": 7, "share": 0.4, "lowest_hz": 131.0}
    listen_again(clip, {**measurement(), "below_range": below})
    said = "7 notes heard lie below a violin&#39;s lowest string (G3), down to 131 Hz"
    assert said in page().replace("&#x27;", "&#39;")


def test_where_an_interval_ended_is_said_when_it_was_elsewhere(clip):
    heard = measurement()
    event = next(event for event in heard["events"] if event["kind"] == "double_stop")
    event["intervals"][0]["end_size_cents"] = 1212.0
    listen_again(clip, heard)
    first = next(block for block in ledger_of(clip) if block.kind == "run")
    assert [row.also for row in first.rows] == [("it ended at +12 c",), ()]
