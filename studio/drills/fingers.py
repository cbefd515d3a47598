"""Strings, fingers, holds and playings of a page, changed by hand in a table.

One row for each double stop, chord or lone note. The separate notes of a bar follow the double stop
that they belong to. Anything a hand can do may be written; only what contradicts itself is refused,
with a sentence that names the bar.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from django.utils.translation import gettext as _

from studio import figures
from studio.notation import Score, Written
from studio.notation.naming import short_name
from studio.notation.score import HOLD_S_BOUNDS
from studio.theory import Pitch
from studio.theory.fingers import MAX_POSITION, letters_above
from studio.theory.instruments import MAX_STOP_SEMITONES, string_number
from studio.translating import gettext_lazy

PLAYINGS_BOUNDS = (1, 12)
FINGER_WORDS = (
    "open",
    gettext_lazy("first finger"),
    gettext_lazy("second finger"),
    gettext_lazy("third finger"),
    gettext_lazy("fourth finger"),
)


class Refused(ValueError):
    """What was written contradicts itself; the message is a sentence for the teacher."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One note of a row: what its two fields are called and hold."""

    pitch: str
    string_name: str
    finger_name: str
    string: str
    finger: str


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the table."""

    ref: str
    bar: int
    name: str
    cells: tuple[Cell, ...]
    hold_name: str
    hold: str
    playings_name: str
    playings: str
    error: str = ""


@dataclass(slots=True)
class Reading:
    """What was read from the table: the score as changed, and sentences by ref."""

    score: Score
    errors: dict[str, str] = field(default_factory=dict)


def rows_of(
    leaf: Score, data: Mapping[str, str] | None = None, errors: Mapping[str, str] | None = None
) -> list[Row]:
    """The rows of one leaf; ``data`` is what was posted, where it has to be shown again."""
    return [_row(item, data, (errors or {}).get(item.id, "")) for item in _shown(leaf)]


def strings_of(score: Score) -> list[tuple[str, str]]:
    """The choices for a string: its number and its letter."""
    strings = score.player.open_strings
    choices = [
        (str(string_number(place, strings)), string.step) for place, string in enumerate(strings)
    ]
    return [("", "–"), *choices]


def read_rows(score: Score, leaf: Score, data: Mapping[str, str]) -> Reading:
    """The whole score with what the posted table says of one of its leaves."""
    changed: dict[str, Written] = {}
    reading = Reading(score)
    for item in _shown(leaf):
        try:
            changed[item.id] = _read(score, item, data)
        except Refused as error:
            reading.errors[item.id] = f"Bar {item.bar}: {error}"
    if not reading.errors:
        reading.score = _with_hand(_with_separate(score, changed), changed)
    return reading


def _shown(leaf: Score) -> list[Written]:
    return [item for item in leaf.written if item.manner != "separate"]


def _row(item: Written, data: Mapping[str, str] | None, error: str) -> Row:
    def value(name: str, stored: Any) -> str:
        return (
            data.get(name, "")
            if data is not None
            else ""
            if stored is None
            else figures.number(stored, 2)
        )

    cells = tuple(
        Cell(
            pitch.pretty,
            f"s-{item.id}-{place}",
            f"f-{item.id}-{place}",
            value(f"s-{item.id}-{place}", item.strings[place]),
            value(f"f-{item.id}-{place}", item.fingers[place]),
        )
        for place, pitch in enumerate(item.pitches)
    )
    hold, playings = f"h-{item.id}", f"p-{item.id}"
    return Row(
        item.id,
        item.bar,
        short_name(item),
        cells,
        hold,
        value(hold, item.hold_s),
        playings,
        value(playings, item.playings),
        error,
    )


def _read(score: Score, item: Written, data: Mapping[str, str]) -> Written:
    places = range(len(item.pitches))
    strings = tuple(
        _whole(data.get(f"s-{item.id}-{place}", ""), 1, 4, "string") for place in places
    )
    fingers = tuple(
        _whole(data.get(f"f-{item.id}-{place}", ""), 0, 4, "finger") for place in places
    )
    stops = [_stop(score, *note) for note in zip(item.pitches, strings, fingers, strict=True)]
    if len(item.pitches) > 1:
        _require_one_hand(item, strings, stops, fingers)
    playings = _whole(data.get(f"p-{item.id}", ""), *PLAYINGS_BOUNDS, _("number of times"))
    return replace(
        item,
        strings=strings,
        fingers=fingers,
        hold_s=_seconds(data.get(f"h-{item.id}", "")),
        playings=playings or 1,
    )


def _whole(text: str, low: int, high: int, what: str) -> int | None:
    text = text.strip()
    if not text:
        return None
    number = figures.whole(text, low, high)
    if number is None:
        raise Refused(
            _("the %(what)s %(text)s is not a number from %(low)s to %(high)s.")
            % {"what": what, "text": f"{text!r}", "low": low, "high": high}
        )
    return number


def _seconds(text: str) -> float | None:
    low, high = HOLD_S_BOUNDS
    try:
        seconds = float(text.strip().replace(",", ".")) if text.strip() else None
    except ValueError:
        raise Refused(
            _("a hold of %(text)s is no number of seconds; write 4 or 2.5.") % {"text": f"{text!r}"}
        ) from None
    if seconds is not None and not low <= seconds <= high:
        raise Refused(
            _("a hold of %(text)s seconds is outside %(low)s to %(high)s.")
            % {"text": text, "low": figures.number(low), "high": figures.number(high)}
        )
    return seconds


def _stop(score: Score, pitch: Pitch, number: int | None, finger: int | None) -> int | None:
    """Semitones above the open string, where a string is written; refuses what cannot be."""
    if number is None:
        return None
    strings = score.player.open_strings
    string = strings[len(strings) - number]
    stop = pitch.midi - string.midi
    where = _("%(pretty)s on the %(step)s string") % {"pretty": pitch.pretty, "step": string.step}
    if stop < 0:
        raise Refused(
            _("%(pretty)s is below the open %(step)s string; choose a lower one.")
            % {"pretty": pitch.pretty, "step": string.step}
        )
    if stop > MAX_STOP_SEMITONES:
        raise Refused(
            _("%(where)s is beyond the end of the fingerboard; choose a higher string.")
            % {"where": where}
        )
    if finger is None:
        return stop
    if stop == 0 and finger:
        raise Refused(_("%(where)s is the open string: its finger is 0.") % {"where": where})
    if stop and not finger:
        raise Refused(_("%(where)s is stopped: it needs a finger from 1 to 4.") % {"where": where})
    if finger and stop < finger:
        raise Refused(
            _("%(where)s is too near the nut for the %(finger_words)s.")
            % {"where": where, "finger_words": FINGER_WORDS[finger]}
        )
    if finger and letters_above(pitch, string) - finger + 1 > MAX_POSITION:
        raise Refused(
            _("%(where)s is out of reach for the %(finger_words)s.")
            % {"where": where, "finger_words": FINGER_WORDS[finger]}
        )
    return stop


def _require_one_hand(
    item: Written,
    strings: tuple[int | None, ...],
    stops: list[int | None],
    fingers: tuple[int | None, ...],
) -> None:
    written = [number for number in strings if number is not None]
    if len(set(written)) < len(written):
        raise Refused(_("%(item)s needs a string for each note.") % {"item": short_name(item)})
    if len(written) == len(strings) and max(written) - min(written) != len(strings) - 1:
        raise Refused(_("the strings are not neighbours, so one bow cannot hold them together."))
    held = [(stop, finger) for stop, finger in zip(stops, fingers, strict=True) if stop and finger]
    for place, (stop, finger) in enumerate(held):
        for other_stop, other_finger in held[place + 1 :]:
            if finger == other_finger and stop != other_stop:
                raise Refused(
                    _(
                        "the %(finger_words)s cannot hold both notes: they do not lie at the same "
                        "place on their strings."
                    )
                    % {"finger_words": FINGER_WORDS[finger]}
                )
            if (stop - other_stop) * (finger - other_finger) < 0:
                raise Refused(
                    _(
                        "the fingers are crossed: the note further from the nut takes the higher "
                        "one."
                    )
                )


def _with_separate(score: Score, changed: Mapping[str, Written]) -> Score:
    """The changed things in their places, and their separate notes fingered like them."""
    return score.with_written(
        [
            _like(item, changed, bar) if item.manner == "separate" else changed.get(item.id, item)
            for bar in score.bars
            for item in bar
        ]
    )


def _like(item: Written, changed: Mapping[str, Written], bar: tuple[Written, ...]) -> Written:
    """A separate note with string and finger of the next double stop of its bar that has it, else
    of the one before.

    Of a unison's two equal notes it is the one on its own string; where no string is written, the
    first one separately is the first one together.
    """
    at, pitch = bar.index(item), item.pitches[0]
    for other in (*bar[at + 1 :], *reversed(bar[:at])):
        both = changed.get(other.id)
        if both is not None and pitch in both.pitches:
            places = [place for place, held in enumerate(both.pitches) if held == pitch]
            before = sum(earlier.pitches == item.pitches for earlier in bar[:at])
            own = [place for place in places if other.strings[place] in item.strings]
            place = own[0] if len(own) == 1 else places[min(before, len(places) - 1)]
            return replace(item, strings=(both.strings[place],), fingers=(both.fingers[place],))
    return item


def _with_hand(score: Score, changed: Mapping[str, Written]) -> Score:
    """Positions of what was changed, and where the hand moves, over open strings too."""
    bars = {item.bar for item in changed.values()}
    moved: list[Written] = []
    before: int | None = None
    for bar in score.bars:
        for at, item in enumerate(bar):
            if item.bar not in bars:
                place = item.position
                moved.append(item)
            else:
                place = _position(score, _whole_of(at, bar))
                shift = None not in (before, place) and before != place
                moved.append(replace(item, position=place, shift=shift))
            before = before if place is None else place
    return score.with_written(moved)


def _whole_of(at: int, bar: tuple[Written, ...]) -> Written:
    """What a separate note is part of: the next thing in its bar that is whole, else the last."""
    if bar[at].manner != "separate":
        return bar[at]
    near = (*bar[at + 1 :], *reversed(bar[:at]))
    return next((item for item in near if item.manner != "separate"), bar[at])


def _position(score: Score, item: Written) -> int | None:
    """Position of the hand: the letter under its first finger, from the lowest finger written."""
    strings = score.player.open_strings
    held = [
        (finger, letters_above(pitch, strings[len(strings) - number]) - finger + 1)
        for pitch, number, finger in zip(item.pitches, item.strings, item.fingers, strict=True)
        if number is not None and finger
    ]
    return max(0, min(held)[1]) if held else None
