"""Lessons end from either side: what each then reaches, who is told, and how it is taken back."""

from datetime import timedelta

import pytest
from django.utils import timezone

from studio.accounts import access, consent, lesson_endings
from studio.accounts.models import AuditEntry, Enrolment, LessonsEnd, Notice, Person
from studio.clips.models import Upload
from studio.clips.uploads import partial
from studio.clips.uploads import services as uploads
from studio.rights.erasure import requests
from tests.cast import as_person, enrol, guard, make_clip, make_drill, make_return, set_for

FAMILY = ("pupil", "guardian")
OTHERS = (
    *("teacher", "colleague", "other_pupil", "unlinked_guardian", "former_pupil"),
    *("operator", "foreign_teacher", "foreign_pupil"),
)


@pytest.fixture
def returned(cast):
    """A clip that came back, before the lessons end."""
    clip = make_clip(cast.enrolment, "Sixths")
    make_return(clip)
    return clip


@pytest.fixture
def end_page(cast) -> str:
    return f"/people/places/{cast.enrolment.pk}/end/"


def told(who: Person) -> str:
    return " ".join(Notice.objects.filter(to=who).values_list("text", flat=True))


def status(who: Person, path: str) -> int:
    return as_person(who).get(path).status_code


# -- what each then reaches ----------------------------------------------------------------


@pytest.mark.parametrize("side", lesson_endings.Side.values)
@pytest.mark.parametrize("part", FAMILY)
def test_the_family_goes_on_reading_what_came_back(cast, returned, side, part):
    lesson_endings.end_lessons(cast.enrolment, by=cast.teacher, side=side)
    who = cast.people()[part]
    kept = f"/rights/lessons/{cast.enrolment.pk}/"
    page = as_person(who).get(kept).text
    assert f"/clips/{returned.pk}/" in page
    clip = as_person(who).get(f"/clips/{returned.pk}/")
    assert clip.status_code == 200
    assert kept in clip.text, "the way back leads to where it can be gone"
    assert "/queue/" not in clip.text.split("<main")[1]
    assert f"/children/{cast.enrolment.pk}/" not in clip.text


@pytest.mark.parametrize("part", OTHERS)
def test_nobody_else_reaches_what_came_back(cast, returned, part):
    lesson_endings.end_lessons(cast.enrolment, by=cast.teacher)
    who = cast.people()[part]
    for path in (
        f"/clips/{returned.pk}/",
        f"/rights/lessons/{cast.enrolment.pk}/",
        f"/rights/lessons/{cast.enrolment.pk}/clips/",
        f"/pupils/{cast.enrolment.pk}/",
    ):
        assert status(who, path) == 404, path


def test_a_recording_is_served_to_the_family_alone(cast, returned, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    (tmp_path / "poster").write_bytes(b"something")
    returned.renditions.update_or_create(
        kind="poster",
        defaults={"path": "poster", "size_bytes": 9, "content_type": "image/jpeg"},
    )
    lesson_endings.end_lessons(cast.enrolment, by=cast.teacher)
    path = f"/clips/{returned.pk}/poster/"
    assert {part: status(cast.people()[part], path) for part in FAMILY} == dict.fromkeys(
        FAMILY, 200
    )
    assert {status(cast.people()[part], path) for part in OTHERS} == {404}


@pytest.mark.parametrize("part", FAMILY)
def test_what_was_to_be_done_there_has_ended(cast, returned, part):
    drill = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    waiting = make_clip(cast.enrolment, "Waits")
    lesson_endings.end_lessons(cast.enrolment, by=cast.guardian, side="family")
    who = cast.people()[part]
    for path in (
        *("/queue/", "/send/", "/rotation/"),
        f"/assignments/{drill.pk}/",
        f"/children/{cast.enrolment.pk}/",
        f"/children/{cast.enrolment.pk}/send/",
        f"/consent/{cast.enrolment.pk}/",
        f"/clips/{waiting.pk}/",
    ):
        assert status(who, path) == 404, path


def test_the_teacher_has_it_on_no_list(cast, returned):
    make_clip(cast.enrolment, "Waits here")
    teacher = as_person(cast.teacher)
    assert "Mira Sandholm" in teacher.get("/waiting/").text
    lesson_endings.end_lessons(cast.enrolment, by=cast.guardian, side="family")
    Notice.objects.all().delete()
    for path in ("/waiting/", "/pupils/", "/people/"):
        assert "Mira Sandholm" not in teacher.get(path).text, path


def test_a_first_page_leads_there(cast, returned):
    lesson_endings.end_lessons(cast.enrolment, by=cast.teacher)
    way = f'href="/rights/lessons/{cast.enrolment.pk}/"'
    home = as_person(cast.pupil).get("/")
    assert "Your lessons have ended" in home.text
    for part, path in (("pupil", "/"), ("guardian", "/children/"), ("guardian", "/rights/")):
        assert way in as_person(cast.people()[part]).get(path).text


def test_copy_and_erasure_stay_the_deciders(cast, returned):
    lesson_endings.end_lessons(cast.enrolment, by=cast.teacher)
    page = as_person(cast.guardian).get("/rights/").text
    assert f"/rights/erase/lessons/{cast.enrolment.pk}/" in page
    assert status(cast.guardian, f"/rights/erase/lessons/{cast.enrolment.pk}/") == 200
    assert status(cast.guardian, f"/rights/erase/clips/{returned.pk}/") == 200
    assert f"/rights/erase/lessons/{cast.enrolment.pk}/" not in as_person(cast.pupil).get("/").text


def test_an_upload_on_its_way_stops(cast, settings, tmp_path, django_capture_on_commit_callbacks):
    settings.MEDIA_ROOT = tmp_path
    mine = uploads.begin(cast.enrolment, cast.pupil, 9, "")
    other = uploads.begin(cast.other_enrolment, cast.other_pupil, 9, "")
    with django_capture_on_commit_callbacks(execute=True):
        lesson_endings.end_lessons(cast.enrolment, by=cast.teacher)
    assert list(Upload.objects.all()) == [other]
    assert not partial.path(mine.pk).exists()
    assert partial.path(other.pk).exists()


# -- ending --------------------------------------------------------------------------------


def test_the_teacher_reads_what_is_then_the_case_and_it_is_told(cast, end_page):
    teacher = as_person(cast.teacher)
    page = teacher.get(end_page).text
    for words in ("can go on reading what came back", "are told", "Nothing is deleted", "until"):
        assert words in page
    assert access.is_current(Enrolment.objects.get(pk=cast.enrolment.pk)), "a look ends nothing"
    assert teacher.post(end_page).url == "/people/"
    for who in (cast.pupil, cast.guardian, cast.colleague):
        assert "Ottilie Brandt ended them" in told(who)
    assert "take it back until" in told(cast.guardian)
    assert told(cast.teacher) == ""
    assert told(cast.other_pupil) == told(cast.foreign_teacher) == ""


def test_the_family_ends_them_from_the_page_of_its_data(cast):
    guardian = as_person(cast.guardian)
    path = f"/rights/lessons/{cast.enrolment.pk}/end/"
    assert path in guardian.get("/rights/").text
    page = guardian.get(path).text
    for words in ("can see or hear anything of Mira", "take a copy", "are told", "until"):
        assert words in page
    assert guardian.post(path).url == "/rights/"
    end = LessonsEnd.objects.get(place=cast.enrolment)
    assert end.side == "family"
    for who in (cast.pupil, cast.teacher, cast.colleague):
        assert "Edda Sandholm ended them" in told(who)
    assert guardian.post(path).url == "/rights/", "a second press says so"
    assert AuditEntry.objects.filter(act="lessons_ended").count() == 1


def test_a_child_does_not_end_them_and_a_grown_up_does(cast):
    path = f"/rights/lessons/{cast.enrolment.pk}/end/"
    assert as_person(cast.pupil).post(path).status_code == 404
    Person.objects.filter(pk=cast.pupil.pk).update(birth_year=1990)
    assert as_person(cast.guardian).post(path).status_code == 404
    assert as_person(cast.pupil).post(path).status_code == 302
    assert not access.is_current(Enrolment.objects.get(pk=cast.enrolment.pk))


def test_ending_twice_is_once(cast):
    assert lesson_endings.end_lessons(cast.enrolment, by=cast.teacher)
    assert not lesson_endings.end_lessons(cast.enrolment, by=cast.guardian, side="family")
    assert LessonsEnd.objects.get().side == "studio"


# -- taking it back ------------------------------------------------------------------------


def test_a_mistaken_press_is_taken_back_and_all_is_as_it_was(cast, returned, end_page):
    task = set_for(cast.enrolment, make_drill(cast.teacher, cast.studio))
    teacher = as_person(cast.teacher)
    teacher.post(end_page)
    page = teacher.get("/people/").text
    path = f"/people/places/{cast.enrolment.pk}/take-back/"
    assert path in page
    assert teacher.post(path).url == "/people/"
    assert status(cast.pupil, "/queue/") == 200
    assert status(cast.pupil, f"/assignments/{task.pk}/") == 200
    assert status(cast.teacher, f"/clips/{returned.pk}/") == 200
    assert consent.is_given(Enrolment.objects.get(pk=cast.enrolment.pk))
    assert access.roles_of(cast.pupil) == ["pupil"]
    assert "go on" in told(cast.guardian)
    assert path not in teacher.get("/people/").text
    assert {"lessons_ended", "lessons_resumed"} <= set(
        AuditEntry.objects.values_list("act", flat=True)
    )


def test_the_family_takes_back_its_own_end(cast):
    guardian = as_person(cast.guardian)
    guardian.post(f"/rights/lessons/{cast.enrolment.pk}/end/")
    path = f"/rights/lessons/{cast.enrolment.pk}/take-back/"
    assert path in guardian.get("/rights/").text
    guardian.post(path)
    assert status(cast.guardian, f"/children/{cast.enrolment.pk}/") == 200
    assert "go on" in told(cast.teacher)


def test_a_studio_never_opens_what_the_family_closed(cast):
    lesson_endings.end_lessons(cast.enrolment, by=cast.guardian, side="family")
    page = as_person(cast.teacher)
    path = f"/people/places/{cast.enrolment.pk}/take-back/"
    assert path not in page.get("/people/").text
    assert "The family ended these lessons" in page.post(path, follow=True).text
    assert not access.is_current(Enrolment.objects.get(pk=cast.enrolment.pk))


def test_nor_the_family_what_the_studio_closed(cast):
    lesson_endings.end_lessons(cast.enrolment, by=cast.teacher)
    browser = as_person(cast.guardian)
    path = f"/rights/lessons/{cast.enrolment.pk}/take-back/"
    assert path not in browser.get("/rights/").text
    assert "The studio ended these lessons" in browser.post(path, follow=True).text
    assert not access.is_current(Enrolment.objects.get(pk=cast.enrolment.pk))


@pytest.mark.parametrize(("days", "possible"), [(lesson_endings.TAKE_BACK_DAYS, True), (8, False)])
def test_it_can_be_taken_back_until_the_stated_day(cast, days, possible):
    lesson_endings.end_lessons(cast.enrolment, by=cast.teacher)
    day = timezone.localdate() - timedelta(days=days)
    Enrolment.objects.filter(pk=cast.enrolment.pk).update(ended_on=day)
    path = f"/people/places/{cast.enrolment.pk}/take-back/"
    assert (path in as_person(cast.teacher).get("/people/").text) is possible
    as_person(cast.teacher).post(path)
    assert access.is_current(Enrolment.objects.get(pk=cast.enrolment.pk)) is possible


def test_nothing_is_taken_back_once_the_pupil_has_come_again(cast):
    lesson_endings.end_lessons(cast.enrolment, by=cast.teacher)
    Enrolment.objects.create(pupil=cast.pupil, studio=cast.studio, teacher=cast.colleague)
    with pytest.raises(lesson_endings.CannotTakeBack, match="has come back"):
        lesson_endings.take_back(Enrolment.objects.get(pk=cast.enrolment.pk), "studio")


def test_nothing_is_taken_back_once_it_is_erased(cast, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    lesson_endings.end_lessons(cast.enrolment, by=cast.teacher)
    requests.erase_lessons(cast.pupil, cast.studio, cast.guardian)
    path = f"/people/places/{cast.enrolment.pk}/take-back/"
    as_person(cast.teacher).post(path)
    assert not Enrolment.objects.filter(pk=cast.enrolment.pk, ended_on=None).exists()


# -- another studio ------------------------------------------------------------------------


def test_the_way_to_another_studio_says_what_is_done(cast):
    guardian = as_person(cast.guardian)
    path = f"/rights/lessons/{cast.enrolment.pk}/elsewhere/"
    page = guardian.get(path).text
    assert "Mira begins at another studio" in page
    assert "Done" not in page
    enrol(cast.pupil, cast.other_studio, cast.foreign_teacher)
    assert "Done" not in guardian.get(path).text, "she answers for her at this studio alone"
    guard(cast.guardian, cast.pupil, cast.other_studio)
    cast.guardian.memberships.create(studio=cast.other_studio, role="guardian")
    assert "Done: Mira has a place at Another studio" in guardian.get(path).text
    lesson_endings.end_lessons(cast.enrolment, by=cast.guardian, side="family")
    assert "Done: they ended on" in guardian.get(path).text


def test_the_new_studio_sees_nothing_of_the_former_one(cast, returned):
    enrol(cast.pupil, cast.other_studio, cast.foreign_teacher)
    lesson_endings.end_lessons(cast.enrolment, by=cast.guardian, side="family")
    for path in (f"/clips/{returned.pk}/", f"/pupils/{cast.enrolment.pk}/"):
        assert status(cast.foreign_teacher, path) == 404
    assert status(cast.guardian, f"/clips/{returned.pk}/") == 200, "and the family all of it"
