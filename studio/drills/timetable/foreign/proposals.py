"""Whose lesson an event may be: where exactly one pupil's name stands in its title."""

import re
import unicodedata
from collections.abc import Iterable

from studio.accounts.models import Enrolment


def proposed(title: str, places: Iterable[Enrolment]) -> int | None:
    """The number of the place whose pupil is named, by all of the name or else by its first word.

    ``None`` where nobody is named, or more than one could be meant.
    """
    words = _words(title)
    places = list(places)
    for name in (lambda pupil: pupil.name, lambda pupil: pupil.first_name):
        named = {place.pk for place in places if _stands_in(_words(name(place.pupil)), words)}
        if named:
            return named.pop() if len(named) == 1 else None
    return None


def _words(said: str) -> list[str]:
    return re.findall(r"\w+", unicodedata.normalize("NFC", said).casefold())


def _stands_in(name: list[str], words: list[str]) -> bool:
    many = len(name)
    return bool(name) and any(words[at : at + many] == name for at in range(len(words) - many + 1))
