"""Who reads decides how it is said: the pupil is "you", a guardian reads of the child."""

import re
from datetime import timedelta
from html import unescape

import pytest
from django.utils import timezone

from studio.accounts.templatetags.words import deviation
from studio.clips.models import Clip, Stage
from studio.review.comments import CommentText, add_comment
from studio.review.comparison import Change
from studio.review.marks.decisions import decide
from studio.review.marks.drill_results import Note
from studio.review.marks.judging import judged
from studio.review.models import Return
from studio.review.returning.services import return_clip
from studio.review.returning.summaries import Facts, Run, propose
from studio.review.waiting.submissions import begin_review
from studio.review.web.desk.words import change
from tests.cast import as_person, make_clip, make_drill, make_return, set_for
from tests.review.heard_clip import heard_clip, review_of

YOU = re.compile(r"\byou(?:r|rs|rself)?\b", re.IGNORECASE)
OF_A_FIELD = "if you like"  # said to whoever fills a form in
MINE = "Leave it where it was when you played it alone."
HERS = "Leave it where it was when Mira played it alone."


def main_of(person, address: str) -> str:
    """What stands in the page itself, as text; not its head with the way out."""
    page = as_person(person).get(address).content.decode()
    text = re.sub(r"<[^>]+>", " ", page[page.index("<main") :])
    return re.sub(r"\s+", " ", unescape(text))


@pytest.fixture
def slipped(cast) -> Clip:
    """A returned clip whose two marks say that a note slipped, one in the teacher's own words."""
    clip = heard_clip(cast.enrolment)
    review = review_of(clip)
    found = judged(review)
    first, second = found.marks
    decide(review, found.listening, first, "kept", cast.teacher)
    decide(review, found.listening, second, "kept", cast.teacher, "Wait, as you did before.")
    return_clip(review, cast.teacher, "You waited well.")
    return clip


def test_the_programs_sentences_are_to_the_pupil_and_about_her_for_her_guardian(cast, slipped):
    pupil = main_of(cast.pupil, f"/clips/{slipped.pk}/")
    guardian = main_of(cast.guardian, f"/clips/{slipped.pk}/")
    assert MINE in pupil
    assert HERS not in pupil
    assert HERS in guardian
    assert MINE not in guardian


def test_the_teachers_own_words_stand_as_written_and_are_said_to_be_the_pupils(cast, slipped):
    guardian = main_of(cast.guardian, f"/clips/{slipped.pk}/")
    assert "Wait, as you did before." in guardian
    assert "You waited well." in guardian
    assert "What Ottilie Brandt wrote here is written to Mira." in guardian
    assert "Mira’s clip: Octaves" in guardian
    assert "is written to Mira" not in main_of(cast.pupil, f"/clips/{slipped.pk}/")


def test_what_a_guardian_reads_is_frozen_with_the_return(cast, slipped):
    moments = Return.objects.get().snapshot["moments"]
    about = {moment["text"]: moment.get("guardian_text") for moment in moments}
    assert about["Wait, as you did before."] is None
    [said] = [text for text in about.values() if text]
    assert said.endswith(HERS)


def test_a_guardian_is_nowhere_addressed_as_the_pupil(cast):
    drill = make_drill(cast.teacher, cast.studio, "Set for Mira")
    assignment = set_for(cast.enrolment, drill, goal="Still and round")
    make_clip(cast.enrolment, "Settled", note="Is it better?")
    moving = make_clip(cast.enrolment, "Moving", note="Is it better?")
    Stage.objects.filter(clip=moving, kind="listening").update(state="working", progress=0.5)
    refused = make_clip(cast.enrolment, "Not music", intake="refused", intake_code="not_media")
    returned = make_return(make_clip(cast.enrolment, "Answered"), "Listen to the upper note.")
    addresses = [f"/children/{cast.enrolment.pk}/", f"/assignments/{assignment.pk}/"]
    clips = (moving.pk, refused.pk, returned.review.clip_id)
    for address in [*addresses, *(f"/clips/{pk}/" for pk in clips)]:
        said = main_of(cast.guardian, address).replace(OF_A_FIELD, "")
        assert not YOU.search(said), (address, YOU.findall(said), said)
        assert "Mira" in said, address
    Clip.objects.all().delete()
    assignment.delete()
    empty = main_of(cast.guardian, f"/children/{cast.enrolment.pk}/").replace(OF_A_FIELD, "")
    assert not YOU.search(empty), empty
    assert "Mira’s clips come back here with an answer" in empty
    assert "What Ottilie Brandt sets for Mira appears here" in empty


def test_the_pupil_is_still_spoken_to(cast):
    make_clip(cast.enrolment, "Settled")
    page = main_of(cast.pupil, "/queue/")
    assert "Your teacher has it." in page
    assert "Back from your teacher" in page


def test_a_teacher_sees_her_summary_on_a_clip_that_was_returned(cast, slipped):
    page = as_person(cast.teacher).get(f"/clips/{slipped.pk}/").content.decode()
    assert re.search(r'returned-summary.*?<div class="prose">You waited well\.</div>', page, re.S)
    plain = make_clip(cast.enrolment, "Without")
    return_clip(review_of(plain), cast.teacher, "")
    assert "returned without one" in main_of(cast.teacher, f"/clips/{plain.pk}/")
    waiting = make_clip(cast.enrolment, "Waiting")
    assert "returned-summary" not in as_person(cast.teacher).get(f"/clips/{waiting.pk}/").text


@pytest.mark.parametrize("part", ["pupil", "guardian"])
def test_goal_and_what_went_well_stand_before_what_is_late(cast, part):
    late = timezone.localdate() - timedelta(days=3)
    drill = make_drill(cast.teacher, cast.studio, "C major")
    assignment = set_for(cast.enrolment, drill, due_on=late, goal="Still and round")
    review = begin_review(make_clip(cast.enrolment), assignment)
    add_comment(review, cast.teacher, CommentText("bow", "More weight.", 2.0))
    add_comment(review, cast.teacher, CommentText("well_done", "The *third* one rang.", 4.0))
    return_clip(review, cast.teacher, "")
    home = "/queue/" if part == "pupil" else f"/children/{cast.enrolment.pk}/"
    for address in (home, f"/assignments/{assignment.pk}/"):
        page = main_of(cast.people()[part], address)
        order = [
            page.index(text) for text in ("Still and round", "The third one rang", "Sent today")
        ]
        assert order == sorted(order), address
        assert "Went well" in page
    assert "heavy" not in as_person(cast.people()[part]).get(home).text


def test_nothing_is_praised_that_the_teacher_did_not_praise(cast):
    drill = make_drill(cast.teacher, cast.studio, "C major")
    assignment = set_for(cast.enrolment, drill)
    review = begin_review(make_clip(cast.enrolment), assignment)
    add_comment(review, cast.teacher, CommentText("bow", "More weight.", 2.0))
    return_clip(review, cast.teacher, "")
    assert "Went well" not in main_of(cast.pupil, "/queue/")
    assert "Went well" not in main_of(cast.pupil, f"/assignments/{assignment.pk}/")


@pytest.mark.parametrize("uncertainty", [0.2, 1.0, 1.4, 3.4])
def test_an_uncertainty_reads_the_same_at_the_desk_and_at_home(uncertainty):
    desk = change(Change("closer", 18.0, uncertainty))
    figure = desk.removeprefix("closer by 18 ±").removesuffix(" c")
    note = Note("n1", 1, "C4", 2, "played", 1, 18.0, 18.0, uncertainty, True)
    run = Run("octave", "near", -18.0, uncertainty)
    assert deviation({"deviation_cents": 18.0, "uncertainty_cents": uncertainty}) == (
        f"+18 ± {figure} cents"
    )
    assert note.in_words == f"last 18 ± {figure} cents wide"
    assert propose(Facts((run,))) == [f"The octave came closer by 18 ± {figure} cents."]
    assert int(figure) >= uncertainty
