"""Marks are proposals: decided by the kind, judged by another tolerance, edited, added by hand."""

import copy

import pytest

from studio.review import idempotency
from studio.review.changes import Conflict
from studio.review.marks import decisions, hand_marks, tolerances
from studio.review.marks.hand_marks import HandMarkText
from studio.review.marks.judging import judged
from studio.review.models import Decision, HandMark, Review
from studio.review.returning import services
from tests.cast import as_person
from tests.review.heard_clip import heard_clip, listen_again, measurement, review_of

# Four octaves: three wide by 30 c, one narrow by 35 c; the usual tolerance is 15 c.
PLAYED = (
    ("C4", 4.0, (30.0,)),
    ("D4", 12.0, (30.0,)),
    ("E4", 20.0, (-35.0,)),
    ("F4", 28.0, (30.0,)),
)
PARTS = {"X-Desk": "parts"}


@pytest.fixture
def clip(cast):
    made = heard_clip(cast.enrolment)
    listen_again(made, measurement(PLAYED))
    return made


@pytest.fixture
def desk(cast, clip):
    """Post to one of the clip's addresses as its teacher."""
    client = as_person(cast.teacher)

    def post(where: str, data: dict, **more):
        return client.post(f"/clips/{clip.pk}/{where}", data, **more)

    return post


def marks(clip) -> list:
    return judged(review_of(clip)).marks


def listening_of(clip) -> int:
    return judged(review_of(clip)).listening.pk


# -- all of a kind ---------------------------------------------------------------------------------


def test_all_of_one_kind_are_dropped_and_what_was_decided_before_stays(cast, clip, desk):
    found = judged(review_of(clip))
    wide = [mark for mark in found.marks if mark.code == "interval_wide"]
    decisions.decide(review_of(clip), found.listening, wide[0], "kept", cast.teacher)
    said = {"kind": wide[0].kind, "choice": "dropped", "listening": found.listening.pk}
    press = {**PARTS, "X-Act": "bulk"}
    answer = desk("marks/kind/", said, headers=press).content.decode()
    assert "2 dropped: wide octaves." in answer
    choices = {mark.start_s: mark.choice for mark in marks(clip)}
    assert list(choices.values()) == ["kept", "dropped", "", "dropped"]
    assert 'name="of" value="bulk"' in answer, "it can be taken back at once"
    desk("marks/undo/", {"of": "bulk"})
    assert [mark.choice for mark in marks(clip)] == ["kept", "", "", ""]


def test_what_is_decided_one_by_one_is_counted_among_its_kind(clip, desk):
    said = {"choice": "kept", "words": "", "listening": listening_of(clip)}
    answer = desk("marks/0/", said, headers=PARTS).content.decode()
    assert "3 marks, 2 to decide, 1 kept" in answer


def test_a_second_press_decides_nothing_more(cast, clip):
    review, kind = review_of(clip), "interval_wide:P8"
    decisions.decide_all(review, judged(review), kind, "kept", cast.teacher)
    decisions.decide_all(review, judged(review), kind, "dropped", cast.teacher)
    assert [d.choice for d in Decision.objects.all()] == ["kept"] * 3


def test_undoing_leaves_what_was_edited_since(cast, clip):
    review = review_of(clip)
    with idempotency.acting(cast.teacher, "bulk"):
        decisions.decide_all(review, judged(review), "interval_wide:P8", "kept", cast.teacher)
    first = judged(review).marks[0]
    seen, heard = first.decision.pk, judged(review).listening
    decisions.decide(review, heard, first, "kept", cast.teacher, "Mine.", seen=seen)
    assert len(decisions.undo_decision(review, cast.teacher, "bulk")) == 2
    assert [d.words for d in Decision.objects.all()] == ["Mine."]


# -- tolerance -------------------------------------------------------------------------------------


def test_another_tolerance_judges_the_stored_measurement_anew(clip, desk):
    assert len(marks(clip)) == 4
    seen = {"seen_perfect": "15", "seen_other": "18"}
    answer = desk("tolerance/", {"perfect": "32", "other": "18", **seen}, headers=PARTS)
    assert "Judged anew: 1 mark." in answer.content.decode()
    assert len(marks(clip)) == 1
    assert Review.objects.get(clip=clip).marks_found == 1
    page = desk(
        "tolerance/",
        {"perfect": "32", "other": "18", "usual": "1", "seen_perfect": "32", "seen_other": "18"},
        follow=True,
    )
    assert "as for growing" in page.content.decode()
    assert len(marks(clip)) == 4


def test_decisions_outlast_a_tolerance_that_marks_them_no_more(cast, clip, desk):
    review, found = review_of(clip), judged(review_of(clip))
    decisions.decide(review, found.listening, found.marks[0], "kept", cast.teacher, "Own words.")
    tolerances.choose(
        review, {"perfect": 32.0, "other": 18.0}, tolerances.in_force(review), by=cast.teacher
    )
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()
    assert "Own words." in page
    assert "as it is heard and judged now, this moment is not marked" in page
    frozen = services.return_clip(review_of(clip), cast.teacher, "").snapshot
    assert [moment["text"] for moment in frozen["moments"]] == ["Own words."]


def test_trying_a_tolerance_keeps_nothing(cast, clip):
    client = as_person(cast.teacher)
    address = f"/clips/{clip.pk}/tolerance.json?perfect=32&other=18"
    assert client.get(address).json() == {"marks": 1, "now": 4}
    assert Review.objects.get(clip=clip).tolerance_cents is None


@pytest.mark.parametrize("cents", ["1", "51", "many"])
def test_a_tolerance_out_of_bounds_is_refused(clip, desk, cents):
    assert desk("tolerance/", {"perfect": cents, "other": "18"}).status_code == 422
    assert Review.objects.get(clip=clip).tolerance_cents is None


def test_two_teachers_who_choose_a_tolerance_see_each_others(cast, clip, desk):
    review = review_of(clip)
    tolerances.choose(
        review, {"perfect": 9.0, "other": 12.0}, tolerances.in_force(review), by=cast.teacher
    )
    said = {"perfect": "25", "other": "18", "seen_perfect": "15", "seen_other": "18"}
    answer = desk("tolerance/", said, headers=PARTS)
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "9 c for octaves" in page
    assert 'value="25"' in page
    assert Review.objects.get(clip=clip).tolerance_cents == {"perfect": 9.0, "other": 12.0}


# -- span and words --------------------------------------------------------------------------------


def test_an_edited_span_is_what_is_shown_and_returned(cast, clip, desk):
    mark = marks(clip)[1]
    said = {"choice": "kept", "words": "Here.", "listening": listening_of(clip)}
    desk(f"marks/{mark.id}/", said | {"start_s": "0:12.5", "end_s": "12.9"})
    again = marks(clip)[1]
    assert again.shown == (12.5, 12.9)
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()
    assert 'data-start="12.500"' in page
    desk(
        f"marks/{mark.id}/",
        said | {"choice": "dropped", "start_s": "12.5", "end_s": "12.9", "seen": again.decision.pk},
    )
    assert marks(clip)[1].shown == (12.5, 12.9), "keep and drop leave the span"
    desk(
        f"marks/{mark.id}/",
        said | {"start_s": "12.5", "end_s": "12.9", "seen": marks(clip)[1].decision.pk},
    )
    frozen = services.return_clip(review_of(clip), cast.teacher, "").snapshot
    assert [(m["start_s"], m["end_s"]) for m in frozen["moments"]] == [(12.5, 12.9)]


@pytest.mark.parametrize(
    ("start", "end", "why"),
    [("1:10", "1:11", "after the end"), ("5", "5", "needs a length"), ("0", "1:02", "too long")],
)
def test_a_span_that_cannot_be_is_refused_and_the_words_are_kept(clip, desk, start, end, why):
    said = {"choice": "kept", "words": "Mine.", "listening": listening_of(clip)}
    answer = desk("marks/0/", said | {"start_s": start, "end_s": end}, headers=PARTS)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert why in page
    assert "Mine." in page
    assert not Decision.objects.exists()


# -- by hand ---------------------------------------------------------------------------------------


def test_a_mark_by_hand_is_added_once_edited_returned_and_outlasts_a_new_listening(
    cast, clip, desk
):
    said = {"words": "The thumb.", "start_s": "12.4", "end_s": "13", "form_key": "k"}
    for _ in range(2):
        assert "The thumb." in desk("marks/by-hand/", said, headers=PARTS).content.decode()
    mark = HandMark.objects.get()
    edited = {"words": "The thumb, softly.", "start_s": "12.5", "end_s": "13", "version": "1"}
    desk(f"marks/by-hand/{mark.pk}/", edited)
    listen_again(clip, measurement(PLAYED[:1]))
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/").content.decode()
    assert "The thumb, softly." in page
    frozen = services.return_clip(review_of(clip), cast.teacher, "").snapshot
    assert [(m["type"], m["text"]) for m in frozen["moments"]] == [("mark", "The thumb, softly.")]
    desk(f"marks/by-hand/{mark.pk}/delete/", {})
    assert HandMark.objects.exists(), "what was returned stays"


def test_two_who_edit_a_mark_by_hand_lose_nothing(cast, clip, desk):
    mark = hand_marks.add(review_of(clip), cast.teacher, HandMarkText("First.", 1.0, 2.0), "")
    hand_marks.edit(mark, HandMarkText("Theirs.", 1.0, 2.0), 1)
    said = {"words": "Mine.", "start_s": "1", "end_s": "2", "version": "1"}
    answer = desk(f"marks/by-hand/{mark.pk}/", said, headers=PARTS)
    assert answer.status_code == 409
    page = answer.content.decode()
    assert all(words in page for words in ("Theirs.", "Mine.", 'value="2"'))
    with pytest.raises(Conflict):
        hand_marks.edit(mark, HandMarkText("Mine.", 1.0, 2.0), 1)


def test_a_mark_by_hand_can_be_deleted(cast, clip, desk):
    mark = hand_marks.add(review_of(clip), cast.teacher, HandMarkText("Oh.", 1.0, 2.0), "")
    desk(f"marks/by-hand/{mark.pk}/delete/", {})
    assert not HandMark.objects.exists()


# -- a newer listening -----------------------------------------------------------------------------


def test_decisions_find_their_marks_in_a_newer_listening(cast, clip):
    """Everything is heard 80 ms later."""
    review, found = review_of(clip), judged(review_of(clip))
    decisions.decide(
        review, found.listening, found.marks[0], "kept", cast.teacher, "Mine.", span=(4.2, 4.9)
    )
    decisions.decide(review, found.listening, found.marks[2], "dropped", cast.teacher)
    newer = copy.deepcopy(found.measurement)
    for event in newer["events"]:
        event["start_s"] += 0.08
        event["end_s"] += 0.08
        for voice in event["voices"]:
            voice["start_s"] += 0.08
            voice["end_s"] += 0.08
    listen_again(clip, newer)
    again = judged(review_of(clip))
    assert [mark.choice for mark in again.marks] == ["kept", "", "dropped", ""]
    assert again.marks[0].words == "Mine."
    assert again.marks[0].shown == (4.2, 4.9)
    assert not again.unmatched


# -- the target ------------------------------------------------------------------------------------


def test_the_target_is_heard_at_the_pitch_played_and_only_in_the_own_studio(cast, clip):
    """An octave is 2 : 1; the note that the mark does not ask to move stays where it was."""
    found = judged(review_of(clip))
    mark = found.marks[0]
    address = f"/clips/{clip.pk}/desk/target/{mark.events[-1]}.json"
    answer = as_person(cast.teacher).get(address).json()
    low, high = (v["pitch"] for v in found.measurement["events"][mark.events[-1]]["voices"])
    assert answer["name"] == f"octave {low}–{high}"
    assert answer["hz"][1] / answer["hz"][0] == pytest.approx(2.0, abs=1e-4)
    heard = next(e for e in found.measurement["events"] if e["id"] == mark.events[-1])
    stays = [voice["f0_hz"] for voice in heard["voices"]]
    assert any(a == pytest.approx(b, abs=0.01) for a, b in zip(answer["hz"], stays, strict=True))
    for who in (cast.foreign_teacher, cast.pupil, cast.guardian):
        assert as_person(who).get(address).status_code == 404
    single = next(e["id"] for e in found.measurement["events"] if e["kind"] == "single")
    assert (
        as_person(cast.teacher).get(f"/clips/{clip.pk}/desk/target/{single}.json").status_code
        == 404
    )
