"""What the measurement of a large studio's pages is made of, and what it holds pages to."""

import numpy as np
import pytest

from tests.benchmarks.load import P95_MS, PROCESSOR_MS, RECORD_PROCESSOR_MS, Row
from tests.benchmarks.loading.connections import Answers
from tests.benchmarks.loading.five_years import CLIPS, EVENTS, WEEKS, five_years
from tests.benchmarks.loading.names import PROGRESS, RECORD


def test_five_years_are_two_thousand_clips_and_two_hundred_thousand_events():
    clips = five_years(1)
    weeks = (clips[-1].day - clips[0].day).days / 7
    events = sum(int(np.sum(clip.rows["runs"])) for clip in clips)
    assert len(clips) == CLIPS == 2_000
    assert events == pytest.approx(EVENTS, rel=0.05)
    assert weeks == pytest.approx(WEEKS, rel=0.2)


def row(page: str, processor_ms: float, seconds: float = 0.1, connections: int = 8) -> Row:
    answers = Answers(seconds=[seconds] * 100, lasted_s=1.0)
    return Row(page, connections, page == "shelf", 9, 5.0, answers, processor_ms)


@pytest.mark.parametrize("page", [*PROGRESS, *RECORD])
def test_what_is_seldom_read_is_held_to_its_processor_time_alone(page):
    slow = row(page, RECORD_PROCESSOR_MS + 1, seconds=9.0)
    assert slow.bounds() == ["≤ 60 processor ms: NOT YET"]
    assert row(page, RECORD_PROCESSOR_MS, seconds=9.0).bounds() == ["≤ 60 processor ms: reached"]


def test_every_other_page_is_held_to_the_time_until_it_is_there():
    said = row("shelf", PROCESSOR_MS, seconds=P95_MS / 1000 + 0.01).bounds()
    assert said == [
        "p95 ≤ 150 ms: NOT YET",
        "≥ 60 a second: reached",
        "≤ 30 processor ms: reached",
    ]
    assert row("shelf", PROCESSOR_MS, connections=32).bounds() == []
    assert row("desk, never judged", 900.0).bounds() == []
