"""Places of a clip that the teacher says the bar of: the drill is followed through them.

A pin is kept by its span on the clip's time axis, so that it holds the same place when the clip is
heard anew. Where a newer listening hears nothing there, or runs two pinned places together, the pin
stays a row, is passed over, and the desk says so. The judgement is made anew with the press: it
follows from the pins (:func:`.judging.judge_listening`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Person
from studio.intonation import Pin
from studio.intonation.alignment import pins as pinning
from studio.review.changes import lock_unreturned
from studio.review.models import BarPin, Review

from . import counting
from .judging import Judged, expected_notes, judged, pins_of


class Refused(Exception):
    """The place cannot be that bar; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Heard:
    """The span of one heard event, in seconds."""

    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Standing:
    """A pin as the desk lists it; ``followed``: the following goes through it."""

    pin: BarPin
    followed: bool

    @property
    def where(self) -> str:
        """Where it begins, to the tenth of a second."""
        return figures.place(self.pin.start_s, 1)


def standing(judged: Judged | None, pins: Sequence[BarPin]) -> list[Standing]:
    """A clip's pins in time, each with whether the following goes through it."""
    following = (judged.judgement.get("following") if judged else None) or {}
    through = {(pin["start_s"], pin["end_s"], pin["bar"]) for pin in following.get("pins", ())}
    in_time = sorted(pins, key=lambda pin: (pin.start_s, pin.pk))
    return [Standing(pin, (pin.start_s, pin.end_s, pin.bar) in through) for pin in in_time]


@transaction.atomic
def place(review: Review, span: tuple[float, float], bar: int, teacher: Person) -> BarPin:
    """Say which bar a span of the clip is, in seconds; the same once more is the same pin.

    Raises
    ------
    Refused
        Where nothing is heard there, it is said to be another bar, or the page has no such bar.
    """
    locked = lock_unreturned(review)
    start_s, end_s = span
    found = review.bar_pins.filter(start_s=start_s, end_s=end_s, bar=bar).first()
    if found is not None:
        return found
    _look_at(Pin(start_s, end_s, bar), review)
    found = BarPin.objects.create(
        review=review, start_s=start_s, end_s=end_s, bar=bar, placed_by=teacher
    )
    _count_marks(locked)
    return found


@transaction.atomic
def take_away(review: Review, pin_id: int) -> None:
    """Follow the drill without a pin; gone already is no error."""
    locked = lock_unreturned(review)
    BarPin.objects.filter(pk=pin_id, review=review).delete()
    _count_marks(locked)


def _look_at(pin: Pin, review: Review) -> None:
    heard, expected = judged(review), expected_notes(review)
    if heard is None or expected is None:
        raise Refused(_("This clip answers no drill with a page."))
    events = [Heard(event["start_s"], event["end_s"]) for event in heard.measurement["events"]]
    before = pinning.usable(pins_of(review), events, expected)
    try:
        pinning.bars_of([*before, pin], events, expected)
    except pinning.UnusablePin as error:
        raise Refused(_why(error)) from None


def _why(error: pinning.UnusablePin) -> str:
    start, end = (figures.place(at, 1) for at in (error.pin.start_s, error.pin.end_s))
    if error.code == pinning.NOT_HEARD:
        return _(
            "Nothing is heard from %(start)s to %(end)s. Choose a row, or a span in which notes "
            "sound."
        ) % {"start": start, "end": end}
    if error.code == pinning.TWO_BARS:
        return _(
            "What sounds at %(start)s is said to be bar %(bar)s already. Take that away first."
        ) % {"start": start, "bar": error.bar}
    return _("The page has no bar %(bar)s.") % {"bar": error.pin.bar}


def _count_marks(locked: Review) -> None:
    """For the list: by the newest listening, whatever the page shows."""
    found = judged(locked)
    if found is not None:
        Review.objects.filter(pk=locked.pk).update(**counting.counts_of(found))
