"""The desk's words for what was judged, compared and not judged; figures are `studio.figures`'."""

from studio import figures
from studio.intonation.wording.sentences import UNSURE_REASONS, unsure_sentence
from studio.review.comparison import Change
from studio.theory import Pitch
from studio.translating import gettext_lazy

__all__ = ["UNSURE_REASONS", "change", "pitch", "unsure"]

TREND_WORDS = {
    "better": gettext_lazy("closer"),
    "worse": gettext_lazy("further off"),
    "same": gettext_lazy("much the same"),
}
CHANGE_WORDS = {
    "closer": gettext_lazy("closer"),
    "further": gettext_lazy("further off"),
    "same": gettext_lazy("the same within what can be told"),
    "unsure": gettext_lazy("unsure"),
    "other_engine": gettext_lazy("not compared"),
    "only_then": gettext_lazy("only then"),
    "only_now": gettext_lazy("only now"),
}
VERDICT_WORDS = {
    "in_tune": gettext_lazy("in tune"),
    "near": gettext_lazy("near"),
    "out": gettext_lazy("out of tune"),
    "unsure": gettext_lazy("unsure"),
}


def change(changed: Change) -> str:
    """``closer by 22 ±1 c``, or why no change is said.

    >>> change(Change("closer", 22.4, 0.7))
    'closer by 22 ±1 c'
    """
    if changed.way in ("closer", "further"):
        by = figures.cents_short(changed.cents, changed.uncertainty_cents)
        return f"{CHANGE_WORDS[changed.way]} by {by}"
    return CHANGE_WORDS[changed.way]


def pitch(name: str) -> str:
    """A pitch with the signs of print: ``B♭4``."""
    return Pitch.parse(name).pretty


def unsure(code: str | None) -> str:
    """Why something was not judged, in one sentence."""
    return unsure_sentence(code or "not_measured")
