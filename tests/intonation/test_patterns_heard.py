"""Patterns played with a known fault, as sound: heard, followed and judged rightly.

The sound is added up from exact harmonics; what is tied sounds on, what is slurred follows without
a gap.
"""

import numpy as np
import pytest

from studio.intonation import ExpectedNote, Options, Policy, analyse
from studio.notation import Request, Score, generate
from studio.notation.tones import frequencies_of
from studio.theory import Pitch
from tests.analysed import SR

FAULT_CENTS = 32.0
SINGLE_S, TOGETHER_S, GAP_S = 0.8, 1.3, 0.25


def sound(score: Score, off: dict[str, float]) -> np.ndarray:
    """The drill played once; ``off`` raises the highest note of what has that id, in cents."""
    is_melody = all(len(item.pitches) == 1 for item in score.written)
    hz = frequencies_of(score, "equal" if is_melody else "just")
    notes: dict[tuple[str, Pitch], list[float]] = {}  # frequency, start, end
    before, at_s = None, 0.4
    for item in score.written:
        if before is not None and not (before.slurred or any(item.tied)):
            at_s += GAP_S
        end_s = at_s + (TOGETHER_S if len(item.pitches) > 1 else SINGLE_S)
        pitch_by = 1.0  # what is tied keeps its pitch, and the others are tuned to it
        for pitch, f0, tied in zip(item.pitches, hz[item.id], item.tied, strict=True):
            if tied:
                held = notes[item.id, pitch] = notes[before.id, pitch]
                held[2], pitch_by = end_s, held[0] / f0
        raised = 2.0 ** (off.get(item.id, 0.0) / 1200.0)
        for pitch, f0 in zip(item.pitches, hz[item.id], strict=True):
            by = raised if pitch == item.pitches[-1] else 1.0
            notes.setdefault((item.id, pitch), [f0 * pitch_by * by, at_s, end_s])
        before, at_s = item, end_s
    return _added_up({id(note): note for note in notes.values()}.values(), at_s + 0.5)


def _added_up(notes, length_s: float) -> np.ndarray:
    y = 1e-3 * np.random.default_rng(5).standard_normal(int(length_s * SR))
    for f0, start_s, end_s in notes:
        tone = _tone(f0, end_s - start_s)
        first = int(start_s * SR)
        y[first : first + len(tone)] += tone
    return 0.1 * y


def _tone(f0: float, seconds: float) -> np.ndarray:
    t = np.arange(int(seconds * SR)) / SR
    y = sum(np.sin(2 * np.pi * k * f0 * t + k * k) / k**1.2 for k in range(1, 13))
    return y * np.minimum(1.0, np.minimum(t, t[::-1]) / 0.03)


def judged(score: Score, off: dict[str, float], **policy: object):
    expected = [ExpectedNote.from_dict(written) for written in score.to_dict()["written"]]
    result = analyse(sound(score, off), SR, Options(), Policy(**policy), expected)
    return result.judgement


def made(pattern: str, **asked: object) -> Score:
    usual = {"key": "G major", "direction": "up", "manner": "together"}
    return generate(Request(pattern=pattern, **{**usual, **asked}))


def wrongly(judgement) -> list[str]:
    """Refs of what was marked, and their deviations."""
    return [row.score_ref for row in judgement.intervals if row.verdict == "out"]


@pytest.mark.sweep(2 / 5)
@pytest.mark.parametrize(
    ("pattern", "asked", "at"),
    [
        ("pairs", {"pairs": (("A3", "F#4"), ("B3", "G4")), "manner": "hold_lower"}, "n4"),
        ("pairs", {"pairs": (("A3", "F#4"), ("B3", "G4")), "manner": "both_then_upper"}, "n3"),
        ("inversions", {"key": "G major"}, "n6"),
        ("resolutions", {"resolution": "suspension", "key": "D major", "slur": 4}, "n3"),
        ("shifting", {"interval": "sixths", "strings": (4, 3)}, "n3"),
    ],
    ids=["one held", "both then upper", "a chord in two pairs", "a slurred cadence", "a shift"],
)
def test_the_one_double_stop_that_is_off_is_the_one_that_is_marked(pattern, asked, at):
    usual = {"interval": "sixths"} | asked
    score = made(pattern, **usual)
    score = score.with_written(score.written[:8])
    judgement = judged(score, {at: FAULT_CENTS})
    assert [note.ref for note in judgement.following.missed] == []
    [note] = [note for note in judgement.following.notes if note.ref == at]
    assert note.last_cents == pytest.approx(FAULT_CENTS, abs=1.5)
    assert set(wrongly(judgement)) == {at}
    others = [n for n in judgement.following.notes if n.ref != at and n.last_cents is not None]
    assert others
    assert all(abs(n.last_cents) < 2.0 for n in others)


def test_a_scale_on_one_string_is_judged_note_by_note_against_a_melodic_tuning():
    score = made("one_string", key="G major", string=3)
    judgement = judged(score, {"n5": -FAULT_CENTS}, judge_singles=True)
    assert judgement.following.missed == ()
    out = [row.score_ref for row in judgement.singles if row.verdict == "out"]
    assert out == ["n5"]
    assert [mark.code for mark in judgement.marks] == ["single_flat"]
    [off] = [row.deviation_cents for row in judgement.singles if row.score_ref == "n5"]
    assert off == pytest.approx(-FAULT_CENTS, abs=3.0)
