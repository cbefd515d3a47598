"""What was said to the pupil before about what a mark is about, to stand beside it.

Nearest first: the same two notes, then the same interval, then the same drill; of each the newest.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from studio.review.marks.mark import Mark
from studio.review.models import ReturnedMoment, Review
from studio.review.returning.moments import named

SHOWN = 3
NOTES, INTERVAL, DRILL = _("the same two notes"), _("the same interval"), _("the same drill")


@dataclass(frozen=True, slots=True)
class Said:
    """A comment of an earlier clip, and in what it is about the same."""

    moment: ReturnedMoment
    same: str

    @property
    def clip(self):
        return self.moment.returned.review.clip


def about(
    marks: Iterable[Mark], name: str, review: Review, said: Sequence[ReturnedMoment]
) -> list[Said]:
    """What was said about the marks of a run, whose ``name`` is such as ``octave D5–D6``."""
    interval, low, high = named(name)
    drill = review.answers.version.drill_id if review.answers else 0
    pairs = {mark.midis for mark in marks if len(mark.midis) == 2} | {(low, high)}
    found: list[tuple[int, Said]] = []
    for moment in said:
        if moment.low is not None and (moment.low, moment.high) in pairs:
            found.append((0, Said(moment, NOTES)))
        elif interval and moment.interval == interval:
            found.append((1, Said(moment, INTERVAL)))
        elif drill and moment.drill == drill and not moment.interval:
            found.append((2, Said(moment, DRILL)))
    found.sort(key=lambda each: each[0])  # stable: the newest stay first
    return [each for _nearness, each in found[:SHOWN]]
