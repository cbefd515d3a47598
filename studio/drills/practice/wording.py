"""The sentences of practice, for each who reads them."""

from collections.abc import Iterable

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from studio.accounts.models import Enrolment

from . import for_children
from .cautions import Lengths, Reason
from .weeks import Picture

PUPIL, GUARDIAN, TEACHER = "pupil", "guardian", "teacher"


def usual(picture: Picture) -> str:
    """What the picture shows, in a sentence without a sum; empty where nothing was noted."""
    if not picture.weeks:
        return ""
    days = ngettext("on {days} day", "on {days} days", picture.usual_days)
    minutes = ngettext("{minutes} minute", "{minutes} minutes", picture.usual_min)
    said = _("In a week with practice usually {on_days}, about {minutes} at a time.")
    return said.format(
        on_days=days.format(days=picture.usual_days),
        minutes=minutes.format(minutes=picture.usual_min),
    )


def caution(reasons: Iterable[Reason], area: str, place: Enrolment, simple: bool) -> list[str]:
    """What is said at once to whoever noted it; the graver part first, nothing for no reason."""
    found = list(reasons)
    if not found:
        return []
    if simple:
        return _to_child(found)
    named = {"pupil": place.pupil.first_name, "teacher": place.teacher}
    said = [text.format(**named) for text in _said(found, area)]
    return [*said, _told(area).format(**named)]


def _said(reasons: list[Reason], area: str) -> list[str]:
    """A teacher's or a clinician's word stands above ours, and each text says so."""
    own = area != GUARDIAN
    if Reason.HURT in reasons and own:
        return [
            _(
                "Stop playing now. Pain, numbness or tingling means: stop, tell your teacher, and "
                "have a doctor or physiotherapist look at it. What they say counts more than this "
                "page."
            )
        ]
    if Reason.HURT in reasons:
        return [
            _(
                "{pupil} stops playing now. Pain, numbness or tingling means: stop, tell "
                "{teacher}, and have a doctor or physiotherapist look at it. What they say counts "
                "more than this page."
            )
        ]
    if own:
        return [
            _(
                "That was long without a rest. Rest before your hand is tired; several short "
                "portions do more than a long one. If anything hurts, tingles or feels numb, stop, "
                "tell your teacher, and have a doctor or physiotherapist look at it. What they say "
                "counts more than this page."
            )
        ]
    return [
        _(
            "That was long without a rest. {pupil} rests before the hand is tired; several short "
            "portions do more than a long one. If anything hurts, tingles or feels numb, {pupil} "
            "stops, {teacher} is told, and a doctor or physiotherapist looks at it. What they say "
            "counts more than this page."
        )
    ]


def _told(area: str) -> str:
    if area == GUARDIAN:
        return _("{teacher} is asked to read what was noted on {pupil}’s page.")
    return _("{teacher}, and your guardians if you have any here, are asked to read it.")


def _to_child(reasons: list[Reason]) -> list[str]:
    said = (
        (for_children.STOP, for_children.TELL, for_children.DOCTOR)
        if Reason.HURT in reasons
        else (for_children.LONG, for_children.IF_IT_HURTS, for_children.TELL)
    )
    return [str(text) for text in (*said, for_children.THEY_READ)]


def rest_now(lengths: Lengths, simple: bool) -> str:
    """What the timer says once, when a stretch is long enough."""
    if simple:
        return str(for_children.REST_NOW)
    said = _("{minutes} minutes without a rest: a good moment for one.")
    return said.format(minutes=lengths.rest_after)


def how_lengths(lengths: Lengths) -> str:
    """Where the lengths come from, for a grown-up to judge them."""
    return _(
        "After {rest} minutes without a rest the timer proposes one, and beyond {long} minutes "
        "this page asks for it. These lengths are this program’s choice, not a standard; what a "
        "teacher, a doctor or a physiotherapist says counts more."
    ).format(rest=lengths.rest_after, long=lengths.long)


def who_reads(area: str, place: Enrolment, simple: bool) -> str:
    """Who can read what is noted."""
    if simple:
        return str(for_children.WHO_READS)
    if area == GUARDIAN:
        said = _("{pupil}, who answers for {pupil} here, and the teachers of {studio} can read it.")
    else:
        said = _("The teachers of {studio} can read it, and your guardians, if you have any here.")
    return said.format(pupil=place.pupil.first_name, studio=place.studio)
