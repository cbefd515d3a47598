"""The phrase shelf: words that a teacher says often, with places for what was measured.

A place is a name in braces, such as ``{interval}``. Where a phrase is used, each place gets its
value from the mark or the double stop that the comment is about; one without a value reads ``…``,
for the teacher to fill in. Words without braces are taken as they are.
"""

import re
from collections.abc import Mapping

from django.db import transaction
from django.db.models import Max, QuerySet
from django.utils.translation import gettext as _

from studio.accounts.models import Person, Studio
from studio.intonation.wording.sentences import words_of
from studio.review.marks.judging import Judged
from studio.translating import gettext_lazy

from .models import Phrase

MOST = 60  # more than that is no shelf to find something on
GAP = "…"
PLACES = {
    "interval": gettext_lazy("octave"),
    "notes": "B♭3–B♭4",
    "cents": "18 ± 1 cents",
    "side": gettext_lazy("wide or narrow"),
    "way": gettext_lazy("higher or lower, as the note has to move"),
    "towards": gettext_lazy("towards the bridge or towards the scroll, likewise"),
    "finger": gettext_lazy("first finger"),
    "string": "D string",
    "mm": gettext_lazy("about 2 mm"),
    "bar": gettext_lazy("bar 3"),
    "pupil": gettext_lazy("the pupil's first name"),
}
_PLACE = re.compile(r"\{([^{}]*)\}")


class Full(ValueError):
    """The shelf holds as many phrases as it can."""


# -- words -------------------------------------------------------------------------------------


def names_in(text: str) -> list[str]:
    """What stands in braces, in order."""
    return _PLACE.findall(text)


def replaced(text: str, values: Mapping[str, str]) -> str:
    """The words with the values that are given; other braces stay as they are."""
    return _PLACE.sub(lambda found: values.get(found[1], found[0]), text)


def unknown_places(text: str) -> list[str]:
    """What stands in braces and is not a place."""
    return [name for name in names_in(text) if name not in PLACES]


def filled(text: str, values: Mapping[str, str]) -> str:
    """The phrase with its values; a value that begins it gets a capital."""
    said = _PLACE.sub(lambda found: values.get(found[1], GAP), text)
    return said[:1].upper() + said[1:] if text.startswith("{") else said


def values_at(judged: Judged | None, at_s: float, mark_id: int | None = None) -> dict[str, str]:
    """The values at a moment: those of a mark, else of the double stop that sounds there.

    Without ``mark_id`` the mark is one whose span holds ``at_s``; seconds on the clip's time axis.
    """
    if judged is None:
        return {}
    mark = judged.mark(mark_id) if mark_id is not None else None
    holding = (m for m in judged.marks if m.shown[0] <= at_s <= m.shown[1])
    mark = mark or next(holding, None)
    return words_of(mark.params if mark else _sounding(judged, at_s))


def _sounding(judged: Judged, at_s: float) -> dict:
    """What was judged of the event that sounds at a moment, named as a mark's parameters are."""
    events = judged.measurement["events"]
    event = next((e for e in events if e["start_s"] <= at_s <= e["end_s"]), None)
    rows = judged.judgement["intervals"]
    row = next((row for row in rows if event and row["event"] == event["id"]), None)
    if event is None or row is None:
        return {}
    heard = next(
        i for i in event["intervals"] if (i["low"], i["high"]) == (row["low"], row["high"])
    )
    measured = heard["uncertainty_cents"] is not None
    return {
        "interval": row["short"],
        "low": row.get("low_pitch"),
        "high": row.get("high_pitch"),
        "deviation_cents": row["deviation_cents"] if measured else None,
        "uncertainty_cents": heard["uncertainty_cents"],
    }


# -- the shelf ---------------------------------------------------------------------------------


def add(author: Person, studio: Studio, kind: str, text: str) -> Phrase:
    """Put a phrase last; one that says the same of the same kind is not put twice."""
    standing = author.phrases.filter(studio=studio)
    same = standing.filter(kind=kind, text=text).first()
    if same is not None:
        return same
    if standing.count() >= MOST:
        raise Full(
            _("There are %(most)s phrases already. Delete one you no longer say, then add this.")
            % {"most": MOST}
        )
    last = standing.aggregate(last=Max("position"))["last"]
    return Phrase.objects.create(
        author=author,
        studio=studio,
        kind=kind,
        text=text,
        position=0 if last is None else last + 1,
    )


@transaction.atomic
def move(phrase: Phrase, shelf: QuerySet[Phrase], *, up: bool) -> None:
    """One place towards the front or the end of its shelf; at the end of it nothing happens."""
    in_order = list(shelf.select_for_update())
    if phrase not in in_order:  # deleted in the meantime
        return
    at = in_order.index(phrase)
    other = at - 1 if up else at + 1
    if not 0 <= other < len(in_order):
        return
    in_order[at], in_order[other] = in_order[other], in_order[at]
    for position, each in enumerate(in_order):
        each.position = position
    Phrase.objects.bulk_update(in_order, ["position"])
