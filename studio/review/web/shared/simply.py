"""A returned clip as a child reads it: what went better first, then what to try, in plain words."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from studio.intonation import render
from studio.intonation.wording import for_children
from studio.intonation.wording.for_children import came_closer, child_sentence, in_tune_of
from studio.review.marks.drill_results import Shown
from studio.review.models import Comment


@dataclass(frozen=True, slots=True)
class Simply:
    """``well`` and ``to_try`` are moments, each with its ``number`` in the return."""

    in_tune: str
    well: tuple[dict, ...]
    to_try: tuple[dict, ...]
    words: object = for_children  # the page's own sentences, for its template

    @property
    def says_ways(self) -> bool:
        """Whether anything is to go up or down, so that the page says where that is."""
        said = " ".join(moment["simple_text"] for moment in self.to_try)
        return re.search(r"\b(up|down)\b", said) is not None

    @property
    def went_well(self) -> bool:
        return bool(self.in_tune or self.well)


def simply(snapshot: Mapping, moments: Sequence[dict]) -> Simply:
    """The moments of a return, put in order and in a child's words where they are the program's."""
    told = [_told(number, moment) for number, moment in enumerate(moments)]
    well = [moment for moment in told if moment.get("kind") == Comment.Kind.WELL_DONE]
    shown = Shown.from_dict(snapshot.get("shown"))
    return Simply(
        in_tune=in_tune_of(shown.reached, len(shown.notes)) if shown else "",
        well=tuple(well),
        to_try=tuple(moment for moment in told if moment not in well),
    )


def _told(number: int, moment: dict) -> dict:
    closer = for_children.CAME_CLOSER if came_closer(moment.get("params") or {}) else ""
    return moment | {"number": number, "simple_text": _text(moment), "closer": closer}


def _text(moment: dict) -> str:
    """Frozen with the return; of one that is older, from its figures if the words are ours."""
    if "child_text" in moment:
        return str(moment["child_text"])
    params = moment.get("params")
    if not params or moment["text"] != render(moment["code"], params):
        return str(moment["text"])
    return child_sentence(moment["code"], params)
