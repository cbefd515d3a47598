"""What a written thing is called, in words: for screen readers, lists and comments."""

from collections.abc import Callable

from studio import figures
from studio.figures.translation import N_, _
from studio.notation.score import Score, Written
from studio.theory import interval_between

_FINGERS = {
    0: N_("open"),
    1: N_("first finger"),
    2: N_("second finger"),
    3: N_("third finger"),
    4: N_("fourth finger"),
}


def name_of(score: Score) -> Callable[[Written], str]:
    """A function that names anything written in this score.

    >>> from studio.notation import Request, generate
    >>> score = generate(Request(interval="octaves", key="G major", manner="together"))
    >>> name_of(score)(score.written[1])
    'Bar 2: A3 and A4 together, perfect octave; first finger on G, fourth finger on D'
    """
    strings = score.player.open_strings

    def held(item: Written) -> list[str]:
        parts = []
        for number, finger in zip(item.strings, item.fingers, strict=True):
            words = [] if finger is None else [_(_FINGERS[finger])]
            if number is not None:
                letter = strings[len(strings) - number].step
                words.append(f"{letter} string" if finger in (None, 0) else f"on {letter}")
            parts.append(" ".join(words))
        return [part for part in parts if part]

    def name(item: Written) -> str:
        said = f"Bar {item.bar}: {short_name(item)}"
        if item.playings > 1:
            said += f", {item.playings} times"
        if item.hold_s is not None:
            said += f", held {figures.number(item.hold_s, 2)} seconds"
        said += "".join(f", {words}" for words in _joined(item))
        holding = ", ".join(held(item))
        return f"{said}; {holding}" if holding else said

    return name


def _joined(item: Written) -> list[str]:
    """How it is bowed, and what of it goes on."""
    held = [p.pretty for p, tied in zip(item.pitches, item.tied, strict=True) if tied]
    return [
        *([_("guide note")] if item.guide else []),
        *([f"{item.bow} bow"] if item.bow else []),
        *([_("%(held)s held on") % {"held": " and ".join(held)}] if held else []),
        *([_("slurred to the next")] if item.slurred else []),
        *([item.words] if item.words else []),
    ]


def short_name(item: Written) -> str:
    """The notes, and their interval: ``A3 and A4 together, perfect octave``."""
    pitches = [pitch.pretty for pitch in item.pitches]
    if len(pitches) == 1:
        return pitches[0]
    joined = f"{', '.join(pitches[:-1])} and {pitches[-1]} together"
    if len(pitches) > 2:
        return joined
    try:
        interval = interval_between(*item.pitches)
    except ValueError:  # spelled beyond what has a name
        return joined
    return f"{joined}, {interval.name}"
