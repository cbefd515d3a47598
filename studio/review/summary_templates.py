"""A teacher's templates of summaries: named words with places for what stands at the desk.

A place is a name in braces, such as ``{better}``. What is known fills it; a place without a value
reads ``…`` and waits for the teacher's words; braces that name no place stay as they are typed, and
that is said. Whoever has made none is offered three to begin with.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from studio.accounts.models import Person, Studio
from studio.translating import gettext_lazy

from .models import SummaryTemplate
from .phrases import GAP, names_in, replaced

MOST = 30
PLACES = {
    "pupil": gettext_lazy("the pupil's first name"),
    "title": gettext_lazy("the clip's title"),
    "better": gettext_lazy("what went well, or came closer, as it was measured"),
    "next": gettext_lazy("the drills that are set with this clip"),
}
STARTERS = (
    (
        gettext_lazy("Good, then next"),
        gettext_lazy("Thank you, {pupil}. {better} Next: {next}"),
    ),
    (
        gettext_lazy("One thing to change"),
        gettext_lazy("{better} One thing for this week: … Next: {next}"),
    ),
    (
        gettext_lazy("A short answer"),
        gettext_lazy("I have heard “{title}”. {better}"),
    ),
)


class Full(ValueError):
    """There are as many templates as there can be."""


@dataclass(frozen=True, slots=True)
class Filled:
    """A template with its values. ``gaps`` had none, ``unknown`` are no places."""

    name: str
    text: str
    gaps: tuple[str, ...]
    unknown: tuple[str, ...]


def offered(own: Iterable[SummaryTemplate]) -> list[tuple[str, str]]:
    """Name and words of each of a teacher's own; those to begin with where there are none."""
    return [(one.name, one.text) for one in own] or [(str(n), str(t)) for n, t in STARTERS]


def filled(name: str, text: str, values: Mapping[str, str]) -> Filled:
    """The words with what is known, one space where a value is empty."""
    named = names_in(text)
    known = {place: values.get(place) or GAP for place in PLACES}
    return Filled(
        name,
        replaced(text, known),
        tuple(dict.fromkeys(place for place in named if known.get(place) == GAP)),
        tuple(unknown_places(text)),
    )


def unknown_places(text: str) -> list[str]:
    """What stands in braces and is not a place."""
    return [name for name in dict.fromkeys(names_in(text)) if name not in PLACES]


@transaction.atomic
def begin(author: Person, studio: Studio) -> None:
    """Make those to begin with the teacher's own, where she has none."""
    Studio.objects.select_for_update().get(pk=studio.pk)
    if not SummaryTemplate.objects.filter(author=author, studio=studio).exists():
        for name, text in STARTERS:
            SummaryTemplate.objects.create(
                author=author, studio=studio, name=str(name), text=str(text)
            )


def add(author: Person, studio: Studio, name: str, text: str) -> SummaryTemplate:
    """One more, last; the same name again gets the new words."""
    standing = SummaryTemplate.objects.filter(author=author, studio=studio)
    if standing.count() >= MOST and not standing.filter(name=name).exists():
        raise Full(
            _("There are %(most)s templates already. Delete one you no longer use, then add this.")
            % {"most": MOST}
        )
    made, _is_new = SummaryTemplate.objects.update_or_create(
        author=author, studio=studio, name=name, defaults={"text": text}
    )
    return made
