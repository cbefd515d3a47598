"""Where the pace of a clip gave way, of a page that says how long everything lasts.

Of drills that this program makes nothing is said: they are practised, not kept in time.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import accumulate, pairwise

from django.utils.translation import gettext as _

from studio import figures
from studio.intonation.alignment.pace import GaveWay, Step, gave_way
from studio.notation import Score

from .judging import Judged

MOST_LEFT_OUT = 3  # notes left out on the way, over which a step is still one


@dataclass(frozen=True, slots=True)
class Pace:
    """A place where the pace gave way, by its bars; ``share`` and ``doubt`` in percent."""

    kind: str
    bar: int
    last_bar: int
    start_s: float
    end_s: float
    share: int
    extra_s: float
    doubt: int | None = None

    @property
    def where(self) -> str:
        if self.bar == self.last_bar:
            return _("Bar %(bar)s") % {"bar": self.bar}
        return _("Bars %(bar)s to %(last)s") % {"bar": self.bar, "last": self.last_bar}

    @property
    def in_words(self) -> str:
        extra = figures.seconds(self.extra_s)
        if self.kind == "stopped":
            return _("held up for about %(extra)s") % {"extra": extra}
        return _("slower, about %(share)s ± %(doubt)s %% of the pace elsewhere") % {
            "share": self.share,
            "doubt": self.doubt,
        }


def places(judged: Judged, page: Score) -> tuple[Pace, ...]:
    """Each place, in time; none of a page without times of its own."""
    following = judged.judgement.get("following")
    if not page.timed or not following:
        return ()
    begun_s = {event["id"]: event["start_s"] for event in judged.measurement["events"]}
    visits = [
        (row["note"], begun_s[row["event"]])
        for row in following["events"]
        if row["note"] is not None
    ]
    return tuple(_in_bars(place, page) for place in gave_way(list(_steps(visits, page))))


def plain(judged: Judged, page: Score) -> list[dict]:
    """The same, as a return freezes it."""
    return [asdict(place) for place in places(judged, page)]


def _steps(visits: Sequence[tuple[int, float]], page: Score) -> Iterator[Step]:
    """Steps on along the page; where the player goes back, or leaves much out, there is none."""
    sections, is_free = _tempo(page)
    lengths = [item.beats for item in page.written]
    for here, rest in enumerate(item.rest_before for item in page.written[1:]):
        lengths[here] += rest
    begins = [0, *accumulate(lengths)]
    for (note, start_s), (following, next_s) in pairwise(_first_of_each(visits)):
        on = following - note
        if not 0 < on <= 1 + MOST_LEFT_OUT or next_s <= start_s or any(is_free[note:following]):
            continue
        beats = float(begins[following] - begins[note])
        yield Step(note, following, start_s, next_s - start_s, beats, sections[note])


def _first_of_each(visits: Sequence[tuple[int, float]]) -> list[tuple[int, float]]:
    """A note that is heard in several events one after another began with the first of them."""
    found = visits[:1]
    return [*found, *(after for before, after in pairwise(visits) if after[0] != before[0])]


def _tempo(page: Score) -> tuple[list[int], list[bool]]:
    """For each thing written, which mark of tempo it is under, and whether that leaves it free."""
    sections, free = list[int](), list[bool]()
    section, is_free = 0, False
    for item in page.written:
        section += item.tempo == "new"
        is_free = item.tempo == "free" or (is_free and item.tempo is None)
        sections.append(section)
        free.append(is_free or item.held)
    return sections, free


def _in_bars(place: GaveWay, page: Score) -> Pace:
    """A stop is at what it is before; a slower stretch goes to the last thing played slower."""
    stopped = place.kind == "stopped"
    last = place.last_note if stopped else place.last_note - 1
    first = place.last_note if stopped else place.first_note
    return Pace(
        kind=place.kind,
        bar=page.written[first].bar,
        last_bar=page.written[last].bar,
        start_s=round(place.start_s, 2),
        end_s=round(place.end_s, 2),
        share=figures.percent(place.share, 1),
        extra_s=round(place.extra_s, 2),
        doubt=None if place.doubt is None else max(figures.percent(place.doubt, 1), 1),
    )


def from_plain(stored: Mapping) -> tuple[Pace, ...]:
    """The places of what a return froze; earlier returns have none."""
    return tuple(Pace(**place) for place in stored.get("pace", ()))
