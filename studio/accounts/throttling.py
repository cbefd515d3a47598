"""Tries at secrets are counted before they are looked at, so that tries at once count too.

What is counted is a :class:`Count`: a key and how many failures it bears. A try is *taken* on all
its counts in one transaction, or refused on all of them while one has to wait; so of many tries at
the same moment no more are taken than of tries one after the other. A right one is given back.

Over its limit a count rests after the latest failure: a minute, then two, four ... up to an hour.
A try made meanwhile is refused unread and counts for nothing. A day without a failure forgets it.
Keys are hashed: whoever types a password into the field for the address leaves none here.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F, Q
from django.db.models.functions import Greatest
from django.utils import timezone

from .models import TryCount

FIRST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=1)
REMEMBERED = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Count:
    """``what`` is counted, how many failures it bears, and whose ``account`` it belongs to.

    ``own``: it counts nobody's tries but those of one browser or one address at one account, so
    that a right try clears it; of a shared count a right try only takes its own back.
    """

    what: tuple[str, ...]
    limit: int
    account: str = ""
    own: bool = False

    @property
    def key(self) -> str:
        return _hashed(*self.what)


def wait_after(failures: int, limit: int) -> timedelta:
    """None below the limit; from there a minute, doubled for every failure, up to an hour."""
    if failures < limit:
        return timedelta(0)
    return min(FIRST_WAIT * 2 ** min(failures - limit, 10), LONGEST_WAIT)


@transaction.atomic
def take(counts: Iterable[Count]) -> bool:
    """Count a try on all of them; or on none, and ``False``, where one has to wait."""
    limits = {count.key: count.limit for count in counts}
    rows = _locked(counts)
    now = timezone.now()
    if any(_waits(row, limits[row.key], now) for row in rows):
        return False
    for row in rows:
        row.failures = 1 + (row.failures if now - row.latest < REMEMBERED else 0)
        row.latest = now
    TryCount.objects.bulk_update(rows, ["failures", "latest"])
    return True


def must_wait(counts: Iterable[Count]) -> bool:
    """Whether a try now would be refused."""
    limits = {count.key: count.limit for count in counts}
    now = timezone.now()
    return any(_waits(row, limits[row.key], now) for row in TryCount.objects.filter(key__in=limits))


@transaction.atomic
def give_back(counts: Iterable[Count]) -> None:
    """The try was right: what this browser or address failed at this account is forgotten."""
    counts = list(counts)
    if not counts:
        return
    own = TryCount.objects.filter(key__in=[count.key for count in counts if count.own])
    failed = max([row.failures for row in own.select_for_update().order_by("key")], default=1)
    shared = [count.key for count in counts if not count.own]
    TryCount.objects.filter(key__in=shared).update(failures=Greatest(F("failures") - failed, 0))
    own.delete()


def about(account: str) -> Q:
    """A condition for the counts of an account."""
    return Q(account=_hashed("account", account))


def forget(account: str) -> None:
    """Whoever has the account has shown it in another way: nothing about it rests any more."""
    TryCount.objects.filter(about(account)).delete()


def forget_old() -> int:
    """Remove what no longer counts; how many rows."""
    return TryCount.objects.filter(latest__lt=timezone.now() - REMEMBERED).delete()[0]


def _locked(counts: Iterable[Count]) -> list[TryCount]:
    """A row for each, held until the transaction ends; always in the same order."""
    ordered = sorted(counts, key=lambda count: count.key)
    long_ago = timezone.now() - 2 * REMEMBERED
    TryCount.objects.bulk_create(
        [
            TryCount(
                key=count.key,
                account=_hashed("account", count.account) if count.account else "",
                latest=long_ago,
            )
            for count in ordered
        ],
        ignore_conflicts=True,
    )
    rows = TryCount.objects.filter(key__in=[count.key for count in ordered])
    return list(rows.select_for_update().order_by("key"))


def _waits(row: TryCount, limit: int, now: datetime) -> bool:
    if now - row.latest >= REMEMBERED:
        return False
    return now < row.latest + wait_after(row.failures, limit)


def _hashed(*words: str) -> str:
    return hashlib.sha256("\0".join(words).encode()).hexdigest()
