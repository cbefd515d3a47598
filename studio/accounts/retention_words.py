"""How long each kind of thing is kept, in words: the one place that says it to people.

A consent names a version of these words, so that what somebody agreed to can be shown again. Other
times are a new version here, and a new version of the words of :mod:`.consent_words` that names it.
``{child}`` stands for a pupil's first name.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Kept:
    """A kind of thing, and how long it is kept."""

    what: str
    how_long: str

    @property
    def line(self) -> str:
        return f"{self.what}: {self.how_long}"


#: By version; none is changed once it was shown to anybody.
VERSIONS: dict[int, tuple[Kept, ...]] = {
    1: (
        Kept(
            "Recordings and the copies made of them to be played",
            "until they are erased. Once the lessons have ended, nobody at the studio can open "
            "them any more.",
        ),
        Kept(
            "What was measured, what the teacher said to it, and who watched it",
            "as long as the recording.",
        ),
        Kept("A recording that was only half sent", "one day."),
        Kept("Who agreed or withdrew, and when", "as long as the records of the lessons."),
    ),
}


def lines(version: int) -> tuple[str, ...]:
    """What is kept how long, a sentence for each kind."""
    return tuple(kept.line for kept in VERSIONS[version])
