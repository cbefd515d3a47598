"""How long a studio keeps what it has of a pupil.

A studio sets times (:class:`~.models.RetentionTerms`), and a consent names those that were shown
with it. Of the two the shorter one holds, kind by kind: a studio that keeps less keeps less of
everybody's, and one that keeps longer does so only for whoever agrees to that. Where a studio has
set nothing, all of it stays until it is erased, as the first words of consent said.

What the days are counted from:

=============  =============================================================================
recordings     the day on which the clip was sent
figures        the same; ``WITH_RECORDING`` is as long as the recording
drills         the day on which one was ticked off, else the day on which it was set;
               of an entry of practice the day of which it is
after_end      the last day of the pupil's lessons in the studio
log            the day on which it was done; no consent is asked for it
=============  =============================================================================

Nothing goes in the middle of a month: what is due goes on the first day of the next one, so that
people are told of it once a month. What is due and was not yet said goes ``WARNED_DAYS`` after it
was said at the earliest. What goes, and who is told: :mod:`studio.rights.retention`.
"""

from dataclasses import astuple, dataclass
from datetime import date, timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from .models import Consent, Enrolment, RetentionTerms, Studio

WITH_RECORDING = 0
WARNED_DAYS = 28  # chosen: four weeks, so that a holiday does not hide it


class NotTogether(ValueError):
    """Times that make no sense together, in a sentence that says what to do."""


@dataclass(frozen=True, slots=True)
class Terms:
    """Days of each kind; None: until it is erased."""

    recordings: int | None = None
    figures: int | None = WITH_RECORDING
    drills: int | None = None
    after_end: int | None = None

    @property
    def says_something_goes(self) -> bool:
        return any(days is not None for days in (self.recordings, self.drills, self.after_end)) or (
            self.figures not in (None, WITH_RECORDING)
        )

    @property
    def lasting(self) -> "Terms":
        """The same with the figures' own days in place of ``WITH_RECORDING``."""
        figures = self.recordings if self.figures == WITH_RECORDING else self.figures
        return Terms(self.recordings, figures, self.drills, self.after_end)


#: As the words said before a studio could set it, and as it is where none has.
UNTIL_ERASED = Terms()


def row_of(studio: Studio) -> RetentionTerms | None:
    """What the studio set last."""
    return RetentionTerms.objects.filter(studio=studio).order_by("-set_at", "-pk").first()


def said_by(row: RetentionTerms | None) -> Terms:
    """The times of a row; of none those of the first words."""
    if row is None:
        return UNTIL_ERASED
    return Terms(row.recordings_days, row.figures_days, row.drills_days, row.after_end_days)


def of_studio(studio: Studio) -> Terms:
    return said_by(row_of(studio))


def agreed(place: Enrolment) -> Terms | None:
    """What was last agreed to for a pupil in a studio, withdrawn since or not; None: nothing."""
    here = Consent.objects.filter(pupil=place.pupil_id, studio=place.studio_id)
    newest = here.select_related("terms").order_by("-given_at", "-pk").first()
    return said_by(newest.terms) if newest else None


def holding(place: Enrolment, of_the_studio: Terms | None = None) -> Terms:
    """The times that hold for what there is of a pupil in a studio."""
    now = of_studio(place.studio) if of_the_studio is None else of_the_studio
    said = agreed(place)
    return now if said is None else shorter(now, said)


def shorter(one: Terms, other: Terms) -> Terms:
    """Of each kind the shorter time.

    >>> shorter(Terms(365, None), UNTIL_ERASED)
    Terms(recordings=365, figures=0, drills=None, after_end=None)
    """
    recordings = _least(one.recordings, other.recordings)
    figures = _least(*(_figures(terms, recordings) for terms in (one, other)))
    return Terms(
        recordings,
        WITH_RECORDING if figures == recordings else figures,
        _least(one.drills, other.drills),
        _least(one.after_end, other.after_end),
    )


def is_longer(new: Terms, before: Terms) -> bool:
    """Whether anything is kept longer by new times, so that it has to be agreed to.

    >>> is_longer(Terms(365, None), Terms(365)), is_longer(Terms(92), Terms(365))
    (True, False)
    """
    pairs = zip(astuple(new.lasting), astuple(before.lasting), strict=True)
    # Figures that outlast their recording are kept longer, though a recording now goes sooner.
    outlasts = before.figures == WITH_RECORDING and new.figures != WITH_RECORDING
    return any(_least(days, then) != days for days, then in pairs) or (
        outlasts and new.recordings is not None
    )


def next_first(day: date) -> date:
    """The first day of a month on or after a day."""
    return day if day.day == 1 else (day.replace(day=1) + timedelta(days=32)).replace(day=1)


def goes_on(due: date, told: date) -> date:
    """When something goes that is due on one day, and that people are told of on another."""
    return next_first(max(due, told + timedelta(days=WARNED_DAYS)))


@dataclass(frozen=True, slots=True)
class LogCut:
    """On a day the lines of the studio's log go that were written before another."""

    on: date
    before: date


def log_cut_of(row: RetentionTerms | None, today: date) -> LogCut | None:
    """The last that has come by today; None where none has."""
    return _log_cut(row, today.replace(day=1))


def next_log_cut(row: RetentionTerms | None, today: date) -> LogCut | None:
    """The next one, which the log's page says; None where the log is kept."""
    first = next_first(today + timedelta(days=1))
    return _log_cut(row, first if row is None else max(first, _first_log_cut(row)))


def _first_log_cut(row: RetentionTerms) -> date:
    """Whoever reads the log has as long as anybody to read it once more."""
    set_on = timezone.localdate(row.set_at)
    return goes_on(set_on, set_on)


def _log_cut(row: RetentionTerms | None, on: date) -> LogCut | None:
    if row is None or row.log_days is None or on < _first_log_cut(row):
        return None
    return LogCut(on, on - timedelta(days=row.log_days))


def check(terms: Terms) -> None:
    """
    Raises
    ------
    NotTogether
        Where what was said of a clip would go before its recording, or at its end alone.
    """
    if terms.figures == WITH_RECORDING or terms.figures is None:
        return
    if terms.recordings is None or terms.figures < terms.recordings:
        raise NotTogether(
            _(
                "What was measured and said cannot go before the recording. Choose at least as "
                "long "
                "for it as for the recording, or as long as the recording."
            )
        )


def _figures(terms: Terms, recordings: int | None) -> int | None:
    return recordings if terms.figures == WITH_RECORDING else terms.figures


def _least(one: int | None, other: int | None) -> int | None:
    known = [days for days in (one, other) if days is not None]
    return min(known, default=None)
