"""Words looked for in everything of a studio, and nothing of another."""

from django.utils import timezone

from studio.accounts.models import Consent
from studio.drills.lessons import services as lessons
from studio.review import questions
from studio.review.questions import About
from tests.cast import as_person, make_clip, make_drill, make_return


def everywhere(cast, place, teacher, studio) -> None:
    """The word “harbour” in one of each kind."""
    make_return(make_clip(place, "Harbour song"), "Think of the harbour here.")
    make_drill(teacher, studio, "Harbour octaves")
    said = {"held_on": timezone.localdate(), "text": "The harbour piece next.", "agreed": ""}
    lessons.write(place, teacher, share=False, **said)
    questions.ask(place, place.pupil, "Which harbour?", About(), "")


def found(client, words: str):
    page = client.get("/search/", {"q": words})
    assert page.status_code == 200
    return page.context["found"], page.text


def test_it_is_found_in_every_kind_of_thing(cast):
    everywhere(cast, cast.enrolment, cast.teacher, cast.studio)
    hits, page = found(as_person(cast.colleague), "HARBOUR")
    counts = [len(getattr(hits, kind)) for kind in ("drills", "said", "clips", "notes")]
    assert counts == [1, 1, 1, 1]
    assert len(hits.questions) == 1
    assert "Think of the harbour here." in page
    assert [str(one.pupil) for one in found(as_person(cast.teacher), "mira")[0].pupils] == [
        "Mira Sandholm"
    ]


def test_all_words_have_to_be_there(cast):
    everywhere(cast, cast.enrolment, cast.teacher, cast.studio)
    assert len(found(as_person(cast.teacher), "harbour think")[0].said) == 1
    assert found(as_person(cast.teacher), "harbour absent")[0].is_empty


def test_nothing_of_another_studio_is_found(cast):
    everywhere(cast, cast.foreign_enrolment, cast.foreign_teacher, cast.other_studio)
    assert found(as_person(cast.teacher), "harbour")[0].is_empty


def test_without_consent_no_recording_and_nothing_said_of_it_is_found(cast):
    everywhere(cast, cast.enrolment, cast.teacher, cast.studio)
    Consent.objects.filter(pupil=cast.pupil).delete()
    hits, _page = found(as_person(cast.teacher), "harbour")
    assert (hits.said, hits.clips) == ([], [])
    assert hits.notes


def test_signs_of_a_pattern_are_taken_as_they_are(cast):
    everywhere(cast, cast.enrolment, cast.teacher, cast.studio)
    for words in ("har%our", "har_our", "'; --", "\\\\"):
        assert found(as_person(cast.teacher), words)[0].is_empty
    assert as_person(cast.teacher).get("/search/").context["found"] is None


def test_as_many_queries_however_much_is_found(
    cast, django_assert_max_num_queries, django_assert_num_queries
):
    client = as_person(cast.teacher)
    everywhere(cast, cast.enrolment, cast.teacher, cast.studio)
    client.get("/search/?q=harbour")
    with django_assert_max_num_queries(16) as few:
        client.get("/search/?q=harbour")
    for _ in range(6):
        everywhere(cast, cast.enrolment, cast.teacher, cast.studio)
    with django_assert_num_queries(len(few)):
        client.get("/search/?q=harbour")
