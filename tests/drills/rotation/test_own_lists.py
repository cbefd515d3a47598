"""Order, keys a lesson, rounds and what is to be in order are the teacher's own."""

import pytest

from studio.drills.models import RotationStart
from studio.drills.rotation import access, services
from studio.drills.rotation.lists import (
    RoundSettings,
    Unreadable,
    lessons_text,
    read_lessons,
    read_lines,
    read_rounds,
    rounds_text,
)
from studio.drills.rotation.models import Rotation, RotationLesson, Round
from studio.drills.rotation.overview import overview_of
from studio.drills.rotation.plan import proposed
from studio.drills.rotation.proposals import propose
from tests.cast import as_person
from tests.drills.rotation.conftest import BEGIN, address, change, shown, soon, titles

ORDER = ("octaves", "sixths", "thirds")
MINE = "D major\nG major, E minor, B flat major\n\nD major"
SETTINGS = {"intervals": ["octaves"], "strings": "", "octaves": "1"}


# -- lines as plain values


def test_lists_read_as_they_are_written():
    assert read_lessons(lessons_text(proposed())) == proposed()
    rounds = (RoundSettings(("sixths", "octaves"), "3-2", 2), RoundSettings(("thirds",)))
    assert read_rounds(rounds_text(rounds), ORDER) == rounds


@pytest.mark.parametrize("line", ["Bb major; f#m", "B♭ and F sharp minor", " B-flat  major , F♯m "])
def test_keys_are_read_however_they_are_typed(line):
    assert [str(key) for key in read_lessons(line)[0]] == ["Bb major", "F# minor"]


@pytest.mark.parametrize(
    ("read", "text", "says"),
    [
        (read_lessons, "G major\nH major", "Line 2 has “H major”, which is no key."),
        (read_lessons, "\nG major, g minor, G", "Line 2 has G major twice."),
        (read_lessons, "C, G, D, A, E, B, F", "Line 1 has 7 keys. Write 6 at most"),
        (read_lessons, "C\n" * 61, "These are 61 lessons. Write 60 at most."),
        (lambda text: read_rounds(text, ORDER), "octaves, by night", "Line 1 has “by night”."),
        (lambda text: read_rounds(text, ORDER), "two octaves", "Line 1 names no interval."),
        (read_lines, "x" * 161, "Line 1 has 161 characters. Write 160 at most."),
    ],
)
def test_what_cannot_be_read_is_said_with_its_line(read, text, says):
    with pytest.raises(Unreadable) as refused:
        read(text)
    assert says in str(refused.value)


# -- a plan of one's own


def test_a_plan_is_begun_with_lists_of_ones_own_which_the_next_one_begins_with(cast):
    says = {
        "first_on": soon().isoformat(),
        "lessons": MINE,
        "rounds": "thirds, sixths, on the two lowest strings",
        "readiness": "The thumb is free.",
        "done_when": "",
        "keep": "on",
    }
    assert as_person(cast.teacher).post(address(cast), BEGIN | says).status_code == 302
    assert titles(cast) == ["D major", "G major, E minor and B♭ major", "D major"]
    assert [one.round.settings for one in shown(cast).rounds] == [
        RoundSettings(("thirds", "sixths"), "4-3")
    ]
    plan = services.begin(cast.other_enrolment, cast.teacher, soon())
    assert [line["words"] for line in plan.readiness] == ["The thumb is free."]
    assert plan.done_when == []
    assert titles(cast) == [
        str(lesson) for lesson in RotationLesson.objects.filter(round__rotation=plan)
    ]
    page = as_person(cast.teacher).get(address(cast)).content.decode()
    assert "0 of 5 keys" in page


def test_anothers_lists_are_not_begun_with(cast, rotation):
    change(cast, "rounds/1/", **SETTINGS, lessons="A minor")
    assert change(cast, "start/").status_code == 302
    assert RotationStart.objects.get().lessons == [["A minor"]]
    services.begin(cast.other_enrolment, cast.colleague, soon())
    other = overview_of(access.rotation_of(cast.other_enrolment))
    assert other.current.keys == 24


def test_the_24_keys_are_proposed_in_the_order_and_number_asked_for(cast):
    client = as_person(cast.teacher)
    asked = "?first=D&pairing=signature&keys_a_lesson=3"
    page = client.get(address(cast, asked)).content.decode()
    assert "D major, B minor, A major\n" in page
    assert not Rotation.objects.exists()


# -- changing the keys of a round


def test_keys_are_put_in_another_order_left_out_and_added(cast, rotation):
    change(cast, "rounds/2/", **SETTINGS | {"strings": "3-2"}, lessons=MINE)
    assert titles(cast, 2) == ["D major", "G major, E minor and B♭ major", "D major"]
    assert len(titles(cast, 1)) == 12
    assert [place.number for place in shown(cast).rounds[1].open] == [1, 2, 3]


def test_what_was_set_and_ticked_stays_with_its_keys(cast, rotation):
    first, second = (place.lesson for place in shown(cast).rounds[0].open[:2])
    services.set_drills(second, cast.teacher, propose(second, cast.enrolment))
    services.tick_keys(first, cast.teacher, ["G-minor"])
    change(cast, "rounds/1/", **SETTINGS, lessons="D major, D minor\nC major, G minor")
    places = shown(cast).rounds[0].open
    assert [place.lesson for place in places] == [second, first]
    assert (places[0].set_count, places[1].half_done) == (2, "G minor")


def test_done_lessons_stay_when_the_list_is_emptied(cast, rotation):
    lesson = shown(cast).next.lesson
    services.tick_keys(lesson, cast.teacher, ["G-major", "G-minor"])
    change(cast, "rounds/1/", **SETTINGS, lessons="")
    assert [place.lesson for place in shown(cast).rounds[0].done] == [lesson]
    assert shown(cast).rounds[0].open == []
    answer = change(cast, "rounds/2/", **SETTINGS, lessons=" \n")
    assert answer.status_code == 422
    assert "A round needs one lesson at least" in answer.content.decode()


def test_a_key_that_cannot_be_read_changes_nothing_and_keeps_what_was_typed(cast, rotation):
    before = titles(cast)
    answer = change(cast, "rounds/1/", **SETTINGS, lessons="G major\nX major")
    assert answer.status_code == 422
    assert "Line 2 has “X major”, which is no key" in answer.content.decode()
    assert "G major\nX major</textarea>" in answer.content.decode()
    assert titles(cast) == before


def test_a_lesson_of_one_key_is_done_with_it(cast, rotation):
    change(cast, "rounds/1/", **SETTINGS, lessons="F# minor\nG major")
    lesson = shown(cast).next.lesson
    change(cast, f"lessons/{lesson.pk}/tick/", key="F#-minor")
    assert [str(place.lesson) for place in shown(cast).rounds[0].done] == ["F♯ minor"]
    page = as_person(cast.teacher).get(address(cast, f"lessons/{lesson.pk}/")).content.decode()
    assert "?show=F%23-minor-octaves" in page


# -- rounds and lists


def test_a_round_is_taken_out_unless_something_of_it_is_done(cast, rotation):
    services.tick_keys(shown(cast).rounds[1].open[0].lesson, cast.teacher, ["G-major"])
    change(cast, "rounds/1/end/")
    one = Round.objects.get()
    assert (one.number, one.strings) == (1, "3-2")
    answer = change(cast, "rounds/1/end/")
    page = as_person(cast.teacher).get(answer.url).content.decode()
    assert Round.objects.exists()
    assert "Take round 1 out" not in page


def test_a_line_that_stays_keeps_its_day_and_pupils_read_what_counts_as_done(cast, rotation):
    change(cast, "readiness/", ready=["2"])
    change(cast, "lists/", readiness="My own line.\nThe grip stays free.", done_when="It rings.")
    lines = Rotation.objects.get().readiness
    assert [(line["words"], bool(line["ticked_on"])) for line in lines] == [
        ("My own line.", False),
        ("The grip stays free.", True),
    ]
    lesson = shown(cast).next.lesson
    for who, page in (
        (cast.teacher, address(cast, f"lessons/{lesson.pk}/")),
        (cast.pupil, "/keys/"),
        (cast.guardian, f"/children/{cast.enrolment.pk}/keys/"),
    ):
        assert "It rings." in as_person(who).get(page).content.decode()
