"""What the demo's pupils sent over the past weeks, and how the teacher answered. Invented.

``say`` lists comments as (where in the clip, from 0 to 1; kind; words). Takes without an answer
wait for the teacher.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Take:
    """One clip: who sent it, how long ago, what was played (for the sample maker), the answer."""

    login: str
    days_ago: float
    drill: str
    title: str
    interval: str = "octaves"
    key: str = "Bb major"
    octave: int = 3
    degrees: int = 4
    skill: float = 0.5
    note: str = ""
    sample: str = ""
    say: tuple[tuple[float, str, str], ...] = ()
    summary: str = ""
    sets: tuple[str, str] | None = None

    @property
    def is_answered(self) -> bool:
        return bool(self.summary)


ANSWERED = (
    Take(
        "jonas",
        37,
        "b-flat-octaves",
        "Octaves, first week",
        skill=0.15,
        note="The fourth finger is hard.",
        say=(
            (0.1, "well_done", "You waited and listened before each one. Keep that."),
            (
                0.5,
                "left_hand",
                "The first finger slides when the fourth comes down. Set the first, "
                "breathe, then bring the fourth from above.",
            ),
        ),
        summary="The listening is good. This week only one thing: a first finger that stays.",
        sets=("b-flat-octaves", "Each octave still for one slow bow"),
    ),
    Take(
        "jonas",
        23,
        "b-flat-octaves",
        "Octaves again",
        skill=0.5,
        say=(
            (
                0.3,
                "intonation",
                "Here the beating slows down and stops. That is the sound to look for.",
            ),
            (0.7, "bow", "A little more bow on the lower string; the upper one covers it."),
        ),
        summary="Much nearer. The lower four are settled; the next ones want the same patience.",
        sets=("e-flat-sixths", "First four sixths, separately and together"),
    ),
    Take(
        "jonas",
        9,
        "e-flat-sixths",
        "Sixths",
        interval="sixths",
        key="Eb major",
        octave=4,
        skill=0.6,
        say=((0.4, "sound", "Lovely full sound on this one. Both strings speak together."),),
        summary="The sixths ring. Take the octaves up again, all of them this time.",
        sets=("b-flat-octaves", "All of it, no hurry"),
    ),
    Take(
        "ida",
        19,
        "third-finger-check",
        "third finger",
        interval="octaves",
        key="D major",
        octave=4,
        degrees=3,
        skill=0.5,
        note="Otto was noisy in the background sorry",
        say=((0.3, "well_done", "You rolled the finger tip until it was still. Just so."),),
        summary="Good ears, Ida. Short and often is best: five minutes, then a rest.",
        sets=("one-finger-fifths", "Five minutes a day"),
    ),
    Take(
        "amara",
        16,
        "d-thirds",
        "Thirds in D",
        interval="thirds",
        key="D major",
        octave=4,
        skill=0.4,
        say=(
            (0.2, "left_hand", "Leave the lower finger down. It lifts each time."),
            (
                0.6,
                "intonation",
                "Hear how this third sits lower than the one you tuned to. Fit it "
                "to the note below, not to the scale.",
            ),
        ),
        summary="Thirds are the hardest to hear. You found two of them by yourself.",
        sets=("d-thirds", "The first three, from memory"),
    ),
    Take(
        "bea",
        12,
        "g-octaves",
        "G major, evening",
        key="G major",
        octave=3,
        degrees=5,
        skill=0.7,
        note="After work, so a bit tired. Stopped when the hand said so.",
        say=((0.5, "music", "Even without rhythm there is a line here. Let it lead upwards."),),
        summary="Settled and calm. Rightly stopped before the hand was tired.",
        sets=("g-octaves", "Down as well as up"),
    ),
)

WAITING = (
    Take(
        "jonas",
        3.2,
        "b-flat-octaves",
        "Octaves, the long one",
        sample="octaves-in-b-flat",
        note="I repeated the ones that were not right.",
    ),
    Take(
        "amara",
        2.1,
        "e-flat-mixed",
        "Sixths and thirds",
        sample="sixths-and-thirds-in-e-flat",
    ),
    Take(
        "otto",
        1.4,
        "one-finger-fifths",
        "Fifths",
        sample="open-strings-and-fifths",
        note="sound only, the camera was upside down",
    ),
    Take(
        "ida",
        0.9,
        "third-finger-check",
        "octaves again",
        key="D major",
        octave=4,
        degrees=3,
        skill=0.6,
    ),
    Take(
        "bea",
        0.2,
        "g-octaves",
        "G major down and up",
        key="G major",
        octave=3,
        degrees=5,
        skill=0.8,
    ),
)

OTHER_STUDIO = Take("nell", 0.6, "g-octaves", "for Mr Yule", key="G major", degrees=3, skill=0.5)
