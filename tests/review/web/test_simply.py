"""A child reads what came back in plain words, where her teacher or a guardian chose it."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from studio.accounts.models import Enrolment
from studio.accounts.simple_reading import reads
from studio.intonation.wording.for_children import DONE, too_hard
from studio.review.comments import CommentText, add_comment
from studio.review.marks.decisions import decide, decide_all
from studio.review.marks.judging import judged
from studio.review.returning.services import return_clip
from tests.cast import as_person, make_drill, set_for
from tests.review.heard_clip import heard_clip, review_of

pytestmark = pytest.mark.django_db

DETAILS = re.compile(r"<details.*?</details>", re.S)
TAG = re.compile(r"<[^>]+>")
FIGURES = re.compile(r"\bcents\b|±|[+−]\d")
CHOICE = "/lessons/{}/reading/"


@pytest.fixture
def place(cast) -> Enrolment:
    as_person(cast.guardian).post(CHOICE.format(cast.enrolment.pk), {"simply": "1"})
    cast.enrolment.refresh_from_db()
    return cast.enrolment


@pytest.fixture
def clip(cast, place):
    """Two marks that were kept as they were proposed, and praise after them in time."""
    made = heard_clip(place)
    review = review_of(made)
    decide_all(review, judged(review), "", "kept", cast.teacher)
    add_comment(review, cast.teacher, CommentText("well_done", "You waited for it", 30.0))
    return_clip(review, cast.teacher, "")
    return made


def page_of(clip, who, asked: str = "") -> str:
    return as_person(who).get(f"/clips/{clip.pk}/{asked}").content.decode()


def in_sight(page: str) -> str:
    """What stands in the answer itself, but for what is folded away."""
    answer = page[page.index("<clip-moments") : page.index("</clip-moments>")]
    return DETAILS.sub("", answer)


def test_the_choice_is_the_teacher_s_and_the_guardian_s_and_the_last_one_holds(cast, place):
    address = CHOICE.format(place.pk)
    assert place.reads_simply
    assert as_person(cast.pupil).post(address, {}).status_code == 404
    assert as_person(cast.foreign_teacher).post(address, {}).status_code == 404
    for who, simply in ((cast.teacher, False), (cast.guardian, True)):
        as_person(who).post(address, {"simply": "1"} if simply else {})
        place.refresh_from_db()
        assert place.reads_simply is simply


def test_a_child_reads_what_went_well_first_and_no_figures(cast, clip):
    page = in_sight(page_of(clip, cast.pupil))
    assert page.index("This went well") < page.index("You waited for it")
    assert page.index("You waited for it") < page.index("Try this next")
    assert "It came closer when you played it again." in page
    assert "The two notes are too far apart." in page
    assert FIGURES.search(TAG.sub(" ", page)) is None
    assert "30 ± 1 cents wide" in page_of(clip, cast.pupil), "they stand behind More"


def test_every_sentence_of_the_program_in_sight_is_of_the_word_list(cast, clip):
    page = in_sight(page_of(clip, cast.pupil))
    told = re.findall(
        r'<(?:p|div) class="(?:told|told prose|up-down)">(.*?)</(?:p|div)>', page, re.S
    )
    told += re.findall(r"<h2[^>]*>(.*?)</h2>", page, re.S)
    told += re.findall(r"<button[^>]*data-hear[^>]*>(.*?)</button>", page, re.S)
    said = [TAG.sub("", text).strip() for text in told]
    assert len(said) >= 10
    assert [too_hard(text) for text in said if too_hard(text)] == [["waited"]], (
        "a teacher\u2019s own"
    )


def test_what_a_teacher_wrote_stays_as_it_is(cast, place):
    clip = heard_clip(place)
    review = review_of(clip)
    found = judged(review)
    decide(review, found.listening, found.marks[0], "kept", cast.teacher, "Listen to the E flat.")
    return_clip(review, cast.teacher, "")
    page = in_sight(page_of(clip, cast.pupil))
    assert "Listen to the E flat." in page
    assert "The two notes" not in page


def test_an_answer_of_before_is_read_in_plain_words_too(cast, clip):
    done = review_of(clip).returned
    for moment in done.snapshot["moments"]:
        moment.pop("child_text", None)
    done.save()
    assert "The two notes are too far apart." in in_sight(page_of(clip, cast.pupil))


def test_a_guardian_reads_all_of_it_and_can_read_it_as_the_child_does(cast, clip):
    own = page_of(clip, cast.guardian)
    assert "cents wide" in in_sight(own)
    assert "?as=pupil" in own
    theirs = page_of(clip, cast.guardian, "?as=pupil")
    assert in_sight(theirs).count("The two notes are") == 2
    assert "cents wide" not in in_sight(theirs)
    full = page_of(clip, cast.pupil, "?as=guardian")
    assert "cents wide" not in in_sight(full), "the choice is not the pupil\u2019s"


def test_the_teacher_sees_before_returning_what_the_child_will_read(cast, place):
    clip = heard_clip(place)
    review = review_of(clip)
    decide_all(review, judged(review), "", "kept", cast.teacher)
    page = as_person(cast.teacher).get(f"/clips/{clip.pk}/preview/").content.decode()
    assert "The two notes are too far apart." in in_sight(page)


def test_nothing_is_said_of_lateness_and_a_tick_is_answered_kindly(cast, place):
    late = timezone.localdate() - timedelta(days=3)
    drill = make_drill(cast.teacher, cast.studio, "Thirds")
    assignment = set_for(place, drill, due_on=late)
    pupil = as_person(cast.pupil)
    addresses = ("/queue/", f"/assignments/{assignment.pk}/")
    for address in addresses:
        assert "was due" not in pupil.get(address).content.decode().lower()
    answer = pupil.post(f"/assignments/{assignment.pk}/done/", {"next": "/queue/"}, follow=True)
    assert DONE in answer.content.decode()
    as_person(cast.teacher).post(CHOICE.format(place.pk), {})
    pupil.post(f"/assignments/{assignment.pk}/done/", {"open": "1"})
    for address in addresses:
        assert "was due" in pupil.get(address).content.decode().lower()


def test_a_guardian_reads_with_a_child_who_does_not_log_in(cast, place):
    with_her = {"is_own": False}
    assert not reads(place, **with_her)
    assert reads(place, **with_her, asked="pupil")
    place.pupil.email = place.pupil.login_name = None
    assert reads(place, **with_her)
    assert not reads(place, **with_her, asked="guardian")
    assert reads(place, is_own=True, asked="guardian")
    place.reads_simply = False
    assert not reads(place, is_own=True, asked="pupil")
