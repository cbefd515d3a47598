"""The words of a consent as one reader reads them: with the names of the child and the studio."""

from dataclasses import dataclass

from . import retention, retention_words
from .consent_words import KEPT_AS_SET, Section, Words
from .models import Enrolment, Membership, Studio, current
from .retention import Terms


@dataclass(frozen=True, slots=True)
class ConsentText:
    """``for_child`` is the same in a child's words, for reading together; may be empty."""

    version: int
    title: str
    sections: tuple[Section, ...]
    for_child: tuple[str, ...]
    given: tuple[str, ...]
    withdrawn: tuple[str, ...]


def text(
    words: Words, enrolment: Enrolment, to_pupil: bool, terms: Terms | None = None
) -> ConsentText:
    """The words for a place: to the pupil who decides alone, or to a guardian.

    ``terms`` are the times that are said, where they are not those of the studio today.
    """
    child = "you" if to_pupil else enrolment.pupil.first_name
    return text_before(words, enrolment.studio, child, enrolment.teacher.name, to_pupil, terms)


def text_before(
    words: Words,
    studio: Studio,
    child: str,
    teacher: str,
    to_pupil: bool = False,
    terms: Terms | None = None,
) -> ConsentText:
    """The same where there is no place yet; ``child`` is the first name, or several."""
    names = {"child": child, "studio": studio.name, "teacher": teacher}
    names["teachers"] = _teachers(studio)
    terms = retention.of_studio(studio) if terms is None else terms

    def filled(lines: tuple[str, ...], kept: tuple[str, ...] = ()) -> tuple[str, ...]:
        said = [kept if line == KEPT_AS_SET else (line.format(**names),) for line in lines]
        return tuple(_capital(line) for lines in said for line in lines)

    kept = retention_words.lines_of(terms)

    asked = words.to_pupil if to_pupil else words.to_guardian
    return ConsentText(
        words.version,
        words.title,
        tuple(Section(section.heading, filled(section.lines, kept)) for section in asked),
        filled(words.for_child, retention_words.to_child(terms)),
        filled(words.given),
        filled(words.withdrawn),
    )


def _teachers(studio: Studio) -> str:
    held = Membership.objects.filter(current(), studio=studio, role=Membership.Role.TEACHER)
    working = held.filter(person__is_active=True).order_by("person__name", "pk")
    return ", ".join(working.values_list("person__name", flat=True))


def _capital(line: str) -> str:
    return line[:1].upper() + line[1:]
