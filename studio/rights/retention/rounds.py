"""One round through a studio: days are set and told, and what has come to its day is erased."""

import logging
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts import audit, retention
from studio.accounts.models import Enrolment, Studio
from studio.clips.models import Clip
from studio.drills.models import Assignment, PracticeEntry
from studio.rights.copies.models import Copy
from studio.rights.erasure import requests
from studio.rights.erasure.models import ErasureJob
from studio.translating import gettext_lazy

from . import due, warnings

log = logging.getLogger(__name__)

OVER = gettext_lazy("its time was over")
KINDS = ("recordings", "clips", "drills", "practice")  # beside whole lessons
WAITS_FOR_COPY = timedelta(days=7)  # no longer, or copies asked for day after day would keep it


def go_round(today: date | None = None) -> int:
    """Go through all studios that have set times; how many people were told of what goes."""
    told = 0
    for studio in Studio.objects.filter(retention_terms__isnull=False).distinct().order_by("pk"):
        told += go_through(studio, today)
    return told


def go_through(studio: Studio, today: date | None = None) -> int:
    """Set days and tell of them, then erase what has come to its day; how many were told."""
    today = today or timezone.localdate()
    told = _set_days(studio, today)
    _erase_due(studio, today)
    return told


@transaction.atomic
def _set_days(studio: Studio, today: date) -> int:
    list(Studio.objects.select_for_update().filter(pk=studio.pk))  # of two rounds one waits
    now = retention.of_studio(studio)
    found = [
        due.set_days(places, retention.holding(places[0], now), today) for places in _pupils(studio)
    ]
    return warnings.tell(studio, [going for going in found if not going.is_nothing])


def _pupils(studio: Studio) -> Iterator[list[Enrolment]]:
    """The places of each pupil there, the newest first."""
    places = Enrolment.objects.filter(studio=studio).select_related("pupil", "studio", "teacher")
    by_pupil = places.order_by("pupil", "-started_on", "-pk")
    for _rest, held in groupby(by_pupil, key=lambda place: place.pupil_id):
        yield list(held)


@dataclass(slots=True)
class Preview:
    """What would get its day at once by other times: of how many pupils, and how much."""

    on: date
    pupils: int = 0
    recordings: int = 0
    clips: int = 0
    drills: int = 0
    practice: int = 0
    lessons: int = 0


def preview(studio: Studio, terms: retention.Terms, today: date | None = None) -> Preview:
    """What is due first by these times, and by what each family has agreed to."""
    now = today or timezone.localdate()
    on = retention.goes_on(due=now, told=now)
    found = Preview(on)
    for places in _pupils(studio):
        of_pupil = due.due_by(places, retention.holding(places[0], terms), on)
        counts = [getattr(of_pupil, kind).count() for kind in KINDS]
        if of_pupil.lessons:
            found.lessons += 1
        else:
            for kind, count in zip(KINDS, counts, strict=True):
                setattr(found, kind, getattr(found, kind) + count)
        found.pupils += of_pupil.lessons or any(counts)
    return found


@transaction.atomic
def _erase_due(studio: Studio, today: date) -> None:
    list(Studio.objects.select_for_update().filter(pk=studio.pk))
    if cut := retention.log_cut_of(retention.row_of(studio), today):
        audit.before(studio, cut.before).delete()
    ended = Enrolment.objects.filter(studio=studio, goes_on__lte=today)
    for place in list(_free(ended.select_related("pupil"), "", today)):
        requests.erase_lessons(place.pupil, studio, None, why=requests.TIME_OVER)
        Enrolment.objects.filter(pk=place.pk).update(goes_on=None)
    here = {"enrolment__studio": studio}
    clips = Clip.objects.filter(**here, erased_at=None)
    whole = _free(clips.filter(goes_on__lte=today), "enrolment__", today)
    alone = _free(clips.filter(recording_goes_on__lte=today), "enrolment__", today, "recording_")
    drills = _free(
        Assignment.objects.filter(**here, goes_on__lte=today).order_by(), "enrolment__", today
    )
    practice = _free(
        PracticeEntry.objects.filter(**here, goes_on__lte=today).order_by(), "enrolment__", today
    )
    _hand_over(studio, whole, alone.exclude(pk__in=whole.values("pk")), drills, practice)


def _free(rows: QuerySet, to_place: str, today: date, of: str = "") -> QuerySet:
    """Rows of pupils of whom no copy is made or waits to be fetched; after a week all of them."""
    copied = Copy.objects.exclude(state=Copy.State.FAILED).exclude(about=None)
    pairs = Q(pk__in=[])
    for about, studio in copied.values_list("about", "studio"):
        pairs |= Q(**{f"{to_place}pupil": about, f"{to_place}studio": studio})
    return rows.exclude(pairs & Q(**{f"{of}goes_on__gt": today - WAITS_FOR_COPY}))


def _hand_over(
    studio: Studio,
    whole: QuerySet[Clip],
    alone: QuerySet[Clip],
    drills: QuerySet[Assignment],
    practice: QuerySet[PracticeEntry],
) -> ErasureJob | None:
    """What goes on to a worker, and is out of people's reach at once."""
    parts = (
        (whole.count(), "clip", "clips"),
        (alone.count(), "recording", "recordings"),
        (drills.count(), "drill", "drills"),
        (practice.count(), _("entry of practice"), _("entries of practice")),
    )
    said = [figures.count(*part) for part in parts if part[0]]
    if not said:
        return None
    audit.record(audit.Act.ERASED, by=None, studio=studio, detail=f"{', '.join(said)}: {OVER}")
    log.info("studio %s: %s, %s", studio.pk, ", ".join(said), OVER)
    return requests.erase_over(whole, alone, drills, practice)
