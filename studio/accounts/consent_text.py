"""The words of a consent as one reader reads them: with the names of the child and the studio."""

from dataclasses import dataclass

from .consent_words import Section, Words
from .models import Enrolment, Membership, Studio, current


@dataclass(frozen=True, slots=True)
class ConsentText:
    """``for_child`` is the same in a child's words, for reading together; may be empty."""

    version: int
    title: str
    sections: tuple[Section, ...]
    for_child: tuple[str, ...]
    given: tuple[str, ...]
    withdrawn: tuple[str, ...]


def text(words: Words, enrolment: Enrolment, to_pupil: bool) -> ConsentText:
    """The words for a place: to the pupil who decides alone, or to a guardian."""
    child = "you" if to_pupil else enrolment.pupil.first_name
    return text_before(words, enrolment.studio, child, enrolment.teacher.name, to_pupil)


def text_before(
    words: Words, studio: Studio, child: str, teacher: str, to_pupil: bool = False
) -> ConsentText:
    """The same where there is no place yet; ``child`` is the first name, or several."""
    names = {"child": child, "studio": studio.name, "teacher": teacher}
    names["teachers"] = _teachers(studio)

    def filled(lines: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(_capital(line.format(**names)) for line in lines)

    asked = words.to_pupil if to_pupil else words.to_guardian
    return ConsentText(
        words.version,
        words.title,
        tuple(Section(section.heading, filled(section.lines)) for section in asked),
        filled(words.for_child),
        filled(words.given),
        filled(words.withdrawn),
    )


def _teachers(studio: Studio) -> str:
    held = Membership.objects.filter(current(), studio=studio, role=Membership.Role.TEACHER)
    working = held.filter(person__is_active=True).order_by("person__name", "pk")
    return ", ".join(working.values_list("person__name", flat=True))


def _capital(line: str) -> str:
    return line[:1].upper() + line[1:]
