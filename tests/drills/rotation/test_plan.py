"""The plan as plain values, for plans of every kind."""

from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.drills.rotation.plan import (
    EVERY_WEEKS_BOUNDS,
    LONGEST_HOLIDAY_DAYS,
    MAJOR_KEYS,
    PAIRINGS,
    WAYS,
    Holiday,
    NotTheSameLessons,
    Rhythm,
    moved,
    pairs,
    proposed,
    reordered,
)
from studio.theory.keys import ALL_KEYS

TONICS = [key.tonic for key in MAJOR_KEYS]
DAYS = st.dates(date(2024, 1, 1), date(2030, 12, 31))
LISTS = st.lists(st.integers(), unique=True, min_size=1, max_size=12)


@st.composite
def holidays(draw) -> Holiday:
    first = draw(DAYS)
    return Holiday(first, first + timedelta(days=draw(st.integers(0, 60))))


@st.composite
def rhythms(draw) -> Rhythm:
    return Rhythm(
        draw(DAYS),
        draw(st.integers(*EVERY_WEEKS_BOUNDS)),
        tuple(draw(st.lists(holidays(), max_size=8))),
    )


# -- keys


@given(st.sampled_from(TONICS), st.sampled_from(PAIRINGS))
def test_twelve_lessons_have_all_24_keys_once(first, pairing):
    lessons = pairs(first, pairing)
    keys = [key for pair in lessons for key in (pair.major, pair.minor)]
    assert (len(lessons), len(keys)) == (12, 24)
    assert set(keys) == set(ALL_KEYS)
    assert all(pair.major.mode == "major" and pair.minor.mode == "minor" for pair in lessons)


@given(st.sampled_from(TONICS), st.sampled_from(PAIRINGS))
def test_major_keys_go_round_the_circle_of_fifths(first, pairing):
    lessons = pairs(first, pairing)
    assert lessons[0].major.tonic == first
    for before, after in pairwise(lessons):
        assert (after.major.fifths - before.major.fifths) % 12 == 1
        assert (after.minor.fifths - before.minor.fifths) % 12 == 1


@given(st.sampled_from(TONICS), st.sampled_from(PAIRINGS), st.integers(1, 6))
def test_however_many_keys_a_lesson_all_24_are_proposed_once(first, pairing, keys_a_lesson):
    lessons = proposed(first, pairing, keys_a_lesson)
    assert {len(keys) for keys in lessons[:-1]} == {keys_a_lesson}
    keys = [key for lesson in lessons for key in lesson]
    assert (len(keys), set(keys)) == (24, set(ALL_KEYS))


def test_the_usual_round_begins_in_g_and_d():
    names = [f"{pair.major}, {pair.minor}" for pair in pairs()[:3]]
    assert names == ["G major, G minor", "D major, D minor", "A major, A minor"]


def test_keys_of_one_signature_are_relative():
    for pair in pairs("C", "signature"):
        assert (pair.minor.signature - pair.major.signature) % 12 == 0
    assert str(pairs("G", "signature")[0].minor) == "E minor"


def test_keys_of_one_tonic_sound_on_the_same_note():
    for pair in pairs():
        assert (pair.major.fifths - pair.minor.fifths) % 12 == 0


@pytest.mark.parametrize("wrong", [{"first": "H"}, {"first": "Gb"}, {"pairing": "mode"}])
def test_an_unknown_key_or_pairing_is_refused_with_what_is_known(wrong):
    with pytest.raises(ValueError, match="is not known; write"):
        pairs(**wrong)


# -- days


@given(rhythms(), DAYS, st.integers(1, 30))
def test_every_lesson_gets_a_day_of_its_own_that_is_no_holiday(rhythm, today, count):
    days = rhythm.next_days(count, today)
    assert len(days) == count
    assert days == sorted(set(days))
    for day in days:
        assert day >= max(today, rhythm.first_on)
        assert (day - rhythm.first_on).days % rhythm.step_days == 0
        assert not any(holiday.holds(day) for holiday in rhythm.holidays)


@given(rhythms(), DAYS, holidays())
def test_a_holiday_more_makes_no_lesson_earlier_and_loses_none(rhythm, today, more):
    before = rhythm.next_days(12, today)
    longer = Rhythm(rhythm.first_on, rhythm.every_weeks, (*rhythm.holidays, more))
    after = longer.next_days(12, today)
    assert len(after) == len(before)
    assert all(late >= early for early, late in zip(before, after, strict=True))
    assert [day for day in before if not more.holds(day)] == after[
        : sum(not more.holds(day) for day in before)
    ]


@given(rhythms(), DAYS, st.integers(0, 60))
def test_the_next_lesson_is_at_least_half_a_step_after_the_last(rhythm, held, later):
    (day,) = rhythm.next_days(1, held + timedelta(days=later), held)
    assert 2 * (day - held).days >= rhythm.step_days


@pytest.mark.parametrize(
    ("held", "following"),
    [("2026-12-01", "2026-12-08"), ("2026-11-30", "2026-12-08"), ("2026-12-03", "2026-12-08")],
    ids=["on its day", "a day early", "two days late"],
)
def test_a_lesson_held_early_or_late_counts_for_the_nearest_day(held, following):
    tuesdays, held = Rhythm(date(2026, 11, 24)), date.fromisoformat(held)
    assert tuesdays.next_days(1, held, held) == [date.fromisoformat(following)]


def test_a_fortnight_keeps_its_step_over_a_holiday():
    rhythm = Rhythm(date(2026, 12, 1), 2, (Holiday(date(2026, 12, 14), date(2027, 1, 3)),))
    assert [f"{day:%d.%m.}" for day in rhythm.next_days(3, date(2026, 12, 1))] == [
        "01.12.",
        "12.01.",
        "26.01.",
    ]


def test_a_weekday_stays_over_a_change_of_the_clock():
    """Days are dates: the last Sunday of October has 25 hours in much of Europe."""
    days = Rhythm(date(2026, 10, 22)).next_days(3, date(2026, 10, 22))
    assert {day.strftime("%A") for day in days} == {"Thursday"}


def test_a_day_today_is_still_to_come():
    assert Rhythm(date(2026, 12, 1)).next_days(1, date(2026, 12, 1)) == [date(2026, 12, 1)]


@pytest.mark.parametrize("days", [-1, LONGEST_HOLIDAY_DAYS])
def test_a_holiday_that_is_too_long_or_backwards_is_refused(days):
    with pytest.raises(ValueError, match="write a last day"):
        Holiday(date(2026, 12, 1), date(2026, 12, 1) + timedelta(days=days))


@pytest.mark.parametrize("weeks", [0, 5])
def test_a_rhythm_out_of_bounds_is_refused(weeks):
    with pytest.raises(ValueError, match=f"every {weeks} weeks is outside 1 to 4"):
        Rhythm(date(2026, 12, 1), weeks)


# -- order


@given(LISTS, st.data(), st.sampled_from(WAYS))
def test_moving_keeps_the_set_and_the_order_of_the_others(lessons, data, way):
    lesson = data.draw(st.sampled_from(lessons))
    after = moved(lessons, lesson, way)
    assert sorted(after) == sorted(lessons)
    others = [other for other in after if other != lesson]
    assert others == [other for other in lessons if other != lesson]


@given(LISTS, st.data())
def test_each_way_leads_where_it_says(lessons, data):
    lesson = data.draw(st.sampled_from(lessons))
    place, last = lessons.index(lesson), len(lessons) - 1
    targets = {"up": max(0, place - 1), "down": min(last, place + 1), "first": 0, "end": last}
    assert {way: moved(lessons, lesson, way).index(lesson) for way in WAYS} == targets


@given(LISTS, st.randoms())
def test_a_wished_order_of_the_same_lessons_is_taken(lessons, random):
    wished = random.sample(lessons, len(lessons))
    assert reordered(lessons, wished) == wished


@given(LISTS, st.data())
def test_a_wish_that_loses_or_doubles_a_lesson_is_refused(lessons, data):
    place = data.draw(st.integers(0, len(lessons) - 1))
    lost = lessons[:place] + lessons[place + 1 :]
    for wished in (lost, [*lessons, lessons[place]], [*lost, max(lessons) + 1]):
        with pytest.raises(NotTheSameLessons, match="name each of these once"):
            reordered(lessons, wished)


def test_an_unknown_way_is_refused():
    with pytest.raises(ValueError, match="write up, down, first, end"):
        moved([1], 1, "sideways")
