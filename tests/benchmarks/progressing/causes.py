"""Whether the cause that is named for weeks of deviations is the true one.

Hands of :mod:`.hands`, of whom it is known what moves their notes: six kinds of causes, two sizes
or places of each, two hands with none, and one of which nothing can tell whether string or fingers
are out, so that it should be left open. Definitions (fixed; a change of one makes earlier figures
incomparable):

* **named**: the cause is said, its kind and which finger, string or position it is.
* **false**: another one is said; of a hand without a cause, any.
* **left**: none is said. The three add up to 1.
* **off**: of those named, the cents differ from the true ones by more than twice the stated
  deviation.

Wanted are named in 90 % at least of each hand that has a cause, and false in 5 % at most of each.
"""

import time
from collections import Counter
from dataclasses import dataclass

from scipy import stats

from studio import figures
from studio.progress.hand.causes import KINDS, Cause, finding_of
from studio.progress.playings import Playings
from studio.theory import VIOLIN

from .hands import FINGER, FRAME_WIDTH, OPEN, POSITION, SHIFT, STRING, Hand, weeks_of

LEAST_NAMED, MOST_FALSE = 0.90, 0.05
HANDS = (
    Hand(name="no cause"),
    Hand(name="no cause, few weeks", weeks=6),
    Hand(name="D string 14 c sharp, never open", cause=STRING, which=3, cents=14.0, opens=False),
    Hand(name="first finger 14 c flat", cause=FINGER, which=1, cents=-14.0),
    Hand(name="fourth finger 14 c sharp", cause=FINGER, which=4, cents=14.0),
    Hand(name="frame 18 c wide", cause=FRAME_WIDTH, cents=18.0),
    Hand(name="frame 18 c narrow", cause=FRAME_WIDTH, cents=-18.0),
    Hand(name="D string 14 c sharp", cause=STRING, which=3, cents=14.0),
    Hand(name="A string 14 c flat", cause=STRING, which=2, cents=-14.0),
    Hand(name="open D 14 c flat", cause=OPEN, which=3, cents=-14.0),
    Hand(name="open A 10 c sharp", cause=OPEN, which=2, cents=10.0),
    Hand(name="3rd position 14 c sharp", cause=POSITION, which=3, cents=14.0),
    Hand(name="1st position 14 c flat", cause=POSITION, which=1, cents=-14.0),
    Hand(name="after shifts 14 c sharp", cause=SHIFT, which=1, cents=14.0),
    Hand(name="after shifts 14 c flat", cause=SHIFT, which=1, cents=-14.0),
)


@dataclass(frozen=True, slots=True)
class Figures:
    """One line of the table: shares from 0 to 1; ``None`` where it cannot be."""

    hands: int
    named: float | None
    named_from: float | None
    false: float
    false_to: float
    left: float
    off: float | None
    processor_ms: float


def measured(seeds: range) -> dict[str, Figures]:
    return {hand.name: figures_of(hand, seeds) for hand in HANDS}


def figures_of(hand: Hand, seeds: range) -> Figures:
    count: Counter[str] = Counter()
    spent = 0.0
    for seed in seeds:
        playings = Playings.of(weeks_of(hand, seed))
        begun = time.process_time()
        cause = finding_of(playings).cause
        spent += time.process_time() - begun
        count[_outcome(hand, cause)] += 1
        count["off"] += cause is not None and abs(cause.cents - hand.cents) > 2.0 * cause.doubt
    hands = len(seeds)
    named, false = (
        stats.binomtest(count[each], hands).proportion_ci(method="wilson")
        for each in ("named", "false")
    )
    return Figures(
        hands=hands,
        named=count["named"] / hands if is_known(hand) else None,
        named_from=float(named.low) if is_known(hand) else None,
        false=count["false"] / hands,
        false_to=float(false.high),
        left=count["left"] / hands,
        off=count["off"] / count["named"] if count["named"] else None,
        processor_ms=1000.0 * spent / hands,
    )


def is_known(hand: Hand) -> bool:
    """Whether it can be told at all."""
    return bool(hand.cause) and hand.opens


def _outcome(hand: Hand, cause: Cause | None) -> str:
    if cause is None:
        return "left"
    return "named" if (cause.kind, cause.which) == meant(hand) else "false"


def meant(hand: Hand) -> tuple[str, int]:
    """The true cause as it is named."""
    which = {STRING: _open_midi, OPEN: _open_midi, SHIFT: lambda _: 0}
    return hand.cause, which.get(hand.cause, int)(hand.which)


def _open_midi(number: int) -> int:
    return VIOLIN.open_strings[len(VIOLIN.open_strings) - number].midi


def is_reached(found: dict[str, Figures]) -> bool:
    assert set(KINDS) == {hand.cause for hand in HANDS if hand.cause}
    return all(
        line.false <= MOST_FALSE and (line.named is None or line.named >= LEAST_NAMED)
        for line in found.values()
    )


def table(found: dict[str, Figures]) -> str:
    lines = [f"{'hand':38} named   from   false     to    left     off   ms"]
    for name, line in found.items():
        shares = (
            *(line.named, line.named_from, line.false),
            *(line.false_to, line.left, line.off),
        )
        said = ("-" if s is None else figures.number(100 * s) for s in shares)
        figures_said = "  ".join(f"{each:>6}" for each in said)
        lines.append(f"{name:38} {figures_said}  {figures.number(line.processor_ms)}")
    return "\n".join(lines)
