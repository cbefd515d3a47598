"""How fast work goes, as times real time: 20 means a minute of recording in three seconds."""

from datetime import timedelta

from django.db.models import Sum
from django.utils import timezone

from .models import Pace

RECENT = timedelta(hours=24)
KEPT = timedelta(days=30)


def note(kind: str, recording_s: float, took_s: float) -> None:
    Pace.objects.create(kind=kind, recording_s=recording_s, took_s=took_s)


def recent(kind: str, within: timedelta = RECENT) -> float | None:
    """Times real time over the last day, or ``within``; None where nothing was done."""
    rows = Pace.objects.filter(kind=kind, ended_at__gt=timezone.now() - within)
    sums = rows.aggregate(recording=Sum("recording_s"), took=Sum("took_s"))
    return sums["recording"] / sums["took"] if sums["took"] else None


def forget_old() -> None:
    Pace.objects.filter(ended_at__lt=timezone.now() - KEPT).delete()
