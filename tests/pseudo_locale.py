"""A language that nobody speaks: every sentence of the catalogue, a third longer and with accents.

Vowels are doubled and have an accent, places and tags stay, and the whole stands in brackets. So a
word with a plain vowel on a page was said without translation, and what does not fit is seen. It
holds what ``makemessages`` collects, and nothing else. Used by ``tests/pseudo_settings.py``.
"""

import gettext
import re
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.translation import trans_real

from studio.accounts import script_words
from studio.catalogue import Message
from studio.management.commands.makemessages import collected

CODE = "qps"
# What has to stay: a named place, a sign of its own, a tag, an entity, what a script fills in.
KEPT = re.compile(r"(%\(\w+\)[sd]|%%|\{[^{}]*\}|<[^>]*>|&#?\w+;|\[\w+\])")
WORD = re.compile(r"[^\W\d_]{2,}")
LONGER = str.maketrans(
    {plain: accent * 2 for plain, accent in zip("aeiouAEIOU", "àéîõüÀÉÎÕÜ", strict=True)}
)


def pseudo(sentence: str) -> str:
    """The same, longer; what has no word, such as a decimal sign or the order of a date, stays.

    >>> pseudo("Send %(name)s 100 %% of <b>it</b>")
    '[Séénd %(name)s 100 %% õõf <b>îît</b>]'
    """
    parts = KEPT.split(sentence)
    said = [part if at % 2 else part.translate(LONGER) for at, part in enumerate(parts)]
    has_words = any(WORD.search(part) for part in parts[::2])
    return f"[{''.join(said)}]" if has_words else sentence


class Pseudo(gettext.GNUTranslations):
    """All that is collected, as Django keeps the messages of a language."""

    def __init__(self) -> None:
        super().__init__()
        self.plural = lambda n: int(n != 1)
        self._catalog = entries("django")

    def to_language(self) -> str:
        return CODE

    def language(self) -> str:
        return CODE


def entries(domain: str) -> dict:
    """Messages as GNU gettext has them in memory: by their words, those with a plural by form."""
    found: dict = {}
    for message in collected(domain):
        if message.plural:
            found[message.singular, 0] = pseudo(message.singular)
            found[message.singular, 1] = pseudo(message.plural)
        else:
            found[_key(message)] = pseudo(message.singular)
    return found


def _key(message: Message) -> str:
    """GNU gettext sets a context before the words, and a sign of its own between."""
    context = f"{message.context}{trans_real.CONTEXT_SEPARATOR}" if message.context else ""
    return context + message.singular


def of_scripts(view: script_words.Catalogue) -> dict:
    """The same of the scripts, as Django hands them to a page."""
    found: dict = {}
    for key, said in entries("djangojs").items():
        if isinstance(key, tuple):
            found.setdefault(key[0], ["", ""])[key[1]] = said
        else:
            found[key] = said
    return found


def for_everybody(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable:
    """A middleware: whoever asks reads this language."""
    trans_real._translations[CODE] = Pseudo()
    script_words.Catalogue.get_catalog = of_scripts

    def answer(request: HttpRequest) -> HttpResponse:
        with translation.override(CODE):
            return get_response(request)

    return answer
