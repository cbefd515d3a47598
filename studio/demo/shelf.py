"""The demo's drills and what its teacher says: all invented for the demo."""

from dataclasses import dataclass
from typing import Any

from studio.accounts.models import Person, Studio
from studio.drills.models import DrillVersion
from studio.drills.saying import saying_of
from studio.drills.services import add_drill
from studio.notation import Request, generate


@dataclass(frozen=True, slots=True)
class DrillText:
    """A drill: its words, and the page it is made with, down to ``bars`` where not all is meant."""

    title: str
    interval: str
    key: str
    words: str
    page: Request | None = None
    bars: int | None = None

    def says(self) -> dict[str, Any]:
        """What the drill's first version says."""
        said = {name: getattr(self, name) for name in ("title", "interval", "key", "words")}
        if self.page is None:
            return said
        score = generate(self.page)
        kept = [item for item in score.written if self.bars is None or item.bar <= self.bars]
        made = {
            "score": score.with_written(kept).to_dict(),
            "request": self.page.to_dict(),
            "source": DrillVersion.Source.GENERATED,
            "level": saying_of(self.page, score).level,
        }
        return said | made


DRILLS = {
    "b-flat-octaves": DrillText(
        "B-flat major in octaves",
        "P8",
        "B♭ major",
        "From B-flat on the G string, an octave and a half up. Play the lower note alone, then the "
        "upper, then both. Hold the two together until the beating stops, as often as it takes. "
        "No rhythm, no hurry: listen, then move on.",
        Request(key="Bb major", octaves=2, direction="up", start=1),
        bars=12,
    ),
    "g-octaves": DrillText(
        "G major in octaves",
        "P8",
        "G major",
        "Begin with the open G and the third finger on D. First finger and fourth finger keep one "
        "frame; the whole hand moves, not the fingers alone. Each octave three times.",
        Request(key="G major", playings=3, start=1),
    ),
    "d-thirds": DrillText(
        "D major in thirds",
        "3",
        "D major",
        "Set the lower finger first and leave it down. Then set the upper one beside it without "
        "moving the first. Separately, then together, then held for two slow bows.",
        Request(key="D major", interval="thirds", hold_s=4.0, start=1),
    ),
    "e-flat-sixths": DrillText(
        "E-flat major in sixths",
        "6",
        "E♭ major",
        "Neighbouring fingers on neighbouring strings. Hold one note still and fit the other to "
        "it until the beating stops; then change over. Stop when the hand is tired.",
        Request(key="Eb major", interval="sixths", direction="up", start=1),
    ),
    "e-flat-mixed": DrillText(
        "Thirds, then sixths, in E-flat",
        "",
        "E♭ major",
        "Thirds from E-flat, six of them; then sixths from B-flat. Before each one, think how wide "
        "it is going to be.",
    ),
    "one-finger-fifths": DrillText(
        "One finger on two strings",
        "P5",
        "",
        "Lay the first finger across D and A so that both sound clear. Then the second, then the "
        "third. A fifth that sounds sour wants the finger turned a little, not pressed harder.",
        Request(pattern="one_finger", key="D major", manner="together"),
    ),
    "third-finger-check": DrillText(
        "Third finger against the open string",
        "P8",
        "D major",
        "Third finger on A against the open D below: an octave. Play both, listen for the beating, "
        "roll the finger tip until it is still. Then the same on the other strings.",
    ),
}


# What the demo's teacher says often: the kind of comment, and the words.
PHRASES = (
    (
        "intonation",
        "{interval} {notes}: {cents} {side}. Listen for the beating and let it slow down.",
    ),
    (
        "left_hand",
        "Let the {finger} go {mm} {towards} on the {string}; the other finger stays where it is.",
    ),
    ("intonation", "{pupil}, play the two notes of {notes} separately first, then together."),
    ("bow", "More weight on the lower string here, so that both notes speak."),
    ("well_done", "Here you waited until it was still. Do the same in {bar}."),
)


def fill(studio: Studio, teacher: Person) -> dict[str, DrillVersion]:
    """Put the drills on the studio's shelf; their versions by name."""
    return {
        name: add_drill(studio, teacher, **text.says()).newest() for name, text in DRILLS.items()
    }
