"""The model of the hand: by hand, on made-up hands, in words, and the drills that treat it."""

import numpy as np
import pytest

from studio.notation import generate
from studio.progress.hand.causes import (
    KINDS,
    Cause,
    _criteria,
    _fitted,
    _Notes,
    _shares,
    finding_of,
)
from studio.progress.hand.drills import treatments
from studio.progress.hand.wording import how_sure, sentence
from studio.progress.playings import Playings
from tests.benchmarks.progressing import causes
from tests.benchmarks.progressing.hands import Hand, weeks_of


def test_four_notes_by_hand():
    """Notes 10, 12 of a finger and 0, 2 of another, in one clip; so the finger is 10 sharp.

    z less its mean is ±1/2, Σ z² = 1, residuals -1, 1, -1, 1. Weeks hold the first and last note,
    and the two between: their scores are -1 and 1, and 2/1 · (1 + 1) = 4. Each note is a place:
    4/3 · 4 · (1/2)² = 4/3. So the error is √(16/3) = 2.309. Two weeks of equal weight leave one
    degree of freedom, where Student's law is Cauchy's: p = 1 - 2 atan(10 / 2.309) / π = 0.1445, and
    its 97.5 % point is 12.706.
    """
    two = np.array([0, 1, 1, 0])
    notes = _Notes(
        off=np.array([10.0, 12.0, 0.0, 2.0]),
        clip=np.zeros(4, dtype=int),
        week=two,
        place=np.arange(4),
        string=np.full(4, 62),
        finger=np.array([1, 1, 2, 2]),
        position=np.ones(4, dtype=int),
        shifted=np.zeros(4, dtype=int),
    )
    fits = _fitted(notes, np.array([[1.0, 1.0, 0.0, 0.0]]))
    assert fits.cents == pytest.approx([10.0])
    assert fits.doubts == pytest.approx([2.3094 * 12.7062 / 1.95996], rel=1e-4)
    assert fits.p_values == pytest.approx([0.1445], abs=1e-4)


def test_the_criterion_by_hand():
    """Two places of two notes: means 3 and -3, noise Σ (±1)² / 2 = 2, so 1 for each mean.

    The likelihood of N(0, τ² + 1) is best at τ² = 8: with 9 it is -1/2 · 2 · (log 9 + 1). On the
    grid the nearest is τ² = 9 (3 c) or 6.25 (2.5 c); either is within 0.03 of it.
    """
    residuals = np.array([[2.0, 4.0, -4.0, -2.0]])
    found = _criteria(residuals, np.ones(4), np.array([0, 0, 1, 1]))
    assert found == pytest.approx([2.0 * (np.log(9.0) + 1.0) + np.log(2.0)], abs=0.06)


def test_every_kind_is_as_likely_before_looking():
    shares = _shares(np.zeros(5), ["finger", "finger", "finger", "finger", "frame"])
    assert shares == pytest.approx([0.125] * 4 + [0.5])


@pytest.mark.parametrize("hand", causes.HANDS, ids=lambda hand: hand.name)
def test_a_small_share_of_the_measure(hand):
    found = causes.figures_of(hand, range(900, 904))
    assert found.false == 0.0
    assert found.named is None or found.named >= 3 / 4
    assert causes.is_known(hand) or found.left == 1.0


def test_two_causes_at_once_are_not_taken_for_another():
    """As strong and told apart by nothing but more playing: one of the two, or none."""
    low = Hand(name="low", cause="finger", which=1, cents=-14.0)
    for seed in range(900, 904):
        clips = weeks_of(low, seed)
        for clip in clips:
            clip.rows["off"] += 14.0 * (clip.rows["shifted"] == 1)[:, None]
        cause = finding_of(Playings.of(clips)).cause
        assert cause is None or (cause.kind, cause.which) in {("finger", 1), ("shift", 0)}


def test_too_little_is_said_to_be():
    few = weeks_of(Hand(name="two weeks", weeks=2), 1)
    assert finding_of(Playings.of(few)).too_little
    assert finding_of(Playings.of([])).too_little


def a_cause(kind: str, which: int, cents: float = 14.0) -> Cause:
    return Cause(kind, which, cents, 2.2, 0.999, 200)


def test_words_say_the_cause_its_size_and_how_sure():
    assert sentence(a_cause("finger", 4)) == (
        "Notes of the fourth finger stand 14 ± 3 cents sharp, wherever it is set."
    )
    assert "too narrow" in sentence(a_cause("frame", 0, -18.0))
    assert sentence(a_cause("open_string", 62, -9.0)).startswith(
        "The D string itself is 9 ± 3 cents flat"
    )
    assert sentence(a_cause("position", 3)).startswith("In 3rd position the whole hand")
    assert how_sure(a_cause("shift", 0)).endswith("99 of 100.")
    said = {sentence(a_cause(kind, 62, cents)) for kind in KINDS for cents in (9.0, -9.0)
            if kind not in ("finger", "position")}  # fmt: skip
    assert len(said) == 8


@pytest.mark.parametrize("instrument", ["violin", "viola"])
def test_the_drills_that_treat_a_cause_can_be_made(instrument):
    asked = [("finger", n) for n in range(1, 5)] + [("position", n) for n in range(8)]
    for kind, which in [*asked, ("frame", 0), ("shift", 0), ("string", 62)]:
        drills = treatments(a_cause(kind, which), instrument)
        assert 1 <= len(drills) <= 2
        assert all(generate(each.request).written for each in drills)
    assert treatments(a_cause("open_string", 62), instrument) == []  # it is tuned, not practised
    assert treatments(a_cause("string", 76), "viola") == []
