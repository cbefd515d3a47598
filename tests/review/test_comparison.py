"""A clip against an earlier one: what is paired, what is called a change, and who may look."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from studio.accounts.models import Consent
from studio.clips.models import Clip, Listening, Stage
from studio.notation import Request, generate
from studio.review.comparison import Sounded, change, counted, landing, pairs
from studio.review.models import Review
from studio.review.waiting.submissions import begin_review
from tests.cast import as_person, enrol, make_drill, set_for
from tests.review.heard_clip import PLAYED, heard_clip, listen_again, measurement

SCORE = generate(
    Request(key="C major", interval="octaves", direction="up", manner="together", start=1)
)
SWAPPED = {"closer": "further", "further": "closer", "only_then": "only_now"}
SWAPPED |= {now: then for then, now in SWAPPED.items()}


def played(name: str, cents: float | None = 0.0, doubt: float | None = 1.0, ref="", at=0.0):
    return Sounded(name, at, at + 1.0, cents, doubt, ref)


# -- the rule ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("then", "now", "way", "by"),
    [
        ((-30.0, 3.0), (8.0, 4.0), "closer", 22.0),
        ((8.0, 4.0), (-30.0, 3.0), "further", 22.0),
        ((12.0, 1.0), (-12.0, 1.0), "same", 0.0),
        ((12.0, 3.0), (2.0, 4.0), "same", 10.0),  # exactly twice the uncertainty is not beyond it
        ((12.1, 3.0), (2.0, 4.0), "closer", 10.1),
        ((2.4, 0.05), (2.0, 0.05), "same", 0.4),  # less than the figures show
        ((None, 1.0), (2.0, 1.0), "unsure", 0.0),
        ((2.0, 1.0), (None, None), "unsure", 0.0),
    ],
)
def test_a_change_is_of_the_size_and_said_beyond_twice_its_uncertainty(then, now, way, by):
    found = change(played("a", *then), played("a", *now))
    assert (found.way, found.cents) == (way, pytest.approx(by))


NOTES = st.lists(
    st.builds(
        played,
        st.sampled_from(["sixth C4–A4", "octave C4–C5", "third C4–E4"]),
        st.none() | st.floats(-60, 60),
        st.floats(0.01, 20),
        st.sampled_from(["", "n1", "n2"]),
    ),
    max_size=12,
)


@given(NOTES, st.booleans())
def test_a_clip_against_itself_is_the_same_throughout(notes, by_ref):
    found = pairs(notes, notes, by_ref=by_ref)
    assert [pair.now for pair in found] == notes
    assert {pair.change.way for pair in found} <= {"same", "unsure"}


@given(NOTES, NOTES, st.booleans())
def test_to_swap_then_and_now_swaps_closer_and_further(then, now, by_ref):
    there, back = (pairs(*both, by_ref=by_ref) for both in ((then, now), (now, then)))
    counts = counted(there)
    assert {SWAPPED.get(way, way): many for way, many in counts.items()} == counted(back)
    assert sum(counts.values()) == len(there)


# -- pairs ---------------------------------------------------------------------------------------


def test_a_written_note_is_paired_with_itself_though_another_was_left_out():
    up, down = played("a", 20.0, ref="n1"), played("a", 5.0, ref="n7")
    (one, two) = pairs([up, down], [played("a", 4.0, ref="n7")], by_ref=True)
    assert (one.then, one.change.way) == (down, "same")
    assert (two.then, two.change.way) == (up, "only_then")


def test_a_written_note_heard_as_one_note_is_unsure_and_not_missing():
    alone = played("C4", None, None, ref="n1")
    (only,) = pairs([alone], [played("octave C4–C5", 4.0, ref="n1")], by_ref=True)
    assert (only.name, only.change.way) == ("octave C4–C5", "unsure")


def test_without_a_page_the_second_time_is_paired_with_the_second_time():
    then = [played("a", 20.0), played("b", 1.0), played("a", 5.0)]
    found = pairs(then, [played("a", 2.0), played("a", 30.0), played("c")], by_ref=False)
    assert [(pair.name, pair.change.way) for pair in found] == [
        ("a", "closer"),
        ("a", "further"),
        ("c", "only_now"),
        ("b", "only_then"),
    ]


def test_it_begins_with_the_row_that_is_meant_or_the_nearest_that_has_a_partner():
    def now(name, at, event):
        return Sounded(name, at, at + 1.0, 0.0, 1.0, events=(event,))

    notes = [now("a", 1.0, 1), now("b", 3.0, 2), now("c", 6.0, 3), now("d", 9.0, 4)]
    found = pairs([played("a"), played("d"), played("e")], notes, by_ref=False)

    def landed(*asked):
        pair = landing(found, *asked)
        return pair and pair.name

    assert landed(4) == "d"
    assert (landed(2), landed(3)) == ("a", "d")  # neither was played then
    assert (landed(99, 7.0), landed(None, 2.0), landed()) == ("d", "a", "a")
    assert landing(pairs([], notes, by_ref=False), 2) is None


# -- the page ------------------------------------------------------------------------------------


def earlier_by(days: int, clip: Clip) -> Clip:
    Clip.objects.filter(pk=clip.pk).update(created_at=timezone.now() - timedelta(days=days))
    return clip


def heard(enrolment, title: str, days: int, changes: dict | None = None, answers=None) -> Clip:
    """A clip as ``tests.review.heard_clip``, some of its double stops played otherwise."""
    clip = earlier_by(days, heard_clip(enrolment, title))
    stops = [(low, at, (changes or {}).get(low, cents)) for low, at, cents in PLAYED]
    listen_again(clip, measurement([stop for stop in stops if stop[2]]))
    begin_review(clip, answers)
    return clip


@pytest.fixture
def two(cast, db):
    """An earlier and a present clip for the same drill."""
    drill = make_drill(cast.teacher, cast.studio, score=SCORE.to_dict())
    answers = set_for(cast.enrolment, drill)
    changes = {"D4": (20.0,), "E4": ()}
    return (
        heard(cast.enrolment, "Before", 7, changes, answers),
        heard(cast.enrolment, "Present", 0, None, answers),
    )


def page(who, clip: Clip, **asked):
    return as_person(who).get(f"/clips/{clip.pk}/compare/", asked)


def test_the_page_says_of_each_double_stop_how_it_changed(cast, two):
    before, present = two
    seen = page(cast.teacher, present)
    rows = [
        (line.name, line.then and line.then.text, line.now.text, line.said)
        for line in seen.context["lines"]
    ]
    assert rows == [
        ("octave C4–C5", "+30 ±1 c", "+30 ±1 c", "the same within what can be told"),
        ("octave D4–D5", "+20 ±1 c", "+2 ±1 c", "closer by 18 ±1 c"),
        ("octave E4–E5", None, "−35 ±1 c", "only now"),
    ]
    html = seen.content.decode()
    told = " ".join(re.sub("<[^>]*>", " ", html).split())
    assert (
        "2 double stops in both clips: 1 closer, 0 further off, "
        "1 the same within what can be told, 0 unsure. 0 only then, 1 only now." in told
    )
    assert "Both clips are judged as this one is. Just intonation, in tune within 15 c" in told
    assert f'href="/clips/{before.pk}/#' in html
    assert f'src="{reverse("clip_media", args=[before.pk])}"' in html


@pytest.mark.parametrize(("older", "which"), [(0, "The earlier clip"), (1, "This clip")])
def test_no_change_is_said_of_two_generations_of_engines(cast, two, settings, older, which):
    Listening.objects.filter(clip=two[older]).update(engine="0.9.1")
    settings.HEAR_ANEW = False
    seen = page(cast.teacher, two[1])
    said = [line.said for line in seen.context["lines"]]
    assert said == ["not compared", "not compared", "only now"]
    told = seen.content.decode()
    assert f"{which} was heard by an earlier version of the program" in told
    assert "so no change is said" in told
    assert "closer," not in told
    Stage.objects.create(clip=two[older], kind=Stage.Kind.REHEARING)
    assert "It will be heard again by itself" in page(cast.teacher, two[1]).content.decode()


def test_engines_of_one_generation_are_compared(cast, two):
    Listening.objects.filter(clip=two[0]).update(engine="1.10.3")
    said = [line.said for line in page(cast.teacher, two[1]).context["lines"]]
    assert "closer by 18 ±1 c" in said


def test_the_clip_meant_is_the_newest_of_the_same_drill_and_others_can_be_chosen(cast, two):
    before, present = two
    other = heard(cast.enrolment, "Last night", 1)  # newer, but for no drill
    heard(cast.enrolment, "Another day", 2, {"C4": (), "D4": (), "E4": ()})  # no double stop
    heard(cast.other_enrolment, "Somebody else", 1)
    seen = page(cast.teacher, present).context
    assert seen["other"].clip == before
    assert [review.clip for review in seen["offered"].same_drill] == [before]
    assert [review.clip for review in seen["offered"].others] == [other]
    chosen = page(cast.teacher, present, **{"with": other.pk}).context
    assert chosen["other"].clip == other
    assert not chosen["by_ref"]
    assert chosen["counts"]["same"] == 3


def test_both_are_judged_by_the_present_clips_tuning_and_tolerance(cast, two):
    before, present = two
    Review.objects.filter(clip=before).update(tolerance_cents={"perfect": 50, "other": 50})
    Review.objects.filter(clip=present).update(tolerance_cents={"perfect": 7, "other": 9})
    told = page(cast.teacher, present).content.decode()
    assert "in tune within 7 c, chosen for this clip" in told


def test_a_row_of_the_ledger_leads_to_its_own_row_here(cast, two):
    lines = page(cast.teacher, two[1], note="6").context["lines"]  # D4 and D5 together
    assert [line.name for line in lines if line.chosen] == ["octave D4–D5"]
    plain = page(cast.teacher, two[1], note="²")
    assert [line.name for line in plain.context["lines"] if line.chosen] == ["octave C4–C5"]
    assert "data-meant" not in plain.content.decode()


def test_what_was_not_played_then_leads_to_the_nearest_that_was_and_says_so(cast, two):
    seen = page(cast.teacher, two[1], note="9")  # E4 and E5 together, left out then
    assert [line.name for line in seen.context["lines"] if line.chosen] == ["octave D4–D5"]
    said = "The octave E4–E5 was not played then. The nearest in both: octave D4–D5."
    assert said in seen.content.decode()
    seen = page(cast.teacher, two[1], note="999")
    assert "There is no double stop there. The nearest in both: octave" in seen.content.decode()
    seen = page(cast.teacher, two[1], at="4.5")
    assert seen.context["landed"] == ""
    assert [line.name for line in seen.context["lines"] if line.chosen] == ["octave C4–C5"]
    assert '<input type="hidden" name="at" value="4.5' in seen.content.decode()
    for wrong in ("soon", "-3", "1e9", "nan"):
        assert page(cast.teacher, two[1], at=wrong).status_code == 200


def test_no_clip_of_anybody_else_or_out_of_reach_can_be_set_against_it(cast, two):
    before, present = two
    elsewhere = enrol(cast.pupil, cast.other_studio, cast.foreign_teacher)
    later = earlier_by(-1, heard_clip(cast.enrolment, "Later"))
    refused = [
        heard(cast.other_enrolment, "Another pupil", 3).pk,
        heard(elsewhere, "The same pupil in another studio", 3).pk,
        later.pk,
        present.pk,
        uuid4(),
        "nonsense",
    ]
    for asked in refused:
        assert page(cast.teacher, present, **{"with": asked}).status_code == 404
    Clip.objects.filter(pk=before.pk).update(erased_at=timezone.now())
    assert page(cast.teacher, present, **{"with": before.pk}).status_code == 404
    assert page(cast.foreign_teacher, present).status_code == 404
    assert page(cast.pupil, present).status_code == 404
    Consent.objects.all().delete()
    assert page(cast.teacher, present).status_code == 403


def test_where_there_is_nothing_earlier_the_page_says_so_and_the_desk_offers_nothing(cast, two):
    before, present = two
    assert "There is no earlier clip of" in page(cast.teacher, before).content.decode()
    desk = as_person(cast.teacher).get(f"/clips/{before.pk}/").content.decode()
    assert 'data-go="compare"' not in desk
    assert "has-earlier" not in desk
    desk = as_person(cast.teacher).get(f"/clips/{present.pk}/").content.decode()
    assert 'data-go="compare"' in desk
    assert 'href="compare/?note=2"' in desk


def test_the_number_of_queries_does_not_grow_with_clips_or_notes(cast, two):
    def asked() -> int:
        page(cast.teacher, two[1])  # what was heard is judged, and kept
        with CaptureQueriesContext(connection) as seen:
            page(cast.teacher, two[1])
        return len(seen)

    heard(cast.enrolment, "One more", 9)
    few = asked()
    for days in range(10, 15):
        heard(cast.enrolment, f"{days} days ago", days)
    assert asked() == few


# -- two playings of one run ---------------------------------------------------------------------


def two_playings(who, clip: Clip, event: int, parts=True, **asked):
    headers = {"X-Desk": "parts"} if parts else {}
    return as_person(who).get(f"/clips/{clip.pk}/playings/{event}/", asked, headers=headers)


def test_the_first_and_the_last_playing_of_a_run_unless_others_are_chosen(cast, two):
    clip = heard(cast.enrolment, "Again and again", 0, {"C4": (40.0, 30.0, 34.0, 5.0)})
    told = two_playings(cast.teacher, clip, 2).content.decode()
    assert "+40 ±1 c, then +5 ±1 c: <b>closer by 35 ±1 c</b>" in told
    assert 'data-spans="4.000 5.200 8.500 9.700"' in told
    told = two_playings(cast.teacher, clip, 2, first="3", last="4").content.decode()
    assert "+30 ±1 c, then +34 ±1 c: <b>further off by 4 ±1 c</b>" in told
    whole = two_playings(cast.teacher, clip, 2, parts=False).content.decode()
    assert "Two playings of octave C4–C5" in whole
    assert f'{reverse("clip_media", args=[clip.pk])}#t=8.500,9.700"' in whole


def test_only_a_run_with_several_playings_has_two_and_only_for_its_teachers(cast, two):
    clip = two[1]
    assert two_playings(cast.colleague, clip, 2).status_code == 200
    for event in (0, 3, 6, 99):
        assert two_playings(cast.teacher, clip, event).status_code == 404
    for part in ("pupil", "guardian", "foreign_teacher"):
        assert two_playings(cast.people()[part], clip, 2).status_code == 404
