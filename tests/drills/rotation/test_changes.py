"""What a teacher does to a plan, through its pages."""

from datetime import timedelta

import pytest
from django.utils import timezone

from studio.drills.models import ShelfSettings
from studio.drills.rotation import access, services
from studio.drills.rotation.models import PlannedKey, Rotation, RotationHoliday, RotationLesson
from studio.drills.rotation.overview import overview_of
from studio.drills.rotation.plan import Holiday
from studio.theory.keys import ALL_KEYS
from tests.cast import as_person
from tests.drills.rotation.conftest import BEGIN, address, change, shown, soon, titles

WEEK = timedelta(days=7)


def names(lesson: RotationLesson) -> list[str]:
    return [planned.name for planned in lesson.planned]


def first_lesson(cast) -> RotationLesson:
    return shown(cast).next.lesson


# -- beginning


def test_a_plan_is_begun_with_two_rounds_of_all_24_keys(cast):
    client = as_person(cast.teacher)
    assert "Begin the plan" in client.get(address(cast)).content.decode()
    answer = client.post(address(cast), BEGIN | {"first_on": soon().isoformat()})
    assert answer.url == address(cast)
    plan = shown(cast)
    for one in plan.rounds:
        keys = [planned.key for place in one.open for planned in place.lesson.planned]
        assert set(keys) == set(ALL_KEYS)
        assert len(keys) == 24
    first, second = (one.round for one in plan.rounds)
    assert (first.intervals, first.pair, second.pair) == (["octaves"], None, (3, 2))
    assert [place.day for one in plan.rounds for place in one.open] == [
        soon() + week * WEEK for week in range(24)
    ]


def test_the_first_interval_is_the_first_that_the_studio_teaches(cast):
    ShelfSettings.objects.create(studio=cast.studio, interval_order=["thirds", "octaves"])
    services.begin(cast.enrolment, cast.teacher, soon())
    assert shown(cast).current.round.intervals == ["thirds"]


def test_a_plan_begun_twice_is_one_plan(cast, rotation):
    again = services.begin(cast.enrolment, cast.colleague, soon() + WEEK)
    assert again.pk == rotation.pk
    assert RotationLesson.objects.count() == 24


@pytest.mark.parametrize("days", [-1, 400])
def test_a_first_day_that_is_past_or_far_off_is_refused(cast, days):
    day = timezone.localdate() + timedelta(days=days)
    answer = as_person(cast.teacher).post(
        address(cast), BEGIN | {"first_on": day.isoformat(), "every_weeks": "2"}
    )
    assert answer.status_code == 422
    assert "is not within a year from today" in answer.content.decode()
    assert not Rotation.objects.exists()


# -- order


@pytest.mark.parametrize(("way", "place"), [("up", 0), ("down", 2), ("end", 11), ("first", 0)])
def test_a_lesson_is_moved_and_every_key_stays(cast, rotation, way, place):
    before = titles(cast)
    lesson = shown(cast).rounds[0].open[1].lesson
    assert change(cast, f"lessons/{lesson.pk}/move/", way=way).status_code == 302
    after = titles(cast)
    assert after.index(str(lesson)) == place
    assert sorted(after) == sorted(before)
    assert titles(cast, 2) == before


def test_the_first_lesson_moved_to_the_end_leaves_its_day_to_the_second(cast, rotation):
    first, second = shown(cast).rounds[0].open[:2]
    change(cast, f"lessons/{first.lesson.pk}/move/", way="end")
    assert (shown(cast).next.lesson, shown(cast).next.day) == (second.lesson, first.day)


def test_a_round_is_put_in_the_order_that_was_posted(cast, rotation):
    lessons = [place.lesson for place in shown(cast).rounds[0].open]
    wished = [lesson.pk for lesson in reversed(lessons)]
    change(cast, "rounds/1/order/", lesson=wished)
    assert [place.lesson.pk for place in shown(cast).rounds[0].open] == wished


def test_done_lessons_stay_where_they_are_when_the_others_move(cast, rotation):
    first, second, third = (place.lesson for place in shown(cast).rounds[0].open[:3])
    services.tick_keys(second, cast.teacher, names(second))
    change(cast, f"lessons/{third.pk}/move/", way="first")
    assert [place.lesson for place in shown(cast).rounds[0].open[:2]] == [third, first]
    assert change(cast, f"lessons/{second.pk}/move/", way="end").status_code == 302
    assert [place.lesson for place in shown(cast).rounds[0].done] == [second]


@pytest.mark.parametrize("wish", ["lost", "doubled", "of another round", "words"])
def test_an_order_that_would_lose_a_lesson_changes_nothing(cast, rotation, wish):
    before = titles(cast)
    mine = [place.lesson.pk for place in shown(cast).rounds[0].open]
    others = [place.lesson.pk for place in shown(cast).rounds[1].open]
    wished = {
        "lost": mine[1:],
        "doubled": [*mine, mine[0]],
        "of another round": [*mine[1:], others[0]],
        "words": ["all of them"],
    }[wish]
    assert change(cast, "rounds/1/order/", lesson=wished).status_code == 409
    assert titles(cast) == before


def test_the_round_that_was_changed_is_unfolded_and_later_ones_are_folded(cast, rotation):
    client = as_person(cast.teacher)
    assert client.get(address(cast)).content.count(b"<details open>") == 1
    lesson = shown(cast).rounds[1].open[1].lesson
    answer = change(cast, f"lessons/{lesson.pk}/move/", way="up")
    assert answer.url == address(cast, "?round=2")
    assert client.get(answer.url).content.count(b"<details open>") == 2


# -- days


def test_a_holiday_shifts_the_lessons_after_it_and_loses_none(cast, rotation):
    before = titles(cast)
    start = soon() + WEEK
    says = {"first_on": start.isoformat(), "last_on": (start + 8 * timedelta(days=1)).isoformat()}
    change(cast, "holidays/", **says)
    days = [place.day for place in shown(cast).rounds[0].open]
    assert days[:3] == [soon(), soon() + 3 * WEEK, soon() + 4 * WEEK]
    assert titles(cast) == before
    holiday = access.rotation_of(cast.enrolment).holidays.get()
    change(cast, f"holidays/{holiday.pk}/end/")
    assert shown(cast).rounds[0].open[1].day == start


def test_one_week_is_left_out(cast, rotation):
    change(cast, "holidays/", first_on=soon().isoformat())
    assert shown(cast).next.day == soon() + WEEK


@pytest.mark.parametrize(
    ("first", "last", "says"),
    [(5, 4, "is before"), (0, 400, "is longer than 366 days"), (-9, -2, "These days are past")],
)
def test_days_that_cannot_be_left_out_are_refused_with_the_reason(
    cast, rotation, first, last, says
):
    today = timezone.localdate()
    dates = [(today + timedelta(days=days)).isoformat() for days in (first, last)]
    answer = change(cast, "holidays/", first_on=dates[0], last_on=dates[1])
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert not access.rotation_of(cast.enrolment).holidays.exists()


def test_there_is_an_end_to_holidays_and_past_ones_make_room(cast, rotation):
    today = timezone.localdate()
    for number in range(services.MAX_HOLIDAYS):
        day = today + timedelta(days=number)
        services.add_holiday(rotation, cast.teacher, Holiday(day, day), seen=number + 1)
    answer = change(cast, "holidays/", first_on=(today + 9 * WEEK).isoformat())
    assert answer.status_code == 422
    assert "18 holidays are ahead, which is the most" in answer.content.decode()
    rotation.holidays.filter(first_on=today).update(first_on=today - WEEK, last_on=today - WEEK)
    assert change(cast, "holidays/", first_on=(today + 9 * WEEK).isoformat()).status_code == 302
    assert RotationHoliday.objects.count() == services.MAX_HOLIDAYS


def test_another_rhythm_moves_every_open_lesson(cast, rotation):
    day = soon() + timedelta(days=2)
    change(cast, "rhythm/", first_on=day.isoformat(), every_weeks="2")
    assert [place.day for place in shown(cast).rounds[0].open[:2]] == [day, day + 2 * WEEK]


def test_what_was_not_ticked_off_moves_to_the_next_day(cast, rotation):
    late = overview_of(access.rotation_of(cast.enrolment), soon() + timedelta(days=1))
    assert (str(late.next.lesson), late.next.day) == ("G major and G minor", soon() + WEEK)


# -- rounds, readiness, ticking off


def test_a_round_takes_the_intervals_in_the_studios_order(cast, rotation):
    says = {"intervals": ["thirds", "octaves"], "strings": "", "octaves": "2"}
    change(cast, "rounds/1/", **says)
    one = shown(cast).rounds[0].round
    assert (one.intervals, one.octaves) == (["octaves", "thirds"], 2)


def test_a_round_without_an_interval_is_refused(cast, rotation):
    answer = change(cast, "rounds/1/", strings="", octaves="1")
    assert answer.status_code == 422
    assert "A round needs one interval at least" in answer.content.decode()


def test_a_further_round_goes_across_the_strings_and_adds_the_next_interval(cast, rotation):
    change(cast, "rounds/")
    third = shown(cast).rounds[2]
    assert (third.round.intervals, third.round.strings) == (["octaves", "sixths"], "")
    assert titles(cast, 3) == titles(cast, 1)
    change(cast, "rounds/")
    assert shown(cast).rounds[3].round.pair == (3, 2)


def test_readiness_is_ticked_and_keeps_its_day(cast, rotation):
    rotation.readiness[0]["ticked_on"] = "2026-01-05"
    Rotation.objects.update(readiness=rotation.readiness)
    change(cast, "readiness/", ready=["0", "2"])
    days = [line["ticked_on"] for line in Rotation.objects.get().readiness]
    assert days == ["2026-01-05", None, timezone.localdate().isoformat(), None, None]
    page = as_person(cast.teacher).get(address(cast)).content.decode()
    assert "The grip stays free." in page


def test_a_key_is_ticked_off_and_the_lesson_stays_until_both_are(cast, rotation):
    lesson = first_lesson(cast)
    change(cast, f"lessons/{lesson.pk}/tick/", key="G-major")
    assert (shown(cast).next.lesson, shown(cast).next.half_done) == (lesson, "G major")
    assert shown(cast).rounds[0].keys_done == 1
    change(cast, f"lessons/{lesson.pk}/tick/", key="G-minor")
    assert str(shown(cast).next.lesson) == "D major and D minor"
    assert [place.day for place in shown(cast).rounds[0].done] == [timezone.localdate()]
    change(cast, f"lessons/{lesson.pk}/tick/", key="G-minor", open="1")
    assert shown(cast).next.lesson == lesson


def test_the_whole_warm_up_is_ticked_off_with_one_press(cast, rotation):
    lesson = first_lesson(cast)
    change(cast, f"lessons/{lesson.pk}/tick/", key="all")
    assert shown(cast).rounds[0].keys_done == 2


def test_the_plan_ends_when_all_is_ticked_off_and_goes_on_with_a_round(cast, rotation):
    for lesson in RotationLesson.objects.all():
        lesson.plan(PlannedKey(planned.key, soon()) for planned in lesson.planned)
        lesson.save()
    page = as_person(cast.teacher).get(address(cast)).content.decode()
    assert "Every lesson of the plan is done" in page
    change(cast, "rounds/")
    assert shown(cast).next.number == 1


# -- two teachers at once


CHANGES = {
    "rhythm": ("rhythm/", {"first_on": soon().isoformat(), "every_weeks": "3"}),
    "holiday": ("holidays/", {"first_on": soon().isoformat()}),
    "round": ("rounds/1/", {"intervals": ["thirds"], "strings": "", "octaves": "1"}),
    "another round": ("rounds/", {}),
    "a round less": ("rounds/2/end/", {}),
    "lists": ("lists/", {"readiness": "", "done_when": ""}),
    "readiness": ("readiness/", {"ready": ["2"]}),
}


@pytest.mark.parametrize("name", CHANGES)
def test_of_two_teachers_the_second_is_told_and_changes_nothing(cast, rotation, name):
    tail, says = CHANGES[name]
    change(cast, f"lessons/{first_lesson(cast).pk}/move/", who=cast.colleague, way="end")
    before = Rotation.objects.values().get(), list(RotationLesson.objects.values())
    answer = as_person(cast.teacher).post(address(cast, tail), {"version": "1"} | says)
    assert answer.status_code == 409
    assert "Colleague changed this plan while you looked at it" in answer.content.decode()
    assert (Rotation.objects.values().get(), list(RotationLesson.objects.values())) == before


@pytest.mark.parametrize("version", ["", "x", "-1", "9" * 30])
def test_a_change_that_names_no_version_is_not_made(cast, rotation, version):
    lesson = first_lesson(cast)
    answer = as_person(cast.teacher).post(
        address(cast, f"lessons/{lesson.pk}/move/"), {"version": version, "way": "end"}
    )
    assert answer.status_code == 409
    assert shown(cast).next.lesson == lesson


def test_the_same_change_from_another_window_says_so(cast, rotation):
    lesson = first_lesson(cast)
    for status in (302, 409):
        answer = as_person(cast.teacher).post(
            address(cast, f"lessons/{lesson.pk}/move/"), {"version": "1", "way": "down"}
        )
        assert answer.status_code == status
    assert "changed in another window" in answer.content.decode()
    assert titles(cast)[1] == str(lesson)
