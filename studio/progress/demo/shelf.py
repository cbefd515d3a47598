"""The demo's drills and what its teacher says: all invented for the demo."""

from dataclasses import dataclass

from studio.accounts.models import Person, Studio
from studio.drills.models import DrillVersion
from studio.drills.services import add_drill


@dataclass(frozen=True, slots=True)
class DrillText:
    title: str
    interval: str
    key: str
    words: str


DRILLS = {
    "b-flat-octaves": DrillText(
        "B-flat major in octaves",
        "P8",
        "B♭ major",
        "From B-flat on the G string, an octave and a half up. Play the lower note alone, then the "
        "upper, then both. Hold the two together until the beating stops, as often as it takes. "
        "No rhythm, no hurry: listen, then move on.",
    ),
    "g-octaves": DrillText(
        "G major in octaves",
        "P8",
        "G major",
        "Begin with the open G and the third finger on D. First finger and fourth finger keep one "
        "frame; the whole hand moves, not the fingers alone. Each octave three times.",
    ),
    "d-thirds": DrillText(
        "D major in thirds",
        "3",
        "D major",
        "Set the lower finger first and leave it down. Then set the upper one beside it without "
        "moving the first. Separately, then together, then held for two slow bows.",
    ),
    "e-flat-sixths": DrillText(
        "E-flat major in sixths",
        "6",
        "E♭ major",
        "Neighbouring fingers on neighbouring strings. Listen to the lower note as the root of the "
        "sound, and fit the upper note into it. Stop when the hand is tired.",
    ),
    "one-finger-fifths": DrillText(
        "One finger on two strings",
        "P5",
        "",
        "Lay the first finger across D and A so that both sound clear. Then the second, then the "
        "third. A fifth that sounds sour wants the finger turned a little, not pressed harder.",
    ),
    "third-finger-check": DrillText(
        "Third finger against the open string",
        "P8",
        "D major",
        "Third finger on A against the open D below: an octave. Play both, listen for the beating, "
        "roll the finger tip until it is still. Then the same on the other strings.",
    ),
}


def fill(studio: Studio, teacher: Person) -> dict[str, DrillVersion]:
    """Put the drills on the studio's shelf; their versions by name."""
    return {
        name: add_drill(
            studio,
            teacher,
            title=text.title,
            words=text.words,
            interval=text.interval,
            key=text.key,
        ).newest()
        for name, text in DRILLS.items()
    }
