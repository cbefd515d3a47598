"""Putting a drill together, bar by bar: each double stop in its bar, in the order asked for."""

from collections.abc import Sequence
from fractions import Fraction

from studio.figures.translation import _
from studio.notation.fingering import Placed, is_shift
from studio.notation.manners import BOTH, FINGERS_DOWN, MANNERS
from studio.notation.request import Request
from studio.notation.score import Score, Written

SEPARATE_BEATS = Fraction(1)
TOGETHER_BEATS = Fraction(2)


class Assembly:
    """A drill as it grows. Ids count what is written: n1, n2, n3."""

    def __init__(self, request: Request) -> None:
        self._request = request
        self._written: list[Written] = []
        self._bar = 0
        self._before: Placed | None = None

    def double_stop(self, way: Placed) -> None:
        """One bar: the two notes together, and separately in the order that the request says."""
        self._bar += 1
        manner = MANNERS[self._request.manner]
        for voices in manner.parts:
            if voices == BOTH:
                tied = tuple(voice == manner.held for voice in voices)
                self._add(way, voices, "together", TOGETHER_BEATS, tied)
            else:
                self._add(way, voices, "separate", SEPARATE_BEATS)

    def groups(self, ways: Sequence[Placed], size: int) -> None:
        """So many double stops a bar, where their notes are only played together."""
        if self._request.manner != "together":
            for way in ways:
                self.double_stop(way)
            return
        for first in range(0, len(ways), size):
            self._bar += 1
            for way in ways[first : first + size]:
                self._add(way, BOTH, "together", SEPARATE_BEATS)

    def chord(self, lower: Placed, upper: Placed) -> None:
        """One bar: a chord as its lower pair, then its upper pair, in one bow.

        The bow goes over the middle string of a three-part chord, whose note sounds on.
        """
        self._bar += 1
        common = lower.low_string + 1 == upper.low_string
        self._add(lower, BOTH, "together", TOGETHER_BEATS, slurred=True)
        self._add(upper, BOTH, "together", TOGETHER_BEATS, (common, False))

    def alone(self, way: Placed) -> None:
        """One bar: a double stop that nothing leads to."""
        self._bar += 1
        self._add(way, BOTH, "together", TOGETHER_BEATS)

    def led(self, way: Placed) -> None:
        """One bar: the finger that leads a shift alone, as a guide note, then both."""
        self._bar += 1
        voice = way.fingers.index(min(way.fingers))
        self._add(way, (voice,), "separate", SEPARATE_BEATS, guide=True, slurred=True)
        self._add(way, BOTH, "together", TOGETHER_BEATS)

    def score(self, title: str) -> Score | None:
        """What was put together; ``None`` where there is nothing."""
        if not self._written:
            return None
        return Score(
            title=title,
            instrument=self._request.instrument,
            key=self._request.key,
            written=tuple(self._written),
        )

    def _add(
        self,
        way: Placed,
        voices: tuple[int, ...],
        manner: str,
        beats: Fraction,
        tied: tuple[bool, ...] = (),
        *,
        slurred: bool = False,
        guide: bool = False,
    ) -> None:
        both = len(voices) == 2
        strings = way.numbers(self._request.player.open_strings)
        self._written.append(
            Written(
                id=f"n{len(self._written) + 1}",
                pitches=tuple((way.low, way.high)[voice] for voice in voices),
                bar=self._bar,
                strings=tuple(strings[voice] for voice in voices),
                fingers=tuple(way.fingers[voice] for voice in voices),
                beats=beats,
                manner=manner,
                playings=self._request.playings if both else 1,
                hold_s=self._request.hold_s if both else None,
                # The hand has moved by the first note of the bar that needs it.
                shift=is_shift(self._before, way),
                position=way.position,
                tied=tied,
                slurred=slurred,
                guide=guide,
                words=_(FINGERS_DOWN) if self._request.fingers_down and not self._written else "",
            )
        )
        if way.position is not None:  # over open strings the hand stays where it was
            self._before = way
