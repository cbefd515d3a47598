"""How spelled notes, keys and positions are named to whoever reads. Pure.

In English until an app that knows its readers has told, once at its start, who translates
(:func:`translate_by`). The names are messages with a context, so that a language has its own: B and
B flat are H and B in German, B natural is si in the Romance languages. What programs read (``Bb4``,
``Bb major``) is the same everywhere, and is not here.
"""

from collections.abc import Callable

InContext = Callable[[str, str], str]
SIGNS = {-2: "𝄫", -1: "♭", 0: "", 1: "♯", 2: "𝄪"}


class _Translator:
    """Who translates; at first nobody."""

    in_context: InContext | None = None


def translate_by(in_context: InContext | None) -> None:
    """Have names translated: ``pgettext``, which asks who reads just now."""
    _Translator.in_context = staticmethod(in_context) if in_context else None


def P_(_context: str, words: str) -> str:  # as collectors of sentences know it
    """Words that are said later: marked to be collected, and given back as they are."""
    return words


NOTES = (
    *(
        P_("note name", "C𝄫"),
        P_("note name", "C♭"),
        P_("note name", "C"),
        P_("note name", "C♯"),
        P_("note name", "C𝄪"),
    ),
    *(
        P_("note name", "D𝄫"),
        P_("note name", "D♭"),
        P_("note name", "D"),
        P_("note name", "D♯"),
        P_("note name", "D𝄪"),
    ),
    *(
        P_("note name", "E𝄫"),
        P_("note name", "E♭"),
        P_("note name", "E"),
        P_("note name", "E♯"),
        P_("note name", "E𝄪"),
    ),
    *(
        P_("note name", "F𝄫"),
        P_("note name", "F♭"),
        P_("note name", "F"),
        P_("note name", "F♯"),
        P_("note name", "F𝄪"),
    ),
    *(
        P_("note name", "G𝄫"),
        P_("note name", "G♭"),
        P_("note name", "G"),
        P_("note name", "G♯"),
        P_("note name", "G𝄪"),
    ),
    *(
        P_("note name", "A𝄫"),
        P_("note name", "A♭"),
        P_("note name", "A"),
        P_("note name", "A♯"),
        P_("note name", "A𝄪"),
    ),
    *(
        P_("note name", "B𝄫"),
        P_("note name", "B♭"),
        P_("note name", "B"),
        P_("note name", "B♯"),
        P_("note name", "B𝄪"),
    ),
)
KEYS = {
    "major": P_("key", "%(tonic)s major"),
    "minor": P_("key", "%(tonic)s minor"),
    "melodic": P_("key", "%(tonic)s melodic minor"),
    "harmonic": P_("key", "%(tonic)s harmonic minor"),
    "natural": P_("key", "%(tonic)s natural minor"),
}
POSITIONS = (
    P_("left hand", "half position"),
    *(P_("left hand", "1st position"), P_("left hand", "2nd position")),
    *(P_("left hand", "3rd position"), P_("left hand", "4th position")),
    *(P_("left hand", "5th position"), P_("left hand", "6th position")),
    *(P_("left hand", "7th position"), P_("left hand", "8th position")),
    *(P_("left hand", "9th position"), P_("left hand", "10th position")),
    *(P_("left hand", "11th position"), P_("left hand", "12th position")),
    *(P_("left hand", "13th position"), P_("left hand", "14th position")),
    P_("left hand", "15th position"),
)


def pgettext(context: str, words: str) -> str:
    """Words of a context in the reader's language."""
    return words if _Translator.in_context is None else _Translator.in_context(context, words)


def note(step: str, alter: int) -> str:
    """A note without its octave; ``alter`` in semitones, -2 to 2.

    >>> note("B", -1), note("F", 1)
    ('B♭', 'F♯')
    """
    return pgettext("note name", step + SIGNS[alter])


def key(step: str, alter: int, mode: str) -> str:
    """A key: ``mode`` is one of :data:`KEYS`. German writes a minor key's tonic small.

    >>> key("B", -1, "major"), key("A", 0, "melodic")
    ('B♭ major', 'A melodic minor')
    """
    tonic = note(step, alter)
    return pgettext("key", KEYS[mode]) % {"tonic": tonic, "small": tonic.lower()}


def position(number: int) -> str:
    """A position of the left hand, 0 (half) to 15.

    >>> [position(number) for number in (0, 1, 3, 11)]
    ['half position', '1st position', '3rd position', '11th position']
    """
    return pgettext("left hand", POSITIONS[number])
