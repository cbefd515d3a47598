"""What the finished rounds of a studio's blind audit say of each kind of mark, and which are quiet.

A kind is a group of intervals (:mod:`.interval_groups`). Only figures of one generation of engines
are put together (:attr:`~studio.clips.models.Listening.generation`). An interval is Wilson's score
interval at 95 % (:func:`.precision.wilson`); it takes moments as independent, and those of one clip
are less so than those of many.

A kind of mark is *quiet* while the lower bound of its share of right marks is below ``LEAST_SHARE``
and it was judged often enough to tell. It was where as many marks, all right, would have reached
that bound (73 marks), or where not even the upper bound reaches it (from ``FEW`` marks on). A
false alarm costs more trust than two misses, so a kind that was looked at has to show that it is
right; one that was never audited is proposed as it was.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import count

from django.db.models import BigIntegerField, Case, Count, IntegerField, QuerySet, When

from studio import figures
from studio.accounts.prepared import Given, Prepared
from studio.review.models import AuditMoment

from . import interval_groups
from .precision import FEW, wilson

LEAST_SHARE = 0.95
_ANSWER = AuditMoment.Answer


@cache
def enough_after(wrong: int) -> int:
    """Of how many marks, that many wrong, the lower bound first reaches ``LEAST_SHARE``.

    >>> enough_after(0), enough_after(1)
    (73, 110)
    """
    return next(n for n in count(wrong + 1) if wilson(n - wrong, n)[0] >= LEAST_SHARE)


ENOUGH = enough_after(0)


@dataclass(frozen=True, slots=True)
class Share:
    """``found`` of ``total``, with its interval at 95 %."""

    found: int
    total: int

    @property
    def tells(self) -> bool:
        return self.total >= FEW

    @property
    def percent(self) -> int:
        return figures.percent(self.found, self.total)

    @property
    def bounds(self) -> tuple[float, float]:
        return wilson(self.found, self.total) if self.total else (0.0, 1.0)

    @property
    def range_percent(self) -> tuple[int, int]:
        return figures.range_percent(*self.bounds)


@dataclass(frozen=True)
class Audited:
    """Of a kind (empty: all of them): how many marks were right, and what was missed.

    ``marks`` are those that the teacher called in tune or out of tune, ``found`` those she called
    out of tune; ``others`` the same of moments where no mark stood. What she could not tell is in
    neither.
    """

    kind: str
    marks: Share
    others: Share
    marks_untold: int = 0
    others_untold: int = 0

    @property
    def words(self) -> str:
        return str(interval_groups.WORDS[self.kind]) if self.kind else ""

    @cached_property
    def is_quiet(self) -> bool:
        low, high = self.marks.bounds
        if not self.marks.tells or low >= LEAST_SHARE:
            return False
        return self.marks.total >= ENOUGH or high < LEAST_SHARE

    @property
    def is_sure(self) -> bool:
        """Whether its lower bound reaches what is asked for."""
        return self.marks.bounds[0] >= LEAST_SHARE

    @property
    def still_to_judge(self) -> int:
        """How many more marks, all right, it would take to show ``LEAST_SHARE``."""
        return enough_after(self.marks.total - self.marks.found) - self.marks.total


def of_studio(studio_id: int, generation: int) -> list[Audited]:
    """The kinds that were audited, the most often judged first."""
    counted = _counts(studio=studio_id, generation=generation)
    return audited((kind, bool(marked), answer, n) for kind, marked, answer, n in counted)


def audited(counted: Iterable[tuple[str, bool, str, int]]) -> list[Audited]:
    """The same from (kind, whether it was marked, answer, how many)."""
    counts: dict[str, dict[tuple[bool, str], int]] = {}
    for kind, marked, answer, many in counted:
        of_kind = counts.setdefault(kind, {})
        of_kind[marked, answer] = of_kind.get((marked, answer), 0) + many
    rows = [_audited(kind, of_kind) for kind, of_kind in counts.items()]
    return sorted(rows, key=lambda row: (-row.marks.total, row.kind))


def together(rows: Iterable[Audited]) -> Audited:
    """All kinds in one."""
    rows = list(rows)
    return Audited(
        "",
        Share(sum(row.marks.found for row in rows), sum(row.marks.total for row in rows)),
        Share(sum(row.others.found for row in rows), sum(row.others.total for row in rows)),
        sum(row.marks_untold for row in rows),
        sum(row.others_untold for row in rows),
    )


def quiet_kinds(studio_id: int, generation: int) -> dict[str, Share]:
    """The kinds that are proposed quietly, each with how many of its marks were right."""
    rows = of_studio(studio_id, generation)
    return {row.kind: row.marks for row in rows if row.is_quiet}


def _audited(kind: str, counts: Mapping[tuple[bool, str], int]) -> Audited:
    def share(marked: bool) -> Share:
        out, in_tune = (counts.get((marked, a), 0) for a in (_ANSWER.OUT, _ANSWER.IN_TUNE))
        return Share(out, out + in_tune)

    untold = [counts.get((marked, _ANSWER.CANNOT_TELL), 0) for marked in (True, False)]
    return Audited(kind, share(True), share(False), *untold)


@Prepared
def _counts() -> QuerySet:
    answered = AuditMoment.objects.filter(
        round__studio=Given("studio", BigIntegerField()),
        round__finished_at__isnull=False,
        generation=Given("generation", IntegerField()),
    ).exclude(answer="")
    marked = Case(When(code="", then=0), default=1, output_field=IntegerField())
    rows = answered.order_by().annotate(marked=marked).values_list("kind", "marked", "answer")
    return rows.annotate(many=Count("pk"))
