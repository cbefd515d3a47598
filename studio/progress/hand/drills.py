"""The drills that treat a cause: two at most, made to order. All are common practice, no source.

* a finger: against the open string that cannot move, and that finger across two strings
* the frame: first octaves, first and fourth finger; then an octave scale
* a string: a scale on that string alone
* an open string: none; it is tuned
* a position: octaves up to that position
* a shift: shifting with guide notes
"""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from studio.notation import Request
from studio.theory import instrument_named, string_number

from .causes import FINGER, FRAME, OPEN_STRING, POSITION, SHIFT, STRING, Cause

LEAST = 3  # the position that an octave scale across the strings needs on either instrument


@dataclass(frozen=True, slots=True)
class Treatment:
    """A drill to be made, and what it is called."""

    label: str
    request: Request


def treatments(cause: Cause, instrument: str) -> list[Treatment]:
    """Drills for a cause on a violin or viola; none where no drill mends it."""
    return [
        Treatment(label, Request(instrument=instrument, **asked))
        for label, asked in _asked(cause, instrument)
    ]


def _asked(cause: Cause, instrument: str) -> list[tuple[str, dict]]:
    octaves = {"interval": "octaves", "key": "D major"}
    if cause.kind == FINGER:
        return _of_finger(cause.which)
    if cause.kind == FRAME:
        return [
            (_("First octaves, first and fourth finger"), {"pattern": "first_octaves"}),
            (_("A scale in octaves"), {"pattern": "scale", **octaves}),
        ]
    if cause.kind == STRING:
        number = _number(cause.which, instrument)
        said = {"pattern": "one_string", "string": number}
        return [(_("A scale on that string alone"), said)] if number else []
    if cause.kind == POSITION:
        return _of_position(cause.which)
    if cause.kind == SHIFT:
        return [(_("Shifting in octaves, with guide notes"), {"pattern": "shifting", **octaves})]
    assert cause.kind == OPEN_STRING
    return []


def _of_finger(finger: int) -> list[tuple[str, dict]]:
    against = _("That finger against an open string")
    if finger == 4:
        return [
            (
                _("Fourth finger checked against the open string above"),
                _pattern("fourth_finger_check"),
            )
        ]
    found = [(_("That finger across two strings"), _pattern("one_finger") | {"finger": finger})]
    if finger == 3:
        check = _("Third finger checked against the open string below")
        return [(check, _pattern("third_finger_check")), *found]
    return [(against, _pattern("drone_below")), *found]


def _of_position(position: int) -> list[tuple[str, dict]]:
    if position <= 1:
        return [(_("First octaves, in first position"), _pattern("first_octaves"))]
    bounds = {"interval": "octaves", "key": "D major", "highest_position": max(position, LEAST)}
    return [(_("A scale in octaves, up to that position"), _pattern("scale") | bounds)]


def _pattern(name: str) -> dict:
    return {"pattern": name}


def _number(midi: int, instrument: str) -> int | None:
    """The player's number of an open string; ``None`` where the instrument has no such one."""
    strings = instrument_named(instrument).open_strings
    places = [n for n, pitch in enumerate(strings) if pitch.midi == midi]
    return string_number(places[0], strings) if places else None
