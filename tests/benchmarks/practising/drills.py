"""Drills to practise: generated ones, and pages as another program might have written them."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from studio.intonation import ExpectedNote
from studio.notation import INTERVALS, Infeasible, Request, Score, generate

KEYS = ("G major", "D major", "A major", "Bb major", "F major", "C minor", "E minor", "A minor")


def drill(rng: np.random.Generator, **fixed: object) -> Score:
    """A scale in any interval and key, or another pattern, that can be played."""
    while True:
        asked = {
            "pattern": str(rng.choice(["scale"] * 6 + ["one_finger", "third_finger_check"])),
            "interval": str(rng.choice([name for name in INTERVALS if name != "unisons"])),
            "key": str(rng.choice(KEYS)),
            "octaves": int(rng.choice([1, 1, 2])),
            "direction": str(rng.choice(["up", "up_and_down"])),
            "manner": str(rng.choice(["together", "separately_then_together"])),
        }
        try:
            return generate(Request(**{**asked, **fixed}))
        except Infeasible:
            continue


def expected_notes(score: Score) -> list[ExpectedNote]:
    """The score as the follower takes it."""
    return [ExpectedNote.from_dict(written) for written in score.to_dict()["written"]]


def told(notes: Sequence[ExpectedNote], rng: np.random.Generator) -> list[ExpectedNote]:
    """What the follower is told of them: now and then a page without manners and fingers, as other
    programs write it."""
    if rng.random() < 0.75:
        return list(notes)
    return [replace(note, manner=None, fingers=(), strings=()) for note in notes]
