"""What lists say was found in a clip: how many marks, of which kinds, and how many are quiet.

The waiting list reads it from the review's row. It is counted when a clip is heard or judged
otherwise, and anew for what waits once a round of the blind audit has ended.
"""

from collections import Counter

from django.db.models import Q

from studio.accounts.models import Studio
from studio.clips.models import version_of
from studio.intonation import ENGINE
from studio.review.models import Review

from . import audit_figures
from .judging import Judged
from .quiet import group_of

AT_ONCE = 500  # rows written with one statement


def counts_of(found: Judged) -> dict:
    """The columns of a review that say what was found, by the judgement alone."""
    marks = found.judgement["marks"]
    groups = Counter(filter(None, (group_of(mark["code"], mark["params"]) for mark in marks)))
    quiet = audit_figures.quiet_kinds(
        found.review.clip.enrolment.studio_id, found.listening.generation
    )
    return {
        "marks_found": len(marks),
        "marks_of_kinds": dict(groups),
        "marks_quiet": _quiet(groups, quiet),
    }


def count_anew(studio: Studio) -> None:
    """After a round: what of the marks in clips that wait is quiet by now."""
    quiet = audit_figures.quiet_kinds(studio.pk, version_of(ENGINE)[0])
    waiting = Review.objects.filter(
        Q(marks_found__gt=0), clip__enrolment__studio=studio, state__in=Review.UNANSWERED
    ).only("marks_of_kinds", "marks_quiet")
    changed = []
    for review in waiting.iterator():
        now = _quiet(review.marks_of_kinds, quiet)
        if now != review.marks_quiet:
            review.marks_quiet = now
            changed.append(review)
    Review.objects.bulk_update(changed, ["marks_quiet"], batch_size=AT_ONCE)


def _quiet(of_kinds: dict[str, int], quiet: dict) -> int:
    return sum(many for kind, many in of_kinds.items() if kind in quiet)
