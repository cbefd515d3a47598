"""How right the marks were, as the teachers of a studio decided: kept of kept and dropped.

Only decisions of returned clips count. The share's range is Wilson's score interval at 95 %::

    (p + z²/2n ± z·sqrt(p(1−p)/n + z²/4n²)) / (1 + z²/n)

E. B. Wilson, "Probable inference, the law of succession, and statistical inference", Journal of
the American Statistical Association 22 (1927), 209-212. These figures inform; no rule follows them.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Studio
from studio.review.models import Decision, Review

from . import interval_groups

Z_95 = 1.959963984540054  # the normal distribution's 97.5 % point
FEW = 10  # of fewer decisions no share is said


@dataclass(frozen=True, slots=True)
class Precision:
    """Of ``total`` marks of a kind that were decided, how many were kept."""

    kind: str
    engine: str
    kept: int
    total: int

    @property
    def tells(self) -> bool:
        return self.total >= FEW

    @property
    def percent(self) -> int:
        return figures.percent(self.kept, self.total)

    @property
    def range_percent(self) -> tuple[int, int]:
        """The range at 95 %, rounded outwards."""
        return figures.range_percent(*wilson(self.kept, self.total))


def wilson(successes: int, trials: int, z: float = Z_95) -> tuple[float, float]:
    """Wilson's score interval for a share, both ends from 0 to 1.

    Raises
    ------
    ValueError
        Unless ``0 <= successes <= trials`` and there is a trial.
    """
    if trials < 1 or not 0 <= successes <= trials:
        raise ValueError(f"{successes} of {trials} is no share; give at least one trial")
    share, weight = successes / trials, z * z / trials
    middle = share + weight / 2
    half = z * math.sqrt(share * (1 - share) / trials + weight / (4 * trials))
    low, high = (middle - half) / (1 + weight), (middle + half) / (1 + weight)
    return max(low, 0.0), min(high, 1.0)


def measured(studio: Studio) -> list[Precision]:
    """One row for each kind of mark and engine that decided clips of a studio hold."""
    counted = (
        Decision.objects.filter(
            review__state=Review.State.RETURNED, review__clip__enrolment__studio=studio
        )
        .values("code", "midis", "choice", "listening__engine")
        .annotate(count=Count("pk"))
        .order_by()
    )
    return _rows(
        (_kind(row), row["listening__engine"], row["choice"], row["count"]) for row in counted
    )


def _rows(counted: Iterable[tuple[str, str, str, int]]) -> list[Precision]:
    kept: dict[tuple[str, str], int] = {}
    total: dict[tuple[str, str], int] = {}
    for kind, engine, choice, count in counted:
        key = kind, engine
        total[key] = total.get(key, 0) + count
        kept[key] = kept.get(key, 0) + (count if choice == Decision.Choice.KEPT else 0)
    rows = [Precision(kind, engine, kept[kind, engine], n) for (kind, engine), n in total.items()]
    return sorted(rows, key=lambda row: (-row.total, row.kind, row.engine))


def _kind(row: dict) -> str:
    midis = row["midis"] or []
    if row["code"].startswith("interval") and len(midis) == 2:
        return str(interval_groups.WORDS[interval_groups.of_semitones(midis[1] - midis[0])])
    return _("open strings") if row["code"].startswith("open_string") else _("others")
