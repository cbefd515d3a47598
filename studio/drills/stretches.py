"""What a drill asks of the hand: its stretches in millimetres, and for which level it is."""

from dataclasses import dataclass

from studio.accounts.models import Enrolment, Level
from studio.notation import Score, Written
from studio.notation.naming import short_name
from studio.theory import instrument_named
from studio.theory.fingers import COMFORTABLE_SPAN_MM, difficulty, is_wide, stretch_mm
from studio.theory.instruments import MAX_STOP_SEMITONES

# Choices of this project, not a standard. A pupil with an instrument shorter than this share of
# the usual one is taken to have a small hand. Up to these difficulties a drill is for that level.
SMALL_INSTRUMENT = 0.95
HARDEST = ((2.3, Level.FIRST_STEPS), (4.0, Level.GROWING))


@dataclass(frozen=True, slots=True)
class Stretch:
    """A double stop that is a reach: its bar, its notes in words, and its span in mm."""

    ref: str
    bar: int
    name: str
    span_mm: float


@dataclass(frozen=True, slots=True)
class Player:
    """Whose hand and instrument a drill is looked at for."""

    string_length_mm: float
    hand: str = "medium"

    @property
    def comfortable_mm(self) -> float:
        """The span up to which nothing is said."""
        return COMFORTABLE_SPAN_MM[self.hand]


def player_of(enrolment: Enrolment | None, instrument: str) -> Player:
    """The pupil's string length and hand; the instrument's usual ones where nobody is meant."""
    usual = instrument_named(instrument).string_length_mm
    own = enrolment.instrument() if enrolment else None
    if own is None or own.kind != instrument:
        return Player(usual)
    small = own.string_length_mm < SMALL_INSTRUMENT * usual
    return Player(own.string_length_mm, "small" if small else "medium")


def stretches(score: Score, player: Player) -> list[Stretch]:
    """The double stops that are wide for this hand, the widest first."""
    found = []
    for item in score.written:
        stops = stops_of(score, item)
        if len(stops) < 2 or None in stops:
            continue
        low, high = min(stops), max(stops)
        length = player.string_length_mm
        if is_wide(low, high, length, player.hand):
            found.append(
                Stretch(item.id, item.bar, short_name(item), stretch_mm(low, high, length))
            )
    return sorted(found, key=lambda stretch: -stretch.span_mm)


def level_of(score: Score) -> str:
    """The level a drill is for: that of its hardest double stops, one in ten left out."""
    strings = score.player.string_length_mm
    hard = sorted(
        difficulty(*stops, item.position, strings)
        for item in score.written
        if len(stops := stops_of(score, item)) == 2 and None not in stops
    )
    if not hard:
        return ""
    hardest = hard[int(0.9 * (len(hard) - 1))]
    return next((level for bound, level in HARDEST if hardest <= bound), Level.ADVANCED)


def stops_of(score: Score, item: Written) -> list[int | None]:
    """Semitones above the open string for each note; ``None`` where it has no string it is on."""
    strings = score.player.open_strings
    stops = [
        None if number is None else pitch.midi - strings[len(strings) - number].midi
        for pitch, number in zip(item.pitches, item.strings, strict=True)
    ]
    return [
        stop if stop is not None and 0 <= stop <= MAX_STOP_SEMITONES else None for stop in stops
    ]
