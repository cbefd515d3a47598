"""How much may be sent in a day: by one pupil, and to one studio.

The day is the last 24 hours, so that there is no hour at which everything is open again at once.
What was sent counts, kept or erased since; so does what is on its way, with its announced length.
Only what begins is asked about: what has begun arrives.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import Count, Min, QuerySet, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts.models import Enrolment, Person, Studio

from .models import Clip, Upload

DAY = timedelta(hours=24)


class OverQuota(Exception):
    """Why no more may be sent just now: a sentence with the value, the bound and what to do."""

    def __init__(self, sentence: str):
        super().__init__(sentence)
        self.sentence = sentence


@dataclass(frozen=True, slots=True)
class _Sent:
    """What one pupil, or all of a studio, has sent: how many, how large, since when."""

    clips: int
    size_bytes: int
    oldest: datetime | None


def lock(enrolment: Enrolment) -> None:
    """Let others who send for the same pupil or studio wait here until this transaction ends."""
    list(Studio.objects.select_for_update(no_key=True).filter(pk=enrolment.studio_id))
    list(Person.objects.select_for_update(no_key=True).filter(pk=enrolment.pupil_id))


def require(enrolment: Enrolment, size_bytes: int = 0) -> None:
    """Raise :class:`OverQuota` unless one more recording of this size may be sent."""
    pupil = {"enrolment__pupil": enrolment.pupil_id, "enrolment__studio": enrolment.studio_id}
    bounds = (settings.DAILY_CLIPS_PUPIL, settings.DAILY_BYTES_PUPIL)
    _require(_sent(pupil), size_bytes, *bounds, _("You have sent"))
    studio = {"enrolment__studio": enrolment.studio_id}
    bounds = (settings.DAILY_CLIPS_STUDIO, settings.DAILY_BYTES_STUDIO)
    _require(_sent(studio), size_bytes, *bounds, _("All pupils of your studio together have sent"))


def _require(sent: _Sent, size_bytes: int, most: int, most_bytes: int, who: str) -> None:
    if sent.clips >= most:
        many = figures.count(sent.clips, "recording", "recordings")
        raise OverQuota(
            _("%(who)s %(many)s in the last 24 hours, and %(most)s is the most. %(oldest)s")
            % {"who": who, "many": many, "most": most, "oldest": _until(sent.oldest)}
        )
    if sent.size_bytes + size_bytes > most_bytes:
        already, limit = figures.megabytes(sent.size_bytes), figures.megabytes(most_bytes)
        this = (
            _("; this one has %(size_bytes)s") % {"size_bytes": figures.megabytes(size_bytes)}
            if size_bytes
            else ""
        )
        raise OverQuota(
            _(
                "%(who)s %(already)s in the last 24 hours%(this)s, and %(limit)s is the "
                "most. Send a shorter clip, or wait. %(oldest)s"
            )
            % {
                "who": who,
                "already": already,
                "this": this,
                "limit": limit,
                "oldest": _until(sent.oldest),
            }
        )


def _until(oldest: datetime | None) -> str:
    if oldest is None:
        return _("Keep the recording, and tell your teacher.")
    free = timezone.localtime(oldest + DAY)
    return _("Keep the recording, and send it after %(free)s.") % {
        "free": figures.time_of_day(free)
    }


def _sent(whose: dict) -> _Sent:
    since = timezone.now() - DAY
    clips = Clip.objects.filter(intake=Clip.Intake.RECEIVED, created_at__gt=since, **whose)
    on_their_way = Upload.objects.filter(clip=None, changed_at__gt=since, **whose)
    here = _sum(clips, "created_at", "original__size_bytes")
    coming = _sum(on_their_way, "changed_at", "length_bytes")
    begun = [when for when in (here.oldest, coming.oldest) if when is not None]
    return _Sent(
        here.clips + coming.clips,
        here.size_bytes + coming.size_bytes,
        min(begun, default=None),
    )


def _sum(rows: QuerySet, when: str, size: str) -> _Sent:
    found = rows.aggregate(n=Count("pk"), size=Sum(size), oldest=Min(when))
    return _Sent(found["n"], found["size"] or 0, found["oldest"])
