"""The bars of a part: the numbers they have on the page, and the order in which they are played."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from studio import figures

_NUMBER = re.compile(r"([0-9]{1,5})[a-z]?")
MOST_TIMES = 8  # that a passage is repeated; more is said in words on a page
LONGEST = 8  # times the bars that there are, whatever the repeats say


def bar_numbers(part: Element) -> tuple[list[int], bool]:
    """The number of each ``measure``, and whether they are the page's own.

    A measure without a number of its own (a bar that a repeat cuts in two) is of the bar before
    it; a pickup is bar 0. Where the page's numbers fall, the bars are counted from 1, a pickup
    from 0.
    """
    found: list[int] = []
    for measure in part.findall("measure"):
        said = _NUMBER.fullmatch((measure.get("number") or "").strip())
        before = found[-1] if found else 0
        found.append(int(said.group(1)) if said else before)
    if found == sorted(found):
        return found, True
    pickup = part.find("measure").get("implicit") == "yes"  # type: ignore[union-attr]
    return list(range(0 if pickup else 1, len(found) + (0 if pickup else 1))), False


@dataclass(slots=True)
class _Bar:
    """What a measure's bar lines say. ``endings``: the times for which it is played, if not all."""

    forward: bool = False
    times: int = 0  # how often what it closes is played; 0 where it closes nothing
    endings: frozenset[int] = frozenset()


def playing_order(part: Element) -> list[int]:
    """Places of the measures from 0 in the order played, with repeats and endings unfolded.

    Jumps (D.C., D.S., coda) are left to the player.
    """
    bars = _bars(part)
    order: list[int] = []
    place = start = 0
    time = 1
    while place < len(bars) and len(order) < LONGEST * len(bars):
        bar = bars[place]
        if bar.forward and place > start:
            start, time = place, 1
        if bar.endings and time not in bar.endings:
            place += 1
            continue
        order.append(place)
        last = bar.times and time >= _times(bars, place)
        if bar.times and not last:
            place, time = start, time + 1
            continue
        place += 1
        following = bars[place] if place < len(bars) else _Bar()
        if last or (bar.endings and not following.endings):
            # Endings for other times may follow; they are passed over first.
            while place < len(bars) and bars[place].endings and time not in bars[place].endings:
                place += 1
            if not (place < len(bars) and bars[place].endings):
                start, time = place, 1
    return order


def _times(bars: Sequence[_Bar], place: int) -> int:
    """How often the passage that a measure closes is played: its endings say so, or its sign."""
    if not bars[place].endings:
        return bars[place].times
    last = place
    while last + 1 < len(bars) and bars[last + 1].endings:
        last += 1
    first = place
    while first > 0 and bars[first - 1].endings:
        first -= 1
    endings = frozenset[int]().union(*(bar.endings for bar in bars[first : last + 1]))
    return max(2, min(MOST_TIMES, max(endings)))


def _bars(part: Element) -> list[_Bar]:
    found = []
    endings = frozenset[int]()
    for measure in part.findall("measure"):
        bar, ends = _Bar(), False
        for line in measure.findall("barline"):
            ending, repeat = line.find("ending"), line.find("repeat")
            if ending is not None:
                if ending.get("type") == "start":
                    endings = _endings(ending.get("number", ""))
                else:
                    ends = True
            if repeat is not None:
                if repeat.get("direction") == "forward":
                    bar.forward = True
                else:
                    bar.times = figures.whole(repeat.get("times", "2"), low=2, high=MOST_TIMES) or 2
        bar.endings = endings
        if ends:
            endings = frozenset()
        found.append(bar)
    return found


def _endings(text: str) -> frozenset[int]:
    said = (
        figures.whole(each.strip(" ."), low=1, high=MOST_TIMES) for each in re.split("[, ]", text)
    )
    return frozenset(number for number in said if number)
