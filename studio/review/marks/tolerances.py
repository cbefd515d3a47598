"""A tolerance for one clip, chosen by the teacher: judged anew at once, nothing is listened to.

Chosen are two numbers of cents: for perfect intervals (unison, fourth, fifth, octave) and for the
others (thirds, sixths, tenths).
"""

from django.db import transaction
from django.utils.translation import gettext as _

from studio import figures
from studio.accounts import audit
from studio.accounts.models import Person
from studio.review.changes import Conflict, lock_unreturned, record
from studio.review.models import Review

from . import counting
from .judging import Judged, judge_listening, judged, policy_for

LEAST_CENTS, MOST_CENTS = 2, 50
PERFECT, OTHER = "P8", "M6"  # each stands for its group


def in_force(review: Review) -> dict[str, float]:
    """The cents that the clip is judged by now."""
    table = policy_for(review).to_dict()["tolerance_cents"]
    return {"perfect": table[PERFECT], "other": table[OTHER]}


def from_where(review: Review) -> str:
    """Who chose them, in words that follow the figures."""
    if review.tolerance_cents:
        return _("chosen for this clip")
    if review.answers and review.answers.tolerance_cents:
        return _("as set with the drill")
    return _("as for %(get_level_display)s") % {
        "get_level_display": review.clip.enrolment.get_level_display()
    }


def tried(review: Review, chosen: dict[str, float]) -> Judged | None:
    """The clip as it would be judged by other tolerances; nothing is kept."""
    now = judged(review)
    if now is None:
        return None
    other = Review(pk=review.pk, clip=review.clip, answers=review.answers, tolerance_cents=chosen)
    return judge_listening(other, now.listening)


@transaction.atomic
def choose(
    review: Review, chosen: dict[str, float] | None, seen: dict[str, float], by: Person
) -> None:
    """Judge this clip by other tolerances; ``None`` is as usual. ``seen`` is what the page showed.

    Raises
    ------
    Conflict
        When somebody chose others in the meantime.
    """
    locked = lock_unreturned(review)
    standing = in_force(locked)
    wanted = chosen or in_force(Review(clip=locked.clip, answers=locked.answers))
    if standing not in (seen, wanted):
        raise Conflict(in_words(standing))
    if chosen != locked.tolerance_cents:
        record(
            audit.Act.TOLERANCE, locked, by, detail=in_words(wanted) if chosen else _("as usual")
        )
    review.tolerance_cents = chosen
    Review.objects.filter(pk=review.pk).update(tolerance_cents=chosen)
    locked.tolerance_cents = chosen
    found = judged(locked)  # the newest listening, for the list, whatever the page shows
    if found is not None:
        Review.objects.filter(pk=review.pk).update(**counting.counts_of(found))


def in_words(cents: dict[str, float]) -> str:
    return _(
        "%(cents)s c for octaves, fifths, fourths and unisons, %(cents_2)s c for "
        "thirds, sixths and tenths"
    ) % {"cents": figures.number(cents["perfect"]), "cents_2": figures.number(cents["other"])}
