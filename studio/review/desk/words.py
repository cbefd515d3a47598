"""Figures and moments as people read them at the desk.

Deviations are signed whole cents with a true minus sign; uncertainty is one standard deviation,
rounded up, so that nothing looks surer than it is.
"""

import math
import re

from studio.intonation.sentences import UNSURE_REASONS, unsure_sentence
from studio.review.comparing import Change
from studio.theory import Pitch

__all__ = [
    "UNSURE_REASONS",
    "change",
    "moment",
    "parse_moment",
    "pitch",
    "plus_minus",
    "signed",
    "unsure",
]

MINUS = "−"
_MOMENT = re.compile(r"(?:(\d{1,3}):)?(\d{1,5}(?:[.,]\d{1,3})?)")

TREND_WORDS = {"better": "closer", "worse": "further off", "same": "much the same"}
CHANGE_WORDS = {
    "closer": "closer",
    "further": "further off",
    "same": "the same within what can be told",
    "unsure": "unsure",
    "only_then": "only then",
    "only_now": "only now",
}
VERDICT_WORDS = {"in_tune": "in tune", "near": "near", "out": "out of tune", "unsure": "unsure"}


def signed(cents: float | None) -> str:
    """A deviation: ``+18``, ``−7``, ``0``; a dash where there is none.

    >>> signed(17.6), signed(-7.2), signed(0.3), signed(None)
    ('+18', '−7', '0', '–')
    """
    if cents is None:
        return "–"
    whole = round(abs(cents))
    return f"{'+' if cents > 0 else MINUS}{whole}" if whole else "0"


def plus_minus(uncertainty: float | None) -> str:
    """An uncertainty in cents, rounded up: ``±1 c``; empty where it is not known."""
    return "" if uncertainty is None else f"±{max(1, math.ceil(uncertainty))} c"


def change(changed: Change) -> str:
    """``closer by 22 ±1 c``, or why no change is said.

    >>> change(Change("closer", 22.4, 0.7))
    'closer by 22 ±1 c'
    """
    if changed.way in ("closer", "further"):
        by = f"{round(changed.cents)} {plus_minus(changed.uncertainty_cents)}"
        return f"{CHANGE_WORDS[changed.way]} by {by}"
    return CHANGE_WORDS[changed.way]


def pitch(name: str) -> str:
    """A pitch with the signs of print: ``B♭4``."""
    return Pitch.parse(name).pretty


def moment(seconds: float, digits: int = 0) -> str:
    """Seconds as minutes and seconds; rounded first, so 119.7 s reads 2:00, never 1:60.

    >>> moment(119.7), moment(72.04, 1), moment(3.26, 1)
    ('2:00', '1:12.0', '0:03.3')
    """
    parts = 10**digits
    # Half up, as the page's own script rounds: the same moment reads the same everywhere.
    ticks = math.floor(max(seconds, 0.0) * parts + 0.5)
    minutes, rest = divmod(ticks, 60 * parts)
    whole, part = divmod(rest, parts)
    return f"{minutes}:{whole:02d}" + (f".{part:0{digits}d}" if digits else "")


def parse_moment(text: str) -> float:
    """Seconds from ``1:02.4`` or ``62.4``.

    Raises
    ------
    ValueError
        With a sentence that says how to write it.
    """
    found = _MOMENT.fullmatch(text.strip())
    if not found:
        raise ValueError(f"“{text}” is not a moment; write it like 1:02.4 (minutes and seconds).")
    minutes, seconds = int(found.group(1) or 0), float(found.group(2).replace(",", "."))
    if found.group(1) and seconds >= 60:
        raise ValueError(f"“{text}” has more than 59 seconds; write it like 1:02.4.")
    return 60.0 * minutes + seconds


def unsure(code: str | None) -> str:
    """Why something was not judged, in one sentence."""
    return unsure_sentence(code or "not_measured")
