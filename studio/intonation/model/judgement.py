"""What a policy says of a measurement: :class:`Judgement`, and both together: :class:`Analysis`.

Conventions
-----------
* ``deviation_cents`` = measured - target; wide and sharp are positive.
* ``verdict``: in_tune (up to half the tolerance), near (up to the tolerance), out, unsure.
* ``event`` and ``events`` are ids of the measurement's events; ``low``, ``high`` and ``voice``
  are indices of an event's voices, 0 the lowest.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from studio.intonation.model.measurement import Measurement
from studio.intonation.model.options import Policy
from studio.intonation.model.score_following import Following
from studio.intonation.model.serialization import to_plain
from studio.intonation.wording.sentences import render

VERDICTS = ("in_tune", "near", "out", "unsure")
TRENDS = ("better", "same", "worse")
MARK_CODES = (
    "open_string_off",
    "interval_wide",
    "interval_narrow",
    "single_sharp",
    "single_flat",
    "voice_dropout",
    "balance",
)
REMARK_CODES = ("run_changed", "note_moved", "hold_short", "voice_dropout", "balance")
SURE = 2.0  # standard deviations: by definition of a normal law 95 % lie within
SEVERE = (2.0, 3.0)  # chosen: times the tolerance at which severity becomes 2 and 3
CLOSE_TO_LIMIT = "close_to_limit"


@dataclass(frozen=True, slots=True)
class JudgedInterval:
    """One interval of one event. ``target_cents`` is ``None`` where none is agreed."""

    event: int
    low: int
    high: int
    name: str
    short: str
    target_cents: float | None
    deviation_cents: float | None
    verdict: str
    unsure_reason: str | None = None
    score_ref: str | None = None
    low_pitch: str = ""
    high_pitch: str = ""


@dataclass(frozen=True, slots=True)
class JudgedSingle:
    """One single note of a single-line drill."""

    event: int
    pitch: str
    target_hz: float
    deviation_cents: float
    verdict: str
    unsure_reason: str | None = None
    score_ref: str | None = None


@dataclass(frozen=True, slots=True)
class Remark:
    """Something said of a run beside its mark; never a fault by itself.

    ``event`` is the playing it is about. ``sentence`` is rendered from ``code`` and ``params``.
    """

    code: str
    event: int
    params: Mapping[str, Any] = field(default_factory=dict)

    @property
    def sentence(self) -> str:
        """What the teacher reads."""
        return render(self.code, self.params)

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {**to_plain(self), "sentence": self.sentence}


@dataclass(frozen=True, slots=True)
class Run:
    """The same double stop played again and again until it is right.

    ``events`` are all its events in time, ``playings`` those where it sounds together, ``broken``
    its notes played separately. ``first_cents`` is the deviation of the first playing (of its
    landing, where there is only one playing), ``last_cents`` that of the last settled one.
    ``broken_cents`` judges the last two broken notes as the interval they belong to.
    ``change_cents`` is how much further off the last playing was than the first, in size: negative
    is better. ``held_s`` is how long the last playing was held, ``least_hold_s`` how long it should
    be to be heard well (the drill's minimum, or a usual one).
    """

    id: int
    events: tuple[int, ...]
    first_cents: float | None
    last_cents: float | None
    trend: str | None
    score_ref: str | None = None
    playings: tuple[int, ...] = ()
    broken: tuple[int, ...] = ()
    broken_cents: float | None = None
    short: str | None = None
    change_cents: float | None = None
    change_uncertainty_cents: float | None = None
    held_s: float | None = None
    least_hold_s: float | None = None
    remarks: tuple[Remark, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {**to_plain(self), "remarks": [remark.to_dict() for remark in self.remarks]}


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment proposed to the teacher.

    ``voice`` is the index of the only voice that can move, the other being an open string;
    ``None`` when either can. ``rank`` is its place by importance, 1 the first to be said: open
    strings, since they mislead everything else; then by how many times its tolerance a deviation
    is; then what concerns the bow. ``sentence`` is rendered from ``code`` and ``params``.
    """

    id: int
    start_s: float
    end_s: float
    code: str
    events: tuple[int, ...]
    run: int | None
    voice: int | None
    basis: str
    severity: int
    params: Mapping[str, Any] = field(default_factory=dict)
    rank: int = 0

    def placed(self, number: int, rank: int) -> "Mark":
        """The same mark with its number and rank; ``replace`` takes three times as long."""
        return Mark(
            number,
            self.start_s,
            self.end_s,
            self.code,
            self.events,
            self.run,
            self.voice,
            self.basis,
            self.severity,
            self.params,
            rank,
        )

    @property
    def sentence(self) -> str:
        """What the pupil reads."""
        return render(self.code, self.params)


@dataclass(frozen=True, slots=True)
class Judgement:
    """What the policy says of everything heard."""

    policy: Policy
    intervals: tuple[JudgedInterval, ...] = ()
    singles: tuple[JudgedSingle, ...] = ()
    runs: tuple[Run, ...] = ()
    marks: tuple[Mark, ...] = ()
    following: Following | None = None  # only where there was a score

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON; no NaN."""
        followed = {} if self.following is None else {"following": self.following.to_dict()}
        return {
            "policy": to_plain(self.policy.to_dict()),
            "intervals": to_plain(self.intervals),
            "singles": to_plain(self.singles),
            "runs": [run.to_dict() for run in self.runs],
            "marks": [{**to_plain(mark), "sentence": mark.sentence} for mark in self.marks],
            **followed,
        }


@dataclass(frozen=True, slots=True)
class Analysis:
    """A measurement and its judgement."""

    measurement: Measurement
    judgement: Judgement

    def to_dict(self) -> dict[str, Any]:
        """The published document: the measurement with its judgement inside."""
        return {**self.measurement.to_dict(), "judgement": self.judgement.to_dict()}


def verdict_of(
    deviation_cents: float, tolerance_cents: float, uncertainty_cents: float | None
) -> tuple[str, str | None]:
    """(verdict, reason) of a deviation; the reason is ``None`` unless the verdict is unsure."""
    if uncertainty_cents is None:
        return "unsure", "not_measured"
    off, doubt = abs(deviation_cents), SURE * uncertainty_cents
    if off > tolerance_cents:
        return ("out", None) if off - tolerance_cents > doubt else ("unsure", CLOSE_TO_LIMIT)
    if doubt > tolerance_cents:
        return "unsure", "too_uncertain"
    return ("in_tune" if off <= tolerance_cents / 2.0 else "near"), None


def severity_of(
    deviation_cents: float, tolerance_cents: float, steps: tuple[float, float] = SEVERE
) -> int:
    """1 to 3, by how many times the tolerance the deviation is."""
    return 1 + sum(abs(deviation_cents) >= step * tolerance_cents for step in steps)
