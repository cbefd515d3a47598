"""Notes of lessons: who reads them, what becomes of what was agreed."""

from datetime import timedelta

import pytest
from django.utils import timezone

from studio.accounts import personal_data
from studio.accounts.models import Instrument
from studio.drills import services as drills
from studio.drills.lessons import services
from studio.drills.lessons.models import LessonNote
from studio.drills.models import Assignment, Drill
from studio.notation import Request, generate
from tests.cast import as_person, make_drill

TODAY = timezone.localdate()
PRIVATE, SHARED = "The thumb presses; ask about the chin rest.", "The thumb is freer today."


def written(cast, text=SHARED, share=True, agreed="", **says) -> LessonNote:
    said = {"held_on": TODAY, "text": text, "agreed": agreed} | says
    return services.write(cast.enrolment, cast.teacher, share=share, **said)


def notes_page(cast) -> str:
    return f"/pupils/{cast.enrolment.pk}/lessons/"


def test_a_note_is_read_at_home_only_once_it_is_shared(cast):
    homes = ((cast.pupil, "/queue/"), (cast.guardian, f"/children/{cast.enrolment.pk}/"))
    note = written(cast, PRIVATE, share=False)
    for who, home in homes:
        assert PRIVATE not in as_person(who).get(home).text
    as_person(cast.colleague).post(
        f"{notes_page(cast)}{note.pk}/",
        {"held_on": TODAY, "text": SHARED, "share": "on", "version": note.version},
    )
    for who, home in homes:
        assert SHARED in as_person(who).get(home).text


def test_a_note_that_is_no_longer_shared_is_the_teachers_alone_again(cast):
    note = written(cast)
    services.change(note, share=False, seen=1, text=SHARED)
    assert SHARED not in as_person(cast.pupil).get("/queue/").text
    assert SHARED in as_person(cast.colleague).get(notes_page(cast)).text


def test_a_copy_holds_what_is_shared_and_no_working_note(cast):
    written(cast), written(cast, PRIVATE, share=False)
    entry = personal_data.answer_of(LessonNote)
    held = [entry.export.row(row) for row in entry.exported(cast.pupil, cast.studio)]
    assert [row["text"] for row in held] == [SHARED]
    assert entry.export.but


def test_of_two_teachers_who_write_at_once_the_second_is_told_and_keeps_her_words(cast):
    note = written(cast)
    address, mine = f"{notes_page(cast)}{note.pk}/", "The bow arm leads."
    said = {"held_on": TODAY, "text": "The colleague was first.", "version": 1}
    assert as_person(cast.colleague).post(address, said).status_code == 302
    page = as_person(cast.teacher).post(address, said | {"text": mine})
    assert page.status_code == 409
    assert mine in page.text
    assert "The colleague was first." in page.text
    assert LessonNote.objects.get().text == "The colleague was first."


def test_one_press_twice_is_one_note(cast):
    client = as_person(cast.teacher)
    said = {"held_on": TODAY, "text": SHARED, "form_key": "k"}
    for _ in range(2):
        assert client.post(notes_page(cast), said).status_code == 302
    assert LessonNote.objects.count() == 1


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"text": ""}, "Nothing is written yet"),
        ({"held_on": TODAY + timedelta(days=2)}, "still to come"),
        ({"agreed": "one thing\n" * 13}, "more than 12 lines"),
    ],
)
def test_a_note_that_cannot_be_is_refused_with_what_to_do(cast, said, sentence):
    page = as_person(cast.teacher).post(
        notes_page(cast), {"held_on": TODAY, "text": SHARED, **said}
    )
    assert page.status_code == 422
    assert sentence in page.text


def test_what_was_agreed_becomes_drills_and_a_title_of_the_shelf_is_that_drill(cast):
    shelf = make_drill(cast.teacher, cast.studio, "Octaves, slowly")
    note = written(cast, agreed="- octaves, slowly\n\n- Four bows on each sixth")
    address = f"{notes_page(cast)}{note.pk}/agreed/"
    due = TODAY + timedelta(days=7)
    said = {"line": note.agreements, "due_on": due}
    client = as_person(cast.teacher)
    for _ in range(2):  # pressed twice
        assert client.post(address, said).status_code == 302
    queue = Assignment.objects.filter(enrolment=cast.enrolment)
    assert [str(one.version) for one in queue] == ["Octaves, slowly", "Four bows on each sixth"]
    assert {one.due_on for one in queue} == {due}
    assert queue[0].version.drill == shelf
    assert Drill.objects.count() == 2
    assert "Four bows on each sixth" in as_person(cast.pupil).get("/queue/").text
    assert set(note.drills_set.all()) == set(queue)


def test_a_drill_that_does_not_suit_is_said_first_and_set_all_the_same(cast):
    score = generate(Request(direction="up", manner="together", start=1)).to_dict()
    make_drill(cast.teacher, cast.studio, "For the violin", score=score)
    Instrument.objects.filter(pupil=cast.pupil).update(kind="viola", string_length_mm=370)
    note = written(cast, agreed="For the violin")
    address = f"{notes_page(cast)}{note.pk}/agreed/"
    client = as_person(cast.teacher)
    page = client.post(address, {"line": "For the violin"})
    assert page.status_code == 422
    assert "plays the viola" in page.text
    assert not Assignment.objects.exists()
    (misfit,) = page.context["setting"].misfits
    assert client.post(address, {"line": "For the violin", "all_the_same": misfit.name})
    assert Assignment.objects.count() == 1


def test_what_was_set_stays_set_when_the_note_is_deleted(cast):
    note = written(cast, agreed="Four bows on each sixth")
    services.set_agreed(note, cast.teacher, note.agreements, None, {})
    as_person(cast.teacher).post(f"{notes_page(cast)}{note.pk}/delete/")
    assert not LessonNote.objects.exists()
    assert Assignment.objects.count() == 1


def test_the_list_takes_as_many_queries_for_many_notes(
    cast, django_assert_max_num_queries, django_assert_num_queries
):
    client = as_person(cast.teacher)
    written(cast, agreed="One thing")
    client.get(notes_page(cast))
    with django_assert_max_num_queries(20) as few:
        client.get(notes_page(cast))
    for number in range(30):
        note = written(cast, f"Note {number}", agreed="One thing")
        note.drills_set.add(
            drills.set_drill_now(
                make_drill(cast.teacher, cast.studio, f"Drill {number}").newest(),
                cast.enrolment,
                cast.teacher,
            )
        )
    with django_assert_num_queries(len(few)):
        client.get(notes_page(cast))
