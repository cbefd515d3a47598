"""From a calendar's file to planned lessons: whose, and what the same file does later."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from studio.accounts.models import Notification
from studio.drills.models import PlannedLesson
from studio.drills.timetable.foreign import work
from studio.drills.timetable.foreign.proposals import proposed
from studio.drills.timetable.foreign.reading import lessons_in
from tests.cast import as_person
from tests.drills.timetable.calendars import calendar

FIRST = timezone.localdate() + timedelta(days=1)


@pytest.fixture(autouse=True)
def read_here(monkeypatch):
    """Without a process for each: that is tried in ``test_foreign``."""

    def read(data, zone, first, last):
        return lessons_in(data, zone=zone, first=first, last=last)

    monkeypatch.setattr(work, "read", read)


def weekly(title="Mira, viola", *, hour=16, more="", uid="weekly") -> str:
    day = f"{FIRST:%Y%m%d}"
    return (
        f"UID:{uid}\nSUMMARY:{title}\nDTSTART;TZID=Europe/Berlin:{day}T{hour}0000\n"
        f"DURATION:PT45M\nRRULE:FREQ=WEEKLY;COUNT=3{more}"
    )


def look(who, *events):
    file = SimpleUploadedFile("lessons.ics", calendar(*events), "text/calendar")
    return as_person(who).post("/lessons/import/", {"file": file})


def take(who, answer, typed="", **chosen):
    said = {"found": answer.context["found"] + typed} | chosen
    return as_person(who).post("/lessons/import/take/", said, follow=True)


def test_it_is_shown_given_to_a_pupil_and_taken_in(cast):
    answer = look(cast.teacher, weekly(), weekly("Orchestra", uid="o"), "UID:x\nDTSTART:2027")
    mira, orchestra = answer.context["rows"]
    assert f'value="{cast.enrolment.pk}" selected' in mira["options"]
    assert "selected" not in orchestra["options"]
    assert "It is not written as calendars write (DTSTART): not taken." in answer.text
    assert not PlannedLesson.objects.exists(), "nothing is taken in before it is given"
    taken = take(cast.teacher, answer, **{"pupil-0": cast.enrolment.pk, "pupil-1": ""})
    assert "3 lessons are new, 0 are changed, 0 are cancelled." in taken.text
    lessons = PlannedLesson.objects.all()
    assert [(one.enrolment, one.day) for one in lessons] == [
        (cast.enrolment, FIRST + timedelta(weeks=week)) for week in range(3)
    ]
    assert len({one.series for one in lessons}) == 1
    assert Notification.objects.filter(to=cast.pupil, kind="lesson").count() == 1


def test_the_same_again_changes_nothing_and_a_later_one_brings_it_up_to_date(cast):
    given = {"pupil-0": cast.enrolment.pk}
    for said in ("3 lessons are new", "0 lessons are new, 0 are changed, 0 are cancelled"):
        assert said in take(cast.teacher, look(cast.teacher, weekly()), **given).text
    left_out = (FIRST + timedelta(weeks=1)).strftime("%Y%m%dT170000")
    later = weekly("Viola", hour=17, more=f"\nEXDATE;TZID=Europe/Berlin:{left_out}")
    answer = look(cast.colleague, later)
    assert "selected" in answer.context["rows"][0]["options"], "it was hers before"
    said = take(cast.colleague, answer, **given).text
    assert "0 lessons are new, 2 are changed, 1 is cancelled." in said
    lessons = list(PlannedLesson.objects.order_by("number"))
    assert [(one.at.hour, one.is_cancelled, one.sequence) for one in lessons] == [
        (17, False, 1),
        (16, True, 1),
        (17, False, 1),
    ]


def test_what_was_found_is_taken_in_only_by_who_looked_at_it_and_untouched(cast):
    answer = look(cast.teacher, weekly())
    given = {"pupil-0": cast.enrolment.pk}
    assert take(cast.colleague, answer, **given).status_code == 422
    assert take(cast.teacher, answer, typed="x", **given).status_code == 422
    foreign = look(cast.teacher, weekly())
    assert take(cast.teacher, foreign, **{"pupil-0": cast.foreign_enrolment.pk}).status_code == 422
    assert not PlannedLesson.objects.exists()


def test_one_name_alone_is_proposed(cast):
    places = [cast.enrolment, cast.other_enrolment]
    assert proposed("Viola: MIRA (video)", places) == cast.enrolment.pk
    assert proposed("Weidegger, Jonas? Jonas Weidegger", places) == cast.other_enrolment.pk
    for title in ("Mira and Jonas", "Miranda", "Orchestra", ""):
        assert proposed(title, places) is None


def test_a_refused_file_says_why(cast, monkeypatch):
    file = SimpleUploadedFile("a.ics", b"x" * 1_000_001)
    answer = as_person(cast.teacher).post("/lessons/import/", {"file": file})
    assert answer.status_code == 422
    assert "larger than" in answer.text


def test_more_than_are_shown_at_once_is_said(cast):
    many = [weekly(uid=f"{uuid4()}").replace("COUNT=3", "COUNT=1") for _ in range(102)]
    answer = look(cast.teacher, *many)
    assert len(answer.context["rows"]) == 100
    assert "2 more events are in the file than the 100" in answer.text
