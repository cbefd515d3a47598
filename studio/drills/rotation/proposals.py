"""The drills that a lesson's keys ask for, made to the pupil's instrument; none is set here."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from studio.accounts.models import Enrolment
from studio.notation import Infeasible, Request, Score, generate
from studio.theory import Key

from .. import access
from ..saying import Saying, saying_of
from ..stretches import Player, player_of
from .lists import RANGES
from .models import PlannedKey, RotationLesson, Round

PAIRS = ((4, 3), (3, 2), (2, 1))


@dataclass(frozen=True, slots=True)
class Proposal:
    """One drill for one key in one interval.

    ``made`` is what can be played: what was ``asked``, or the nearest to it, with the ``reason``;
    ``None`` with the reason when nothing near can be.
    """

    planned: PlannedKey
    interval: str
    asked: Request
    made: Request | None
    score: Score | None
    reason: str = ""

    @property
    def name(self) -> str:
        """What forms and addresses call it."""
        return f"{self.planned.name}-{self.interval}"

    @property
    def label(self) -> str:
        """The title of its page; what was asked for where there is none."""
        return self.score.title if self.score else f"{self.planned.key.name} in {self.interval}"

    @property
    def says(self) -> Saying | None:
        return saying_of(self.made, self.score) if self.made and self.score else None

    def is_among(self, requests: Iterable[Mapping[str, Any]]) -> bool:
        """Whether one of these stored requests is for it, whichever degree that begins on: drills
        of a lesson were once begun on the tonic."""
        return self.made is not None and _but_start(self.made.to_dict()) in map(
            _but_start, requests
        )

    @property
    def instead(self) -> str:
        """What is different in what was made; empty when it is what was asked."""
        if self.made is None or self.made == self.asked:
            return ""
        changes = [f"in {self.made.interval}"] if self.made.interval != self.asked.interval else []
        if self.made.octaves != self.asked.octaves:
            changes.append(RANGES[self.made.octaves])
        if self.made.strings != self.asked.strings:
            changes.append(_where(self.made))
        return " and ".join(changes)


def propose(lesson: RotationLesson, enrolment: Enrolment) -> list[Proposal]:
    """What a lesson's keys ask for in the intervals of its round, in the order of the keys."""
    plays, player = plays_of(enrolment)
    return [
        _proposal(one, interval, _request(one.key, interval, lesson.round, plays, player))
        for one in lesson.planned
        for interval in lesson.round.known_intervals
    ]


def _but_start(request: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in request.items() if name != "start"}


def plays_of(enrolment: Enrolment) -> tuple[str, Player]:
    """The pupil's instrument, string length and hand; the studio's usual where none is known."""
    own = enrolment.instrument()
    if own is not None:
        return own.kind, player_of(enrolment, own.kind)
    usual = access.settings_of(enrolment.studio)
    player = player_of(None, usual.instrument)
    return usual.instrument, Player(usual.string_length_mm or player.string_length_mm)


def _request(key: Key, interval: str, one: Round, plays: str, player: Player) -> Request:
    return Request(
        interval=interval,
        key=str(key),
        instrument=plays,
        octaves=one.octaves,
        strings=one.pair,
        string_length_mm=player.string_length_mm,
        hand=player.hand,
    )


def _proposal(planned: PlannedKey, interval: str, asked: Request) -> Proposal:
    try:
        return Proposal(planned, interval, asked, asked, generate(asked))
    except Infeasible as error:
        reason, nearest = error.reason, error.nearest
    made, score = _on_another_pair(asked)
    if score is None and nearest is not None:
        made, score = nearest, generate(nearest)
    return Proposal(planned, interval, asked, made, score, reason)


def _on_another_pair(asked: Request) -> tuple[Request | None, Score | None]:
    """The same on another pair of strings: in a round on one pair, nearer than going across."""
    if asked.strings is None:
        return None, None
    here = PAIRS.index(asked.strings)
    for pair in sorted(PAIRS, key=lambda pair: abs(PAIRS.index(pair) - here)):
        try:
            made = asked.but(strings=pair)
            return made, generate(made)
        except Infeasible:
            continue
    return None, None


def _where(made: Request) -> str:
    if made.strings is None:
        return _("across the strings")
    strings = made.player.open_strings
    low, high = (strings[len(strings) - number].step for number in made.strings)
    return _("on the %(low)s and %(high)s strings") % {"low": low, "high": high}
