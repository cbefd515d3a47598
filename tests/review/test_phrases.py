"""The phrase shelf: places are filled from what was measured, and from nothing else."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.intonation.wording.sentences import words_of
from studio.review import access, phrases
from studio.review.marks.judging import judged
from studio.review.models import Phrase
from studio.review.phrases import GAP, PLACES, filled, unknown_places, values_at
from tests.cast import as_person
from tests.review.heard_clip import heard_clip, review_of

pytestmark = pytest.mark.django_db
PARTS = {"x-desk": "parts"}


@pytest.fixture
def clip(cast):
    return heard_clip(cast.enrolment)


@pytest.fixture
def teacher(cast):
    return as_person(cast.teacher)


def shelf(cast, *texts: str) -> list[Phrase]:
    return [phrases.add(cast.teacher, cast.studio, "bow", text) for text in texts]


def test_places_are_filled_and_what_is_not_known_is_left_open():
    values = {"interval": "octave", "cents": "18 ± 1 cents", "side": "wide"}
    said = filled("{interval}: {cents} {side}, move {mm}.", values)
    assert said == f"Octave: 18 ± 1 cents wide, move {GAP}."


@given(st.text(alphabet=string.ascii_letters + " .,…é♭", max_size=60))
def test_words_without_braces_stay_as_they_are(text):
    assert filled(text, dict.fromkeys(PLACES, "X")) == text


def test_a_place_that_is_not_known_is_refused_with_those_that_are(teacher):
    answer = teacher.post("/phrases/", {"kind": "bow", "text": "Move {millimetre}"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "{millimetre} is not known here" in page
    assert "{mm}" in page
    assert unknown_places("{mm} {interval} {x} {}") == ["x", ""]


def test_a_marks_values_are_those_of_its_sentence(clip):
    review = review_of(clip)
    mark = judged(review).marks[0]
    values = values_at(judged(review), 0.0, mark.id)
    assert values == {
        "interval": "octave",
        "notes": "C4–C5",
        "cents": "30 ± 1 cents",
        "side": "wide",
        "way": "lower",
        "towards": "towards the scroll",
    }
    assert f"{values['cents']} {values['side']}" in mark.sentence
    assert values_at(judged(review), mark.start_s + 0.1) == values, "found by its moment as well"


def test_where_no_mark_is_the_double_stop_that_sounds_tells(clip):
    values = values_at(judged(review_of(clip)), 12.5)
    assert (values["notes"], values["cents"], values["side"]) == ("D4–D5", "2 ± 1 cents", "wide")
    assert values_at(judged(review_of(clip)), 60.0) == {}
    assert values_at(None, 1.0) == {}


def test_finger_string_and_millimetres_come_from_a_drills_fingering():
    moved = {"finger": 1, "string": "G", "move_mm": 2.31, "uncertainty_mm": 0.11, "bar": 3}
    assert words_of(moved) == {
        "bar": "bar 3",
        "finger": "first finger",
        "string": "G string",
        "mm": "about 2 mm",
    }
    assert words_of({"finger": 0})["finger"] == "open string"


def test_phrases_are_offered_in_order_filled_in_for_the_mark(cast, teacher, clip):
    shelf(cast, "{pupil}, listen.", "{interval} {cents} {side}", "Only this")
    first = judged(review_of(clip)).marks[0]
    answer = teacher.get(
        f"/clips/{clip.pk}/desk/phrases/?at_s=0:05.0&mark={first.id}", headers=PARTS
    )
    said = answer.content.decode()
    name = cast.pupil.name.split()[0]
    places = [
        said.index(words) for words in (f"{name}, listen.", "Octave 30 ± 1 cents wide", "Only")
    ]
    assert places == sorted(places)
    assert "<html" not in said


def test_without_a_script_a_phrase_begins_the_comment(cast, teacher, clip):
    (phrase,) = shelf(cast, "{interval} {side}")
    page = teacher.get(f"/clips/{clip.pk}/desk/phrases/?at_s=21").content.decode()
    assert "<html" in page
    assert f"?phrase={phrase.pk}&amp;at_s=21.00#composer" in page
    desk = teacher.get(f"/clips/{clip.pk}/?phrase={phrase.pk}&at_s=21.00")
    form = desk.context["composer"]
    assert (form.initial["text"], form.initial["kind"]) == ("Octave narrow", "bow")
    assert form.initial["start_s"] == 21.0
    other = teacher.get(f"/clips/{clip.pk}/?phrase=999999&at_s=21.00")
    assert not other.context["composer"].initial.get("text")


def test_only_ones_own_phrases_of_the_clips_studio_are_offered(cast, clip):
    shelf(cast, "Mine alone")
    said = as_person(cast.colleague).get(f"/clips/{clip.pk}/desk/phrases/").content.decode()
    assert "Mine alone" not in said


def test_the_shelf_is_kept_in_the_order_it_is_given(cast, teacher):
    first, _, third = shelf(cast, "one", "two", "three")
    teacher.post(f"/phrases/{third.pk}/move/", {"way": "up"})
    teacher.post(f"/phrases/{first.pk}/move/", {"way": "up"})  # it is the first already
    texts = [phrase.text for phrase in access.phrases_of(cast.teacher, cast.studio)]
    assert texts == ["one", "three", "two"]
    teacher.post(f"/phrases/{first.pk}/delete/")
    shelf(cast, "four")
    texts = [phrase.text for phrase in access.phrases_of(cast.teacher, cast.studio)]
    assert texts == ["three", "two", "four"]


def test_a_phrase_is_added_once_changed_and_the_shelf_has_an_end(cast, teacher):
    for _ in range(2):
        teacher.post("/phrases/", {"kind": "bow", "text": "Slower {bar}"})
    phrase = Phrase.objects.get()
    teacher.post(f"/phrases/{phrase.pk}/", {"kind": "music", "text": "Softer"})
    phrase.refresh_from_db()
    assert (phrase.kind, phrase.text) == ("music", "Softer")
    shelf(cast, *(f"phrase {n}" for n in range(phrases.MOST - 1)))
    answer = teacher.post("/phrases/", {"kind": "bow", "text": "one more"})
    assert f"There are {phrases.MOST} phrases already" in answer.content.decode()
    assert Phrase.objects.count() == phrases.MOST


def test_the_number_of_queries_does_not_grow_with_the_shelf(
    cast, teacher, clip, django_assert_max_num_queries
):
    address = f"/clips/{clip.pk}/desk/phrases/"
    teacher.get(address)
    with django_assert_max_num_queries(13):
        teacher.get(address)
    shelf(cast, *(f"phrase {n}" for n in range(40)))
    with django_assert_max_num_queries(13):
        teacher.get(address)
