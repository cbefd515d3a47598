"""One rule for each kind of figure."""

from datetime import date, datetime, timedelta

import pytest

from studio import figures

NAN, INFINITE = float("nan"), float("inf")


@pytest.mark.parametrize(
    ("cents", "reads"),
    [
        (17.6, "+18"),
        (18.5, "+19"),
        (-18.5, "−19"),
        (0.5, "+1"),
        (0.4, "0"),
        (-0.4, "0"),
        (-0.0, "0"),
        (None, "–"),
        (NAN, "–"),
    ],
)
def test_a_deviation_is_nearest_half_away_from_zero_and_nothing_has_no_sign(cents, reads):
    assert figures.signed(cents) == reads


def test_a_half_that_the_binary_figure_misses_by_a_hair_is_a_half():
    assert figures.decimal(1.005, 2) == "1.01"
    assert figures.signed(0.15, 1) == "+0.2"


@pytest.mark.parametrize(
    ("uncertainty", "reads"),
    [(0.0, "±1 c"), (0.4, "±1 c"), (1.0, "±1 c"), (1.0 + 1e-9, "±1 c"), (1.4, "±2 c"), (None, "")],
)
def test_an_uncertainty_is_rounded_up_and_never_below_one(uncertainty, reads):
    assert figures.plus_minus(uncertainty) == reads


def test_every_way_to_say_an_uncertainty_says_the_same():
    for tenths in range(0, 300):
        doubt = tenths / 10
        figure = figures.plus_minus(doubt)[1:-2]
        assert figures.cents(18.0, doubt) == f"18 ± {figure} cents"
        assert figures.signed_cents(18.0, doubt) == f"+18 ± {figure} cents"
        assert figures.cents_short(18.0, doubt) == f"18 ±{figure} c"
        assert figures.uncertainty(doubt) == f"± {figure}"
        assert int(figure) >= doubt


def test_cents_have_their_unit_and_one_cent_is_one():
    assert figures.cents(1.2) == "1 cent"
    assert figures.cents(-0.2) == "0 cents"
    assert figures.cents(1.2, 0.3) == "1 ± 1 cents"
    assert figures.signed_cents(-1.2) == "−1 cent"
    assert figures.signed_cents(None) == ""
    assert figures.cents(884.359, digits=1) == "884.4 cents"
    assert figures.cents_between(12.4, 17.6) == "12 to 18 cents"
    assert figures.cents_between(17.6, 18.4) == "18 cents"


def test_a_way_along_the_string_is_whole_and_about():
    assert [figures.about_mm(mm) for mm in (4.4, 3.5, 0.5, 0.49)] == [
        "about 4 mm",
        "about 4 mm",
        "about 1 mm",
        "less than 1 mm",
    ]
    assert figures.millimetres(328.0) == "328 mm"
    assert figures.millimetres(357.5) == "357.5 mm"
    assert figures.millimetres(2.27, 0.14) == "2.3 ± 0.2 mm"


@pytest.mark.parametrize(
    ("seconds", "place", "tenth", "length"),
    [
        (0, "0:00", "0:00.0", "0:00"),
        (59.4, "0:59", "0:59.4", "0:59"),
        (59.96, "0:59", "0:59.9", "1:00"),
        (119.7, "1:59", "1:59.7", "2:00"),
        (72.04, "1:12", "1:12.0", "1:12"),
        (0.1 + 0.2, "0:00", "0:00.3", "0:00"),
        (11.999999, "0:12", "0:12.0", "0:12"),  # as a player tells of 12 s
        (3599.5, "59:59", "59:59.5", "1:00:00"),
        (3725, "1:02:05", "1:02:05.0", "1:02:05"),
        (-0.2, "0:00", "0:00.0", "0:00"),
        (None, "", "", ""),
        (INFINITE, "", "", ""),
    ],
)
def test_a_place_is_floored_and_a_length_is_nearest(seconds, place, tenth, length):
    assert figures.place(seconds) == place
    assert figures.place(seconds, 1) == tenth
    assert figures.length(seconds) == length


def test_no_clock_ever_reads_sixty():
    for tenths in range(0, 76_000, 7):
        for text in (figures.place(tenths / 10, 1), figures.length(tenths / 10)):
            assert all(int(part.split(".")[0]) < 60 for part in text.split(":")[1:])


def test_what_is_shown_of_a_place_is_read_as_the_same_place():
    for hundredths in range(0, 400_000, 37):
        shown = figures.place(hundredths / 100, 2)
        assert figures.parse_place(shown) == pytest.approx(hundredths / 100, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("1:02.4", 62.4), ("62,4", 62.4), (" 0:05 ", 5.0), ("62:00", 3720.0), ("1:02:05", 3725.0)],
)
def test_a_place_is_read_as_people_write_it(text, seconds):
    assert figures.parse_place(text) == pytest.approx(seconds)


@pytest.mark.parametrize("text", ["soon", "-3", "1:75", "1:75:00", "", "1:2:3:4", "99999999"])
def test_what_is_no_place_is_refused_with_how_to_write_it(text):
    with pytest.raises(ValueError, match=r"write it like 1:02"):
        figures.parse_place(text)


def test_shares_and_sizes():
    assert figures.percent(999, 1000) == 99
    assert figures.percent(29, 100) == 29  # 100 * 0.29 is 28.999...
    assert figures.percent(5, 0) == 0
    assert figures.percent(2, 1) == 100
    assert figures.range_percent(0.291, 0.701) == (29, 71)
    sizes = [figures.megabytes(n) for n in (0, 99, 12_345_678, 1_000_000_000)]
    assert sizes == ["0.0 MB", "under 0.1 MB", "12.3 MB", "1000 MB"]
    assert figures.hertz(440) == "440.0 Hz"
    assert [figures.decibels(1.5), figures.decibels(2.6, 0.4)] == ["1.5 dB", "3 ± 1 dB"]
    assert [figures.beats(hz) for hz in (2.66, 0.4)] == [
        "2.7 beats a second",
        "one beat every 2.5 seconds",
    ]
    assert [figures.number(n, 2) for n in (4.0, 2.5, 100.0, -1.25)] == ["4", "2.5", "100", "−1.25"]
    assert [figures.seconds(s) for s in (0.62, 2.0, 1.04)] == ["0.6 s", "2 s", "1 s"]
    assert [figures.minutes_or_seconds(s) for s in (900, 90, 60)] == [
        "15 minutes",
        "90 seconds",
        "60 seconds",
    ]


@pytest.mark.parametrize(
    ("number", "word"),
    [(1, "first"), (3, "third"), (11, "11th"), (12, "12th"), (22, "22nd"), (113, "113th")],
)
def test_playings_are_counted_in_words_then_in_figures(number, word):
    assert figures.ordinal(number) == word


@pytest.mark.parametrize(
    ("past", "reads"),
    [
        (timedelta(seconds=20), "a moment"),
        (timedelta(minutes=1, seconds=59), "1 minute"),
        (timedelta(hours=23, minutes=59), "23 hours"),
        (timedelta(days=9, hours=23), "9 days"),
    ],
)
def test_a_wait_is_said_in_its_largest_unit(past, reads):
    assert figures.ago(past) == reads


def test_days():
    today = date(2026, 12, 2)  # a Wednesday
    days = [figures.day(today - timedelta(days=n), today) for n in (0, 1, 2, 6, 7, 400)]
    assert days == ["today", "yesterday", "Monday", "Thursday", "25 November", "28 October 2025"]
    assert figures.day(today + timedelta(days=3), today) == "5 December"
    dues = [figures.due(today + timedelta(days=n), today) for n in (-2, 0, 1, 2)]
    assert dues == [
        "was due on Monday 30 November",
        "due today",
        "due tomorrow",
        "by Friday 4 December",
    ]
    assert figures.is_overdue(today - timedelta(days=1), today)
    assert not figures.is_overdue(today, today)
    at = datetime(2026, 12, 4, 8, 5)
    assert figures.date_time(at) == "4 December 2026, 08:05"
    assert figures.weekday_time(at) == "Friday 4 December, 08:05"
    assert figures.full_date(at) == "Friday 4 December 2026"
    assert figures.month(at) == "December 2026"
    assert figures.month_short(at) == "Dec"
    assert figures.month_short(at, with_year=True) == "Dec 2026"
    assert figures.month_since(at.date(), date(2027, 10, 1)) == "December"
    assert figures.month_since(at.date(), date(2027, 11, 1)) == "December 2026"
