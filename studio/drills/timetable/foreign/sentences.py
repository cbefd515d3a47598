"""What is said of a calendar's file and of what is not taken from it, by code."""

from django.utils.translation import gettext as _

from studio import figures

from .events import DEEPEST, MOST_BYTES, MOST_EVENTS


def refusal(code: str) -> str:
    """Why nothing of a file is taken, and what to do."""
    said = {
        "too_large": _("The file is larger than %(most)s. Export fewer months.")
        % {"most": figures.megabytes(MOST_BYTES)},
        "damaged": _("The file is damaged or is no calendar. Export it again."),
        "not_a_calendar": _("This is no calendar’s file. Export the calendar as .ics."),
        "too_deep": _(
            "Parts of the file stand in one another more than %(most)s deep. Export it again."
        )
        % {"most": DEEPEST},
        "too_many": _("The file holds more than %(most)s events. Export fewer months.")
        % {"most": MOST_EVENTS},
        "too_long": _("Reading the file took too long, so it was given up. Export fewer months."),
    }
    return said[code]


def remark(code: str, what: str) -> str:
    """What is to be said of one event."""
    said = {
        "all_day": _("It has a day and no time: not taken."),
        "no_end": _("It does not say how long it lasts: not taken."),
        "length": _("It lasts less than 5 minutes or more than 8 hours: not taken."),
        "unknown_zone": _("Its time zone “%(what)s” is not known here: not taken."),
        "malformed": _("It is not written as calendars write (%(what)s): not taken."),
        "too_often": _("It repeats by the hour or more often: not taken."),
        "rule": _("It repeats by a rule that cannot be followed here: not taken."),
        "past": _("None of it is in the year from this week on."),
        "full": _(
            "There are more than %(what)s lessons in the file. Take these in, then export the rest."
        ),
        "no_zone": _("It names no time zone. Its time is taken by the clock of %(what)s."),
        "range": _(
            "A change of it was meant for all that follow; only the one day is changed here."
        ),
    }
    return said[code] % {"what": what} if "%(what)s" in said[code] else said[code]
