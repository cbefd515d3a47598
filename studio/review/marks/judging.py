"""What the policy says of a clip: judged from the stored measurement, at once, at need.

A listening never changes, and the same measurement, policy, score and pins (places that the teacher
has said the bar of) always give the same judgement: so a process keeps the last few, and a page,
its picture and a decision about one of its marks are judged once. The worker that listened has
stored the first (:mod:`.stored_judgements`).
"""

from dataclasses import dataclass, replace
from functools import cached_property

from django.db.models import BigIntegerField, QuerySet, UUIDField

from studio.accounts.prepared import Given, Prepared
from studio.clips.models import Listening
from studio.intonation import ExpectedNote, Measurement, Pin, Policy, judge
from studio.intonation.alignment.pins import usable
from studio.review.models import BarPin, Decision, Review
from studio.review.ttl_cache import TtlCache
from studio.theory import Interval, is_perfect

from . import mark as marks_module
from . import quiet, stored_judgements
from .mark import Mark
from .stored_judgements import Basis

KEPT = 6  # clips; two thousand events are about 10 MB
KEPT_S = 600.0  # what was erased must not stay in memory for long


@dataclass(frozen=True, eq=False)
class Heard:
    """A measurement and its judgement, both in their JSON form; shared, so nobody changes it."""

    measurement: dict
    judgement: dict


@dataclass(frozen=True)
class Judged:
    """One listening of a clip with its judgement, both in their JSON form."""

    review: Review
    listening: Listening
    heard: Heard

    @property
    def measurement(self) -> dict:
        return self.heard.measurement

    @property
    def judgement(self) -> dict:
        return self.heard.judgement

    @cached_property
    def _paired(self) -> tuple[list[Mark], list[Decision]]:
        proposed = marks_module.from_judgement(self.measurement, self.judgement)
        marks, left = marks_module.with_decisions(proposed, _decisions_of(self.review))
        studio_id = self.review.clip.enrolment.studio_id
        return quiet.told(marks, studio_id, self.listening.generation), left

    @property
    def marks(self) -> list[Mark]:
        return self._paired[0]

    @property
    def double_stops(self) -> int:
        """How many double stops were heard, every playing counted."""
        return sum(event["kind"] == "double_stop" for event in self.measurement["events"])

    @property
    def unmatched(self) -> list[Decision]:
        """Decisions whose moment this listening does not mark: shown, never lost."""
        return self._paired[1]

    def mark(self, mark_id: int) -> Mark | None:
        return next((mark for mark in self.marks if mark.id == mark_id), None)

    def mark_about(self, about: str) -> Mark | None:
        """The mark of a moment; see :attr:`Mark.about`."""
        return next((mark for mark in self.marks if mark.about == about), None)


def policy_for(review: Review) -> Policy:
    """The studio's tuning, the pupil's level, and what the answered drill is about.

    Single notes are judged where the drill was made as a line, or was set to have them judged. A
    tolerance chosen for the clip stands above one set with the drill, and that above the level's.
    """
    enrolment, answers = review.clip.enrolment, review.answers
    drill = answers.version if answers else None
    usual = answers.tolerance_cents if answers else None
    melody = answers.single_notes if answers else ""
    return Policy(
        tuning=enrolment.studio.tuning,
        level=enrolment.level,
        tolerance_cents=table_of(review.tolerance_cents) if review.tolerance_cents else usual,
        key=(drill.key or None) if drill else None,
        interval=drill.one_interval if drill else None,
        judge_singles=bool(melody) or (drill.is_melody if drill else False),
        melodic_tuning=melody or "equal",
    )


def policy_like(review: Review, other: Review) -> Policy:
    """The tuning and tolerances of another review, for what this one's own drill is about."""
    measure = policy_for(other)
    return replace(
        policy_for(review),
        tuning=measure.tuning,
        level=measure.level,
        tolerance_cents=measure.tolerance_cents,
    )


def table_of(chosen: dict) -> dict[str, float]:
    """Cents by an interval's short name, from cents for ``perfect`` and for ``other`` ones."""
    return {
        short: float(chosen["perfect" if is_perfect(Interval.parse(short)) else "other"])
        for short in Policy().to_dict()["tolerance_cents"]
    }


def expected_notes(review: Review) -> list[ExpectedNote] | None:
    """What is written in the drill that the clip answers; ``None`` where no score goes with it."""
    score = review.answers.version.score if review.answers else None
    return [ExpectedNote.from_dict(written) for written in score["written"]] if score else None


def pins_of(review: Review) -> tuple[Pin, ...]:
    """The places of the clip that are said to be a bar of its drill, the first said first."""
    return tuple(Pin(pin.start_s, pin.end_s, pin.bar) for pin in _pins(review=review.pk))


@Prepared
def _pins() -> QuerySet[BarPin]:
    rows = BarPin.objects.filter(review=Given("review", BigIntegerField()))
    return rows.order_by("pk")


def judged(review: Review, policy: Policy | None = None) -> Judged | None:
    """The newest listening, judged; ``None`` while nothing has been heard.

    Where the review says which one a page shows (``shown_listening``), that one: a clip may be
    heard anew while a teacher is at work on it. Her page goes on with what it was made from, to
    the last press, and what was heard since takes its place when the page is loaded anew.
    """
    if review.shown_listening is not None:
        shown = judged_in(review, review.shown_listening, policy)
        if shown is not None:
            return shown
    return _judge(review, _newest.first(clip=review.clip_id), policy)


def judged_in(review: Review, number: int, policy: Policy | None = None) -> Judged | None:
    """One listening of the clip by its number, judged; ``None`` where the clip has no such one."""
    rows = Listening.objects.filter(pk=number, clip=review.clip_id)
    return _judge(review, rows.defer("measurement").first(), policy)


def _judge(review: Review, listening: Listening | None, policy: Policy | None) -> Judged | None:
    if listening is None:
        return None
    listening.clip = review.clip
    return judge_listening(review, listening, policy)


@Prepared
def _newest() -> QuerySet[Listening]:
    heard = Listening.objects.filter(clip=Given("clip", UUIDField()))
    return heard.order_by("-created_at", "-pk").defer("measurement")[:1]


def judge_and_store(review: Review, listening: Listening) -> Judged:
    """As the first who opens the clip will find it, unless something is chosen otherwise."""
    found = judge_listening(review, listening)
    stored_judgements.store(listening, _basis(review), found.judgement)
    return found


def judge_listening(review: Review, listening: Listening, policy: Policy | None = None) -> Judged:
    """A listening, judged by the review's policy unless another is given."""
    basis = _basis(review, policy)
    # A row's number may come again after a restore; with its clip and its time it does not.
    of = (listening.pk, listening.clip_id, listening.created_at)
    heard = _RECENT.get((*of, repr(basis)), lambda: _heard(listening, basis))
    return Judged(review, listening, heard)


_RECENT: TtlCache[tuple, Heard] = TtlCache(KEPT, KEPT_S)


def _basis(review: Review, policy: Policy | None = None) -> Basis:
    expected = expected_notes(review)
    pins = pins_of(review) if expected else ()
    return Basis(policy or policy_for(review), expected, pins)


def _heard(listening: Listening, basis: Basis) -> Heard:
    """Pins that nothing heard here answers to, or at odds with earlier ones, are passed over."""
    judgement = stored_judgements.find(listening, basis)
    if judgement is None:
        measurement = Measurement.from_dict(listening.measurement)
        expected = basis.expected
        pins = usable(basis.pins, measurement.events, expected) if expected else ()
        judgement = judge(measurement, basis.policy, expected, pins=pins).to_dict()
    return Heard(listening.measurement, judgement)


def _decisions_of(review: Review) -> list[Decision]:
    found = _decisions(review=review.pk)
    for decision in found:
        decision.review = review
    return found


_decisions = Prepared(lambda: Decision.objects.filter(review=Given("review", BigIntegerField())))
