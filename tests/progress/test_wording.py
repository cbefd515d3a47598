"""What a trend says, word for word."""

from datetime import date

import pytest

from studio.progress import wording
from studio.progress.playings import week_of
from studio.progress.recordings import Changed
from studio.progress.subjects import Subject
from studio.progress.trends import CLOSER, FURTHER, SAME, TOO_LITTLE, UNCLEAR, Trend

TODAY = date(2026, 12, 4)
SEPTEMBER, NOW = week_of(date(2026, 9, 7)), week_of(TODAY)
LOWER = Subject("octaves", strings=(4, 3))


def trend(outcome=CLOSER, subject=LOWER, change=-9.2, uncertainty=2.4, since=SEPTEMBER, until=NOW):
    told = {"since": since, "until": until, "change": change, "uncertainty": uncertainty}
    return Trend(subject, outcome, 120, 12, **(told if outcome != TOO_LITTLE else {}))


@pytest.mark.parametrize(
    ("said", "measure", "reads"),
    [
        (trend(), "settled",
         "Octaves on the lower strings: closer by 9 ± 3 cents since September"),
        (trend(FURTHER, Subject("sixths"), 3.0, 1.0), "settled",
         "Sixths: further off by 3 ± 1 cents since September"),
        (trend(SAME, Subject("thirds", key="Bb major"), 0.4), "settled",
         "Thirds in B♭ major: the same since September, within 4 cents"),
        (trend(UNCLEAR, Subject("tenths", position=3)), "settled",
         "Tenths in 3rd position: not clear yet"),
        (trend(TOO_LITTLE, Subject("octaves", fingers=(1, 4))), "settled",
         "Octaves with first finger below and fourth finger above: not clear yet"),
        (trend(subject=Subject("fifths", fingers=(0, 0))), "steadiness",
         "Fifths with two open strings: steadier by 9 ± 3 cents since September"),
        (trend(subject=Subject("fifths", fingers=(2, 2))), "landing",
         "Fifths with second finger on both: landing closer by 9 ± 3 cents since September"),
        (trend(change=-2.2, uncertainty=0.6), "balance",
         "Octaves on the lower strings: more even by 2 ± 1 dB since September"),
        (trend(until=week_of(date(2026, 10, 12))), "first",
         "Octaves on the lower strings: first playing closer by 9 ± 3 cents "
         "from September to October"),
        (trend(since=week_of(date(2025, 9, 8))), "settled",
         "Octaves on the lower strings: closer by 9 ± 3 cents since September 2025"),
    ],
)  # fmt: skip
def test_a_statement_reads(said, measure, reads):
    assert wording.statement(said, measure, TODAY) == reads


def test_why_it_is_not_clear_is_said():
    assert "12 weeks" in wording.why_not(trend(TOO_LITTLE))
    assert wording.why_not(trend()) == ""


def test_another_a4_is_said_and_what_is_compared_all_the_same():
    said = wording.changed(Changed("a4", date(2026, 10, 5), 40, -14.6), TODAY)
    assert said.startswith("From 5 October on the recordings stand at another A4, 15 cents lower.")
    other = wording.changed(Changed("microphone", date(2026, 10, 5), 40, 8.0), TODAY)
    assert "Intervals compare all the same" in other
