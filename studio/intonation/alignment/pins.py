"""Places of a clip that somebody has pinned to a bar: what the likeliest path must go through.

A pin holds every event of which at least half lies in its span, and every event that covers at
least half of the span: so it holds whatever of a place is heard another time, cut in two or run
together. The first of them stands for a note of the bar, at whatever cost, unless it has more
voices than any note there and so cannot; the others stand for a note of the bar or are extra. Where
none can be a note of the bar, the path is in that bar all the same, and goes on from there.

A pin is put into the costs of the hidden Markov model: what it rules out costs infinitely much. The
search itself (:func:`studio.intonation.alignment.hidden_markov_model.likeliest_path`) knows nothing
of pins, and without pins every cost is what it was.
"""

from collections.abc import Sequence
from math import inf, isfinite
from typing import TYPE_CHECKING, Protocol

from studio import figures
from studio.intonation.model.score_following import ExpectedNote, Pin

if TYPE_CHECKING:
    import numpy as np

HELD = 0.5  # of the shorter of the two, an event and a span: chosen
NO_BAR, NOT_HEARD, TWO_BARS = "no_bar", "not_heard", "two_bars"


class Spanned(Protocol):
    """What has a beginning and an end in the clip, in seconds: an event."""

    @property
    def start_s(self) -> float: ...
    @property
    def end_s(self) -> float: ...


class UnusablePin(ValueError):
    """A pin that no path can go through.

    Attributes
    ----------
    pin : the one that cannot be used
    code : why: the score has no such bar (``no_bar``), nothing is heard there (``not_heard``), or
        another pin puts the same sound into another bar (``two_bars``)
    bar : for ``two_bars`` the other bar
    """

    def __init__(self, pin: Pin, code: str, why: str, bar: int | None = None) -> None:
        super().__init__(why)
        self.pin, self.code, self.bar = pin, code, bar


def held_by(pin: Pin, events: Sequence[Spanned]) -> list[int]:
    """The places of the events that a pin holds, in time."""
    found = []
    for place, event in enumerate(events):
        shared_s = min(pin.end_s, event.end_s) - max(pin.start_s, event.start_s)
        shorter_s = min(pin.end_s - pin.start_s, event.end_s - event.start_s)
        if shared_s > 0.0 and shared_s >= HELD * shorter_s:
            found.append(place)
    return found


def bars_of(
    pins: Sequence[Pin], events: Sequence[Spanned], score: Sequence[ExpectedNote]
) -> dict[int, int]:
    """The bar of each event that is held, by the event's place in time.

    Raises
    ------
    UnusablePin
        For the first pin that is at odds with the score, with what was heard, or with those before
        it.
    """
    found: dict[int, int] = {}
    written = {note.bar for note in score if note.bar is not None}
    for pin in pins:
        held = held_by(pin, events)
        if pin.bar not in written:
            raise _no_bar(pin, written)
        if not held:
            raise UnusablePin(
                pin,
                NOT_HEARD,
                f"nothing is heard from {figures.place(pin.start_s, 2)} to "
                f"{figures.place(pin.end_s, 2)}; pin a span in which a note sounds",
            )
        for place in held:
            bar = found.setdefault(place, pin.bar)
            if bar != pin.bar:
                raise UnusablePin(
                    pin,
                    TWO_BARS,
                    f"the sound at {figures.place(events[place].start_s, 2)} is pinned to bar "
                    f"{bar} and to bar {pin.bar}; take one of the two away",
                    bar,
                )
    return found


def _no_bar(pin: Pin, written: set[int]) -> UnusablePin:
    if not written:
        return UnusablePin(pin, NO_BAR, "the score numbers no bars; number them, or pin nothing")
    return UnusablePin(
        pin,
        NO_BAR,
        f"the score has no bar {pin.bar}; pin a bar from {min(written)} to {max(written)}",
    )


def usable(
    pins: Sequence[Pin], events: Sequence[Spanned], score: Sequence[ExpectedNote]
) -> list[Pin]:
    """The pins that a path can go through, each in its turn: one at odds with those before it is
    left out, and so is one of a bar that is not written or of a place where nothing is heard."""
    found: list[Pin] = []
    for pin in pins:
        try:
            bars_of([*found, pin], events, score)
        except UnusablePin:
            continue
        found.append(pin)
    return found


def constrained(
    pins: Sequence[Pin],
    events: Sequence[Spanned],
    score: Sequence[ExpectedNote],
    fits: "np.ndarray",
    extras: "np.ndarray",
) -> tuple["np.ndarray", "np.ndarray", set[int]]:
    """The costs with what the pins rule out.

    Parameters
    ----------
    fits : np.ndarray, shape (t, n)
        Cost of each event standing for each note.
    extras : np.ndarray, shape (t,)
        Cost of each event being extra.

    Returns
    -------
    fits, extras, unfit
        Copies; and the places of the events that are in the bar but cannot be any note of it: the
        path has a note for them, and they are extra.

    Raises
    ------
    UnusablePin
        As :func:`bars_of`.
    """
    fits, extras = fits.copy(), extras.copy()
    first = {held[0] for pin in pins if (held := held_by(pin, events))}
    unfit = set[int]()
    for place, bar in bars_of(pins, events, score).items():
        inside = [n for n, note in enumerate(score) if note.bar == bar]
        own = fits[place, inside]
        fits[place] = inf
        fits[place, inside] = own
        if place not in first:
            continue
        if not isfinite(own.min()):
            fits[place, inside] = extras[place]
            unfit.add(place)
        extras[place] = inf
    return fits, extras, unfit
