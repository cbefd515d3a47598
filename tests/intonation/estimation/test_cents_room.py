"""What sounds beside a sounding, by tones whose levels are known."""

import numpy as np
import pytest

from studio.intonation.estimation import goodness_of_fit

SR = 22050


def sounding(before_db: float, after_db: float) -> np.ndarray:
    """A tone from 1 to 2 s between quieter tones, at the given levels re it."""
    t = np.arange(3 * SR) / SR
    level_db = np.where(t < 1.0, before_db, np.where(t < 2.0, 0.0, after_db))
    return 0.1 * np.sin(2 * np.pi * 440.0 * t) * 10 ** (level_db / 20)


@pytest.mark.parametrize(
    ("before_db", "after_db", "expected_db"),
    [
        (-20.0, -12.0, -12.0),
        (-10.0, -20.0, -10.0),
        (-60.0, -60.0, goodness_of_fit.QUIETEST_DB),
        (-15.0, 0.0, -15.0),  # another note follows: that is no tail
        (0.0, -2.0, goodness_of_fit.UNKNOWN_DB),
    ],
)
def test_the_rest_is_the_louder_of_what_is_left_before_and_after(before_db, after_db, expected_db):
    y = sounding(before_db, after_db)
    assert goodness_of_fit.rest_db(y, SR, 1.0, 2.0) == pytest.approx(expected_db, abs=0.2)


def test_at_the_very_ends_of_a_clip_the_rest_is_not_known():
    y = sounding(-20.0, -20.0)[SR : 2 * SR]
    assert goodness_of_fit.rest_db(y, SR, 0.0, 1.0) == goodness_of_fit.UNKNOWN_DB
