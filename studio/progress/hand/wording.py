"""A cause in words, and how sure it is: for a teacher, a parent, and who plays."""

from django.utils.translation import gettext_lazy as _

from studio import figures
from studio.progress.fingerboard_chart import letter
from studio.theory.fingers import position_name

from .causes import FINGER, FRAME, OPEN_STRING, POSITION, SHIFT, STRING, Cause

MOST_PERCENT = 99  # no cause is surer than that


def sentence(cause: Cause) -> str:
    """What explains it: ``After a shift the hand arrives 14 ± 3 cents sharp.``"""
    by = figures.cents(abs(cause.cents), cause.doubt)
    words = (_UP if cause.cents > 0 else _DOWN)[cause.kind]
    return str(words) % {"by": by, "which": _named(cause)}


def how_sure(cause: Cause) -> str:
    percent = min(MOST_PERCENT, figures.percent(cause.share, 1.0))
    said = _(
        "Of %(notes)d notes that it would move. Set against every other single cause that is "
        "looked at, it is the likeliest by far: %(percent)d of 100."
    )
    return str(said) % {"notes": cause.notes, "percent": percent}


def _named(cause: Cause) -> str:
    if cause.kind == FINGER:
        return figures.ordinal(cause.which)
    if cause.kind == POSITION:
        return position_name(cause.which)
    return letter(cause.which) if cause.kind in (STRING, OPEN_STRING) else ""


_UP = {
    FINGER: _("Notes of the %(which)s finger stand %(by)s sharp, wherever it is set."),
    FRAME: _(
        "The hand is held too wide: the fourth finger stands %(by)s too far from the first, and "
        "the fingers between in proportion."
    ),
    STRING: _("Fingers on the %(which)s string stand %(by)s sharp, and the open string does not."),
    OPEN_STRING: _("The %(which)s string itself is %(by)s sharp, and takes all its notes along."),
    POSITION: _("In %(which)s the whole hand stands %(by)s sharp."),
    SHIFT: _("After a shift the hand arrives %(by)s sharp."),
}
_DOWN = {
    FINGER: _("Notes of the %(which)s finger stand %(by)s flat, wherever it is set."),
    FRAME: _(
        "The hand is held too narrow: the fourth finger stands %(by)s too near to the first, and "
        "the fingers between in proportion."
    ),
    STRING: _("Fingers on the %(which)s string stand %(by)s flat, and the open string does not."),
    OPEN_STRING: _("The %(which)s string itself is %(by)s flat, and takes all its notes along."),
    POSITION: _("In %(which)s the whole hand stands %(by)s flat."),
    SHIFT: _("After a shift the hand arrives %(by)s flat."),
}
