"""The map of the fingerboard: what it says of made-up hands, and how it is drawn."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from studio.progress.fingerboard import FLAT, IN_TUNE, SHARP, spots_of
from studio.progress.fingerboard_chart import chart_of_spots, note_name, place_of, value_of
from studio.progress.gathering import Place, _Reader
from studio.progress.playings import ROW, PlayedClip, Playings
from tests.benchmarks.progressing.hands import FINGER, Hand, weeks_of

FOURTH_HIGH = Hand(name="fourth finger high", cause=FINGER, which=4, cents=18.0)


def one_place(weekly: list[list[float]]) -> Playings:
    """F♯4 on the D string beside the open A, week by week."""
    clips = []
    for week, values in enumerate(weekly):
        rows = np.zeros(len(values), ROW)
        rows["low"], rows["high"], rows["short"], rows["runs"] = 66, 69, b"m3", 1
        rows["strings"], rows["stops"], rows["doubt"] = (3, 2), (4, 0), 0.5
        rows["off"] = [(value, 0.0) for value in values]
        rows["at_s"] = np.arange(len(values))
        clips.append(PlayedClip(clip=str(week), day=date(2026, 3, 2 + 7 * week), rows=rows))
    return Playings.of(clips)


def test_one_place_by_hand():
    """Weeks' means 10, 12, 14, 16, equally many notes: mean 13, sd 2.582, error sd / √4 = 1.291.

    Student's 97.5 % point with three degrees of freedom is 3.182 (tables of Fisher & Yates 1938),
    so the stated deviation is 1.291 · 3.182 / 1.960 = 2.096.
    """
    (spot,) = spots_of(one_place([[9.0, 11.0], [11.0, 13.0], [13.0, 15.0], [15.0, 17.0]]))
    assert (spot.string, spot.stop, spot.notes, spot.weeks) == (62, 4, 8, 4)
    assert spot.off == pytest.approx(13.0)
    assert spot.doubt == pytest.approx(2.096, abs=0.005)
    assert spot.outcome == SHARP
    assert (note_name(66), place_of(spot)) == ("F♯4", "on the D string, 4 semitones up")
    assert value_of(spot) == "13 ± 3 cents sharp"


def test_how_sharp_each_note_is_by_hand():
    """A pure third above the open D is 5/4, 386.314 cents, so F♯ stands 13.686 below equal
    temperament; of two stopped notes each stands half of it nearer (Ellis 1885 for the size).
    """
    reader = SimpleNamespace(a4_hz=440.0)
    third = {"target_cents": 386.314}
    d_hz, f_sharp_hz = 293.6648, 369.9944  # equal-tempered, A4 = 440 Hz
    off = {
        stops: _Reader._off(reader, Place(low=62, high=66, stops=stops), third, (d_hz, f_sharp_hz))
        for stops in ((0, 4), (7, 4), (7, 0))
    }
    assert off[0, 4] == pytest.approx((0.0, 13.686), abs=0.01)
    assert off[7, 4] == pytest.approx((-6.843, 6.843), abs=0.01)
    assert off[7, 0] == pytest.approx((-13.686, 0.0), abs=0.01)
    unknown = SimpleNamespace(a4_hz=None)
    assert np.isnan(_Reader._off(unknown, Place(low=62, high=66), third, (d_hz, f_sharp_hz))).all()


def test_what_is_little_or_not_sure_is_left_open():
    assert spots_of(one_place([[20.0, 20.0], [20.0, 20.0]]))[0].outcome == "unclear"  # two weeks
    assert spots_of(one_place([[40.0] * 2, [-20.0] * 2, [10.0] * 2]))[0].outcome == "unclear"
    assert spots_of(one_place([[4.0, 5.0]] * 4))[0].outcome == IN_TUNE
    assert spots_of(one_place([[-12.0, -14.0]] * 4))[0].outcome == FLAT


def test_a_high_fourth_finger_is_sharp_where_it_stands_and_nowhere_else():
    wrong = places = right = 0
    for seed in range(6):
        playings = Playings.of(weeks_of(FOURTH_HIGH, 700 + seed))
        fourth = {
            (int(low), int(stop))
            for row in playings.rows
            for low, stop, finger in zip(
                (row["low"] - row["stops"][0], row["high"] - row["stops"][1]),
                row["stops"],
                row["fingers"],
                strict=True,
            )
            if finger == 4
        }
        for spot in spots_of(playings):
            here = (spot.string, spot.stop) in fourth
            places += here
            right += here and spot.outcome == SHARP
            wrong += spot.outcome == FLAT or (spot.outcome == SHARP and not here)
    assert wrong == 0
    assert right > places / 8  # others share their place with other fingers, or were too seldom


def test_the_picture_holds_none_one_and_many():
    assert chart_of_spots((), ()) is None
    playings = one_place([[9.0]])
    chart = chart_of_spots(spots_of(playings), playings.clips)
    assert len(chart.signs) == 1
    assert [line.name for line in chart.strings] == ["D4"]
    many = Playings.of(weeks_of(FOURTH_HIGH, 5))
    chart = chart_of_spots(spots_of(many), many.clips)
    assert [line.name for line in chart.strings] == ["G3", "D4", "A4", "E5"]
    assert len({(sign.x, sign.y) for sign in chart.signs}) == len(chart.signs) > 30
    assert all(0 < sign.x < chart.width and 0 < sign.y < chart.height for sign in chart.signs)
    assert {bool(sign.points) for sign in chart.signs} == {True, False}
