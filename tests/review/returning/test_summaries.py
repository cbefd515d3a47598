"""The proposed summary: three sentences at most, the good one first, each true by the figures."""

from hypothesis import given
from hypothesis import strategies as st

from studio.review.marks import decisions
from studio.review.marks.judging import judged
from studio.review.returning import services
from studio.review.returning.summaries import Facts, Kept, Run, propose
from tests.cast import as_person, make_drill
from tests.review.heard_clip import heard_clip, review_of


def run(first: float, last: float, verdict: str, doubt: float = 1.0) -> Run:
    change = abs(last) - abs(first)
    return Run("octave C4–C5", verdict, change, doubt)


def test_what_came_closer_is_said_first_with_its_uncertainty():
    facts = Facts(runs=(run(40, 4, "in_tune"), run(-35, -35, "out")), kept=(Kept("Narrow.", 1),))
    assert propose(facts) == [
        "The octave C4–C5 came closer by 36 ± 1 cents, and ended in tune.",
        "Narrow.",
    ]


def test_a_change_within_twice_its_uncertainty_is_none():
    facts = Facts(runs=(run(12, 4, "in_tune", doubt=4.0), run(3, 3, "in_tune"), run(1, 1, "near")))
    assert propose(facts) == ["All 3 double stops ended in tune."]


def test_nothing_good_is_invented():
    facts = Facts(runs=(run(40, 40, "out"), run(30, 30, "out"), run(2, 2, "in_tune")))
    assert propose(facts) == []
    assert propose(Facts(kept=(Kept("Too wide.", 1),))) == ["Too wide."]


def test_marks_of_one_kind_and_direction_are_said_together():
    kept = (
        Kept("First.", 2, "octaves", 22.0),
        Kept("Second.", 1, "octaves", 31.0),
        Kept("Third.", 3, "octaves", -25.0),
    )
    assert propose(Facts(kept=kept)) == ["2 octaves were wide, by 22 to 31 cents.", "Third."]


def test_a_goal_that_was_reached_and_the_next_drill_frame_the_rest():
    kept = tuple(Kept(f"Mark {n}.", n) for n in range(5))
    said = propose(Facts(kept=kept, drills=("“Slow sixths”",), goal="The goal is reached."))
    assert said == ["The goal is reached.", "Mark 0.", "Next: “Slow sixths”."]


cents = st.floats(-60, 60)
verdicts = st.sampled_from(["in_tune", "near", "out", "unsure"])
runs = st.builds(run, cents, cents, verdicts, st.floats(0.1, 20))
marks = st.builds(
    Kept, st.just("words"), st.integers(0, 9), st.sampled_from(["", "octaves"]), cents
)


@given(st.lists(runs, max_size=8), st.lists(marks, max_size=8), st.booleans())
def test_there_are_never_more_than_three(runs, marks, drill):
    said = propose(Facts(tuple(runs), tuple(marks), ("“D”",) if drill else ()))
    assert len(said) <= 3
    assert all(said)


def test_the_desk_proposes_and_loses_nothing_that_was_written(cast):
    clip = heard_clip(cast.enrolment)
    review, found = review_of(clip), judged(review_of(clip))
    for mark in found.marks:
        decisions.decide(review, found.listening, mark, "kept", cast.teacher)
    drill = make_drill(cast.teacher, cast.studio, "Slow octaves")
    services.set_drill_with_clip(review, drill.newest(), cast.teacher, None, "")
    client, address = as_person(cast.teacher), f"/clips/{clip.pk}/summary/proposal/"
    part = client.post(address, {}, headers={"X-Desk": "parts"}).content.decode()
    assert found.marks[0].sentence.split(":")[0][:12] in part
    assert "Next: “Slow octaves”." in part
    page = client.post(address, {"summary": "My own words."})
    assert page.context["summary_form"]["summary"].value() == "My own words."
    assert "Next: “Slow octaves”." in page.content.decode()
    review.refresh_from_db()
    assert review.summary == "", "proposing keeps nothing"
