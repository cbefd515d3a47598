"""Drills that treat what is out of tune at a place of a clip: three at most, with reasons.

Pure: faults (:mod:`.faults`), a key and an instrument in, requests for drills out.
Nothing is proposed where nothing is surely out of tune.

The rule
--------
Faults are taken together by their interval as drills name it (octaves, sixths).

1. An interval's *need* is the sum, over its faults in the clip, of severity × cents beyond the
   tolerance: so how bad and how far, times how many runs share it.
2. Within one interval the *shortest* comes first: what has the fewest double stops written. Ties go
   by the order of ``KINDS``, so what the shelf has already goes before what would be made. A drill
   of the shelf is at most moved up to be the last of those shown, never left out for its length.
3. The first of each interval come before the second of any; among these, the greater need goes
   first, then the order of ``INTERVALS``.

The kinds
---------
* ``shelf`` - a drill of the shelf in this interval and key.
* ``these`` - the very double stops, separately, then together: where a note slipped as the two came
  together, or where several double stops of the place are out.
* ``slower`` - the worst one, held longer: where its last playing was too short to hear it well.
* ``open`` - the same interval against an open string, which cannot move, then the double stop
  itself: where an open string and a note of the key form just this interval.
* ``around`` - the double stop among its neighbours in the key, in one position where the hand can.
* ``scale`` - a scale in the interval: where it is out on several double stops.

These kinds are common practice, no source; the numbers below are choices of this project.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from studio import figures
from studio.notation import INTERVALS, Infeasible, Request, Score, generate
from studio.notation.beside import against_open_strings, row_around
from studio.notation.pairs import in_words
from studio.theory import Instrument, Key, Pitch, instrument_named, openness
from studio.translating import gettext_lazy

from .faults import Fault, Share

MOST = 3
KINDS = ("shelf", "these", "slower", "open", "around", "scale")
REACHES = (2, 1)  # steps of the key to either side, the wider where it stays in one position
SPREAD = 3  # different double stops out of tune, from which on the whole scale is proposed
MOST_THESE = 6
UNCOUNTED = 1000  # of a drill in words nobody knows how long it is: after all that is known
LONGER_S = 3.0  # three slow beats; twice and more what is needed to hear one
Pairs = tuple[tuple[str, str], ...]
Made = tuple[Request, Score]
PLAYINGS = {"these": 4, "slower": 3, "open": 3, "around": 2, "scale": 1}


@dataclass(frozen=True, slots=True)
class OnShelf:
    """A drill of the shelf: its number in the database, its title, how many double stops it has.

    One in words has no page to count them on.
    """

    drill: int
    title: str
    double_stops: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is known of a place.

    ``faults`` are those of the place, ``clip_faults`` those of the clip; ``shares`` say, by word,
    how many ended out of tune ``where``; ``shelf`` has the drill for a word in this key.
    """

    faults: tuple[Fault, ...]
    clip_faults: tuple[Fault, ...]
    key: Key
    instrument: str = "violin"
    string_length_mm: float | None = None
    hand: str = "medium"
    shares: Mapping[str, Share] = field(default_factory=dict)
    where: str = gettext_lazy("in this clip")
    shelf: Mapping[str, OnShelf] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """One drill: what it is (``label``), why (``reason``), and how it is made or where it stands.

    Made ones have a request with its score, one of the shelf has its number, ``drill``.
    """

    kind: str
    word: str
    label: str
    reason: str
    need: float
    tolerance_cents: float
    cost: int
    request: Request | None = None
    score: Score | None = None
    drill: int | None = None

    @property
    def name(self) -> str:
        """What addresses call it: ``around-octaves``."""
        return f"{self.kind}-{self.word}"


def propose(facts: Facts) -> list[Proposal]:
    """At most three drills for a place, by the rule above; none where nothing is out."""
    placed = []
    for word in INTERVALS:
        faults = _worst_first(fault for fault in facts.faults if fault.word == word)
        if faults:
            placed += list(enumerate(_in_order(_Treating(facts, word, faults).all())))
    words = tuple(INTERVALS)
    placed.sort(key=lambda it: (it[0], -it[1].need, words.index(it[1].word)))
    return [proposal for _rest, proposal in placed[:MOST]]


def double_stops_in(score: Score) -> int:
    """How many are written: what a drill costs to play."""
    return sum(len(item.pitches) == 2 for item in score.written)


def _in_order(found: Iterable[Proposal]) -> list[Proposal]:
    """The shortest first; the shelf's own among those that are shown."""
    ordered = sorted(found, key=lambda one: (one.cost, KINDS.index(one.kind)))
    own = next((place for place, one in enumerate(ordered) if one.kind == "shelf"), 0)
    if own >= MOST:
        ordered.insert(MOST - 1, ordered.pop(own))
    return ordered


def _worst_first(faults: Iterable[Fault]) -> list[Fault]:
    return sorted(faults, key=lambda fault: (-fault.need, fault.run))


class _Treating:
    """All that can be done for the faults of one interval."""

    def __init__(self, facts: Facts, word: str, faults: list[Fault]) -> None:
        self.facts, self.word, self.worst = facts, word, faults[0]
        played = sorted(faults[:MOST_THESE], key=lambda fault: fault.run)
        self.pairs = tuple(dict.fromkeys(fault.pair for fault in played))
        self.slipped = next((fault for fault in faults if fault.slip), None)
        alike = [fault for fault in facts.clip_faults if fault.word == word]
        self.spread = len({fault.pair for fault in alike})
        self.need = sum(sorted(fault.need for fault in alike))
        self.strings = openness(
            self.worst.low.midi, self.worst.high.midi, self._player.open_strings
        )

    def all(self) -> Iterator[Proposal]:
        ways = (self._shelf, self._these, self._slower, self._open, self._around, self._scale)
        for way in ways:
            proposal = way()
            if proposal is not None:
                yield proposal

    # -- the kinds --------------------------------------------------------------------------

    def _shelf(self) -> Proposal | None:
        found = self.facts.shelf.get(self.word)
        if found is None:
            return None
        cost = UNCOUNTED if found.double_stops is None else found.double_stops
        return self._proposal("shelf", _("On your shelf"), cost=cost, drill=found.drill)

    def _these(self) -> Proposal | None:
        if self.slipped is None and len(self.pairs) < 2:
            return None
        pairs = self.pairs if self.slipped is None else (self.slipped.pair,)
        what = (
            _("These two notes")
            if len(pairs) == 1
            else _("These %(pairs)s double stops") % {"pairs": len(pairs)}
        )
        score = self._made("these", pairs)
        return self._proposal(
            "these", _("%(what)s, separately, then together") % {"what": what}, score
        )

    def _slower(self) -> Proposal | None:
        if not self.worst.was_short:
            return None
        made = self._made("slower", (self.worst.pair,), hold_s=LONGER_S)
        return self._proposal(
            "slower",
            _("The same, held for %(longer_s)s seconds") % {"longer_s": figures.number(LONGER_S)},
            made,
        )

    def _open(self) -> Proposal | None:
        """Where one of its notes may be an open string already, there is an anchor."""
        if self.strings != ("stopped", "stopped"):
            return None
        notes, strings = (self.worst.low, self.worst.high), self._player.open_strings
        for string, pair in against_open_strings(*notes, self.facts.key, strings):
            made = self._made("open", (_named(pair), self.worst.pair), anywhere=True)
            if made is not None:
                label = _("Against the open %(step)s, then here") % {"step": string.step}
                with_it = _("in %(in_words)s only one note can move") % {
                    "in_words": in_words([pair])
                }
                return self._proposal("open", label, made, tail=with_it)
        return None

    def _around(self) -> Proposal | None:
        tried = [(reach, self._made("around", self._row(reach))) for reach in REACHES]
        playable = [(reach, made) for reach, made in tried if made is not None]
        still = (it for it in playable if _in_one_position(it[1][1]))
        reach, made = next(still, playable[-1] if playable else (0, None))
        if made is None:  # none of its neighbours can be played
            return self._proposal(
                "around", _("Just here"), self._made("around", (self.worst.pair,))
            )
        place = _(", in one position") if _in_one_position(made[1]) else ""
        steps = _("one step") if reach == 1 else f"{reach} steps"
        tail = ""
        if self.word in self.facts.shelf:  # which says already how many share it
            tail = _("here it stands among its neighbours, %(steps)s of %(key)s each way") % {
                "steps": steps,
                "key": self.facts.key.name,
            }
        return self._proposal(
            "around", _("A few notes around it%(place)s") % {"place": place}, made, tail=tail
        )

    def _scale(self) -> Proposal | None:
        if self.spread < SPREAD or self.word in self.facts.shelf:
            return None
        made = _generated(self._request("scale", pattern="scale"))
        return self._proposal("scale", _("A whole scale in %(word)s") % {"word": self.word}, made)

    # -- what they are made of --------------------------------------------------------------

    @property
    def _player(self) -> Instrument:
        return instrument_named(self.facts.instrument)

    def _row(self, reach: int) -> Pairs:
        row = row_around(self.worst.low, self.worst.high, self.facts.key, reach)
        return tuple(_named(pair) for pair in row)

    def _made(self, kind: str, pairs: Pairs, *, anywhere: bool = False, **more: Any) -> Made | None:
        """A drill of named pairs on the strings they were written on, else on any."""
        asked = self._request(kind, pattern="pairs", pairs=pairs, **more)
        written = None if anywhere else self.worst.strings
        return (written and _generated(asked.but(strings=written))) or _generated(asked)

    def _request(self, kind: str, **more: Any) -> Request:
        return Request(
            **{
                "interval": self.word,
                "key": str(self.facts.key),
                "instrument": self.facts.instrument,
                "string_length_mm": self.facts.string_length_mm,
                "hand": self.facts.hand,
                "playings": PLAYINGS[kind],
                **more,
            }
        )

    def _proposal(
        self,
        kind: str,
        label: str,
        made: Made | None = None,
        *,
        cost: int = 0,
        drill: int | None = None,
        tail: str = "",
    ) -> Proposal | None:
        if made is None and drill is None:
            return None
        request, score = made or (None, None)
        return Proposal(
            kind=kind,
            word=self.word,
            label=label,
            reason=self._reason(kind, tail),
            need=self.need,
            tolerance_cents=self.worst.tolerance_cents,
            cost=double_stops_in(score) if score else cost,
            request=request,
            score=score,
            drill=drill,
        )

    def _reason(self, kind: str, tail: str) -> str:
        """One sentence: how far the worst one is off, and what tells for this kind."""
        fault = self.worst
        if kind == "these" and self.slipped is not None and self.slipped.slip is not None:
            fault = self.slipped
            return f"The {fault.name} was {fault.off}, and {fault.slip.in_words}."
        said = _("The %(fault)s was %(off)s at its last playing") % {
            "fault": fault.name,
            "off": fault.off,
        }
        if kind == "slower" and fault.held_s is not None:
            return _("%(said)s, which was held for %(held_s)s.") % {
                "said": said,
                "held_s": figures.seconds(fault.held_s),
            }
        if tail:
            return f"{said}; {tail}."
        share = self.facts.shares.get(self.word, Share())
        if share.judged > 1:
            said += _("; %(out)s of %(judged)s %(word)s %(where)s ended out of tune") % {
                "out": share.out,
                "judged": share.judged,
                "word": self.word,
                "where": self.facts.where,
            }
        return f"{said}."


def _named(pair: tuple[Pitch, Pitch]) -> tuple[str, str]:
    return str(pair[0]), str(pair[1])


def _generated(asked: Request) -> Made | None:
    try:
        return asked, generate(asked)
    except Infeasible:
        return None


def _in_one_position(score: Score) -> bool:
    return len({item.position for item in score.written if item.position is not None}) <= 1
