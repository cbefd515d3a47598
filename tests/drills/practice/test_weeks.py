"""The picture of weeks: its geometry by numbers worked out by hand, and what it does not say."""

import re
from datetime import date, timedelta

from studio.drills.practice import weeks, wording
from studio.drills.practice.weeks import Portion

WEDNESDAY = date(2026, 12, 2)
MONDAY = date(2026, 11, 30)


def test_sixteen_weeks_end_with_the_one_asked_for():
    assert weeks.first_day(WEDNESDAY) == date(2026, 8, 17)
    assert weeks.first_day(WEDNESDAY).weekday() == 0
    shown = weeks.picture([], WEDNESDAY)
    assert (shown.first, shown.last) == (date(2026, 8, 17), date(2026, 12, 6))


def test_a_portion_stands_in_its_week_and_on_its_day():
    """Columns are 20 wide from 36 on: the last one's middle is 36 + 15.5 x 20 = 346. Rows are 18
    high from 4 on: Wednesday's middle is 4 + 2.5 x 18 = 49. A mark is 6 by 4.8: two arcs from its
    left end, 346 - 3, and back."""
    shown = weeks.picture([Portion(WEDNESDAY, 12)], WEDNESDAY)
    assert shown.marks == "M343.0 49.0a3.0 2.4 0 1 1 6.0 0a3.0 2.4 0 1 1 -6.0 0"
    first = weeks.picture([Portion(date(2026, 8, 17), 12)], WEDNESDAY)
    assert first.marks.startswith("M43.0 13.0a")  # 36 + 10 - 3; 4 + 9
    sunday = weeks.picture([Portion(date(2026, 12, 6), 12)], WEDNESDAY)
    assert sunday.marks.startswith("M343.0 121.0a")  # 4 + 6.5 x 18
    assert weeks.TOP + 7 * weeks.ROW > 121 + 2.4


def starts(marks: str) -> list[float]:
    return [float(x) for x in re.findall(r"M([\d.]+)", marks)]


def test_portions_of_a_day_stand_side_by_side_and_three_are_the_most():
    def day(count: int) -> list[float]:
        return starts(weeks.picture([Portion(WEDNESDAY, 5)] * count, WEDNESDAY).marks)

    assert day(2) == [339.8, 346.2]  # 346 - 3.2 - 3, and 6.4 further
    assert day(3) == day(4) == [336.6, 343.0, 349.4]
    column = 346 - 10, 346 + 10
    assert column[0] < 336.6
    assert column[1] > 349.4 + 6


def test_a_long_portion_has_the_same_mark_as_a_short_one():
    short, long = (weeks.picture([Portion(WEDNESDAY, n)], WEDNESDAY).marks for n in (3, 200))
    assert short == long


def test_days_and_usual_lengths_are_middles_of_weeks_with_practice_alone():
    noted = [Portion(MONDAY, 10), Portion(MONDAY, 20), Portion(WEDNESDAY, 15)]
    noted += [Portion(MONDAY - timedelta(days=back), 8) for back in (70, 69, 68, 67)]
    shown = weeks.picture(noted, WEDNESDAY)
    assert [(w.monday, w.days, w.portions, w.usual_min, w.x) for w in shown.weeks] == [
        (date(2026, 9, 21), 4, 4, 8, "146.0"),  # ten weeks before: 346 - 200
        (MONDAY, 2, 3, 15, "346.0"),
    ]
    assert (shown.usual_days, shown.usual_min) == (3, 8)  # of 2 and 4; of 8 8 8 8 10 15 20


def test_nothing_noted_is_a_blank_and_has_no_words():
    shown = weeks.picture([Portion(WEDNESDAY - timedelta(weeks=16), 9)], WEDNESDAY)
    assert (shown.marks, shown.weeks, shown.usual_days, shown.usual_min) == ("", (), 0, 0)
    assert wording.usual(shown) == ""


def test_a_month_stands_under_the_week_of_its_first_day():
    shown = weeks.picture([], WEDNESDAY)
    assert [(label.text, label.at) for label in shown.months] == [
        ("Sep", "86.0"),  # Tuesday 1 September is in the week of 31 August: 36 + 2.5 x 20
        ("Oct", "166.0"),  # Thursday 1 October, of 28 September: 36 + 6.5 x 20
        ("Nov", "246.0"),  # Sunday 1 November, of 26 October: 36 + 10.5 x 20
        ("Dec", "346.0"),
    ]
    assert [label.text for label in shown.days] == ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
