"""How a pupil goes through a drill: simulated practice, with the truth about every sound.

A walk is a list of :class:`Sounded`: what was played, when, for which expected note. It repeats
notes and bars, goes back, begins again, leaves out, plays wrong notes and corrects them or not,
rests, plays something else in between, plays the notes of a double stop separately though only the
double stop is written, and the other way round. All of it from one random generator.

How often each happens is chosen, more often than in most real practice, so that a clip holds
several of each. The follower's own figures are not used here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from studio.intonation import ExpectedNote
from studio.theory import Pitch, interval_between, target_cents

SKIP_BAR, REPEAT_BAR, GO_BACK, BEGIN_AGAIN, GIVE_UP = 0.04, 0.08, 0.05, 0.03, 0.01
TOGETHER_ONLY, ONE_OF_TWO, APART_THOUGH_UNWRITTEN = 0.15, 0.05, 0.35
WRONG, CORRECTED, EXTRA, PAUSE = 0.05, 0.6, 0.04, 0.1
LEAD_IN_S = 0.6
LONGEST_EVENTS = 400


@dataclass(frozen=True, slots=True)
class Sounded:
    """One thing played. ``cents`` from low to high, above MIDI number 0 at the true A4."""

    note: int | None
    state: str
    cents: tuple[float, ...]
    start_s: float
    end_s: float


@dataclass(slots=True)
class Pace:
    """How long things last, in seconds."""

    single_s: tuple[float, float] = (0.5, 1.1)
    together_s: tuple[float, float] = (0.9, 1.9)


@dataclass(slots=True)
class _Walk:
    score: Sequence[ExpectedNote]
    rng: np.random.Generator
    pace: Pace
    at_s: float = LEAD_IN_S
    done: list[Sounded] = field(default_factory=list)

    def happens(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def rest(self, low_s: float, high_s: float) -> None:
        self.at_s += float(self.rng.uniform(low_s, high_s))

    def sound(self, note: int | None, state: str, cents: Sequence[float]) -> None:
        low_s, high_s = self.pace.single_s if len(cents) == 1 else self.pace.together_s
        start_s, self.at_s = self.at_s, self.at_s + float(self.rng.uniform(low_s, high_s))
        self.done.append(Sounded(note, state, tuple(cents), start_s, self.at_s))
        self.rest(0.1, 0.3)

    # --- one note --------------------------------------------------------------------------------

    def intended(self, note: int, off: float) -> list[float]:
        """The written pitches: the lowest near equal temperament, the others just above it but for
        ``off`` cents."""
        pitches = [Pitch.parse(name) for name in self.score[note].pitches]
        low = 100.0 * pitches[0].midi + float(self.rng.normal(0.0, 5.0))
        sizes = [_size(pitches[0], other) for other in pitches[1:]]
        return [low, *(low + size + off for size in sizes)]

    def play(self, note: int) -> None:
        """One note until the pupil is content."""
        if self.happens(EXTRA):
            self.something_else()
        if self.happens(WRONG):
            self.sound(note, "wrong", self.beside(note))
            if not self.happens(CORRECTED):
                return
        together = len(self.score[note].pitches) > 1
        off = float(self.rng.normal(0.0, 20.0))
        while True:
            self.sound(note, "whole", self.intended(note, off))
            off *= 0.5
            if not self.happens(0.4 if together else 0.08):
                return

    def beside(self, note: int) -> list[float]:
        """A wrong note: a semitone or two beside, in one voice or the whole hand."""
        cents = self.intended(note, 0.0)
        by = float(self.rng.choice([-200.0, -100.0, 100.0, 200.0]))
        if len(cents) == 1 or self.happens(0.3):
            return [each + by for each in cents]
        voice = int(self.rng.integers(len(cents)))
        moved = [each + by if place == voice else each for place, each in enumerate(cents)]
        return sorted(moved)

    def something_else(self) -> None:
        """A few notes that are not the drill's, or the open strings."""
        self.rest(0.2, 1.0)
        for _ in range(int(self.rng.integers(1, 4))):
            self.sound(None, "extra", [100.0 * float(self.rng.integers(57, 84)) + 20.0])
        self.rest(0.2, 1.0)

    # --- bars ------------------------------------------------------------------------------------

    def play_bar(self, notes: Sequence[int]) -> None:
        separate = [note for note in notes if self.score[note].manner == "separate"]
        left_out: set[int] = set()
        if separate and self.happens(TOGETHER_ONLY):
            left_out = set(separate)
        elif len(separate) > 1 and self.happens(ONE_OF_TWO):
            left_out = {int(self.rng.choice(separate))}
        for note in notes:
            if note in left_out:
                continue
            unwritten = len(self.score[note].pitches) == 2 and not separate
            if unwritten and self.happens(APART_THOUGH_UNWRITTEN):
                for cents in self.intended(note, 0.0):
                    self.sound(note, "part", [cents])
            self.play(note)
        self.rest(0.1, 0.4)
        if self.happens(PAUSE):
            self.rest(1.5, 4.0)


def walk(
    score: Sequence[ExpectedNote], rng: np.random.Generator, pace: Pace | None = None
) -> list[Sounded]:
    """One pupil's way through a score."""
    going = _Walk(score, rng, pace or Pace())
    bars = _bars(score)
    bar, begun_again = 0, False
    while bar < len(bars) and len(going.done) < LONGEST_EVENTS:
        if bar and going.happens(SKIP_BAR):
            bar += 1
            continue
        going.play_bar(bars[bar])
        if going.happens(REPEAT_BAR):
            continue
        if going.happens(GO_BACK):
            bar = max(0, bar - int(rng.integers(1, 4)))
            going.rest(0.3, 2.0)
        elif not begun_again and going.happens(BEGIN_AGAIN):
            bar, begun_again = 0, True
            going.rest(1.0, 5.0)
        elif going.happens(GIVE_UP):
            break
        else:
            bar += 1
    return going.done


def _bars(score: Sequence[ExpectedNote]) -> list[list[int]]:
    numbers = sorted({note.bar or 0 for note in score})
    return [[place for place, note in enumerate(score) if note.bar == bar] for bar in numbers]


def _size(low: Pitch, high: Pitch) -> float:
    cents = target_cents(interval_between(low, high), "just")
    return 100.0 * (high.midi - low.midi) if cents is None else cents
