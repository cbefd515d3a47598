"""Whether anybody listens: what teachers are told, and the log, when no listener is at work.

A listener that is started again is back within a minute; only a longer absence is said, and only
while there is something to listen to.
"""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import DatabaseError
from django.db.models import CharField, QuerySet
from django.db.models.functions import Now
from django.utils import timezone
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts import consent
from studio.accounts.models import current
from studio.accounts.prepared import Given, Prepared
from studio.clips.models import Stage
from studio.workers import signs

log = logging.getLogger(__name__)

QUEUE = "listening"
LONG = timedelta(minutes=2)
LISTENERS = "listeners"  # what is noted of them


@dataclass(frozen=True, slots=True)
class Absence:
    """Nobody listens. ``since`` is when the last listener gave a sign; None where none ever did."""

    since: datetime | None

    @property
    def sentence(self) -> str:
        """For a teacher."""
        return _("%(none)s; your clips are kept and will be heard when it is back.") % {
            "none": self._none
        }

    @property
    def at_home(self) -> str:
        """For the pupil and the guardians of one clip."""
        return _("%(none)s; the clip is kept and will be heard when it is back.") % {
            "none": self._none
        }

    @property
    def _none(self) -> str:
        if self.since is None:
            return _("No listener is at work")
        return _("No listener has been at work since %(since)s") % {"since": _when(self.since)}


def absence() -> Absence | None:
    """Whether nobody listens, though there is something to listen to."""
    seen, lately = _last_seen.first() or (None, False)
    if lately:
        return None
    due = _anything() if seen is not None else _anything_for_long()
    return Absence(seen) if due else None


def unheard() -> QuerySet[Stage]:
    """What waits for a listener, and what one was at when it went."""
    agreed = consent.holds(
        consent.Purpose.RECORDINGS, "clip__enrolment__pupil", "clip__enrolment__studio"
    )
    begun = (Stage.State.WAITING, Stage.State.WORKING)
    return Stage.objects.filter(
        agreed,
        current("clip__enrolment__"),
        kind=Stage.Kind.LISTENING,
        state__in=begun,
        clip__erased_at=None,
    )


_last_seen = Prepared(lambda: signs.last_seen(QUEUE, LONG))
_stood = Prepared(lambda: signs.standing(Given("what", CharField())))
_anything = Prepared(lambda: unheard().values_list("pk")[:1])
_anything_for_long = Prepared(
    lambda: unheard().filter(changed_at__lt=Now() - LONG).values_list("pk")[:1]
)


def watch() -> Absence | None:
    """As :func:`absence`; a change is logged, once, whichever process sees it first."""
    now = absence()
    state = "away" if now else "there"
    if _stood.first(what=LISTENERS) == state:
        return now
    try:
        news = signs.has_changed(LISTENERS, state)
    except DatabaseError:  # a page must not fail because this cannot be noted
        return now
    if news and now:
        since = f" since {now.since.isoformat(timespec='seconds')}" if now.since else ""
        log.warning("no listener has been at work%s; %s", since, _waiting())
    elif news:
        log.info("nothing waits without a listener")
    return now


def _waiting() -> str:
    return figures.count(unheard().count(), "clip waits", "clips wait")


def _when(moment: datetime) -> str:
    """The time; with its day, unless that is today."""
    here = timezone.localtime(moment)
    at = figures.time_of_day(here)
    if here.date() == timezone.localdate():
        return at
    return f"{at}, {figures.day(here.date(), timezone.localdate())}"
