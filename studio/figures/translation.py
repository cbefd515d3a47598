"""How a sentence is said in the reader's language, for rooms that know no app.

The words stand in the code in English, as ``_("…")`` and ``ngettext("…", "…", number)``, with named
places that are filled afterwards: ``_("in bar %(bar)s") % {"bar": 3}``. They are what is said until
an app that knows its readers has told, once at its start, who translates (:func:`translate_by`).
What a module keeps by name is marked with :func:`N_` there, and said with ``_`` where it is used.
"""

from collections.abc import Callable

One = Callable[[str], str]
Counted = Callable[[str, str, int], str]


class _Translator:
    """Who translates; at first nobody."""

    one: One | None = None
    counted: Counted | None = None


def translate_by(one: One, counted: Counted) -> None:
    """Have sentences translated: ``gettext`` and ``ngettext``, which ask who reads just now."""
    _Translator.one, _Translator.counted = staticmethod(one), staticmethod(counted)


def _(words: str) -> str:
    """A sentence for whoever reads.

    >>> _("in bar %(bar)s") % {"bar": 3}
    'in bar 3'
    """
    return words if _Translator.one is None else _Translator.one(words)


def ngettext(one: str, many: str, number: int) -> str:
    """The form of a sentence for a number of things."""
    if _Translator.counted is None:
        return one if number == 1 else many
    return _Translator.counted(one, many, number)


def N_(words: str) -> str:  # as collectors of sentences know it
    """Words that are said later: marked to be collected, and given back as they are."""
    return words
