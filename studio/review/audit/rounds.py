"""A round of the blind audit: begun, answered moment by moment, taken back, ended.

Each answer is written once: a second press of the same moment changes nothing. A moment whose clip
may not be watched any more, or is gone, is not asked about; it leaves the round with its end.
"""

import secrets

from django.db import IntegrityError, transaction
from django.db.models import Count, QuerySet
from django.utils import timezone

from studio.accounts.access import get_or_404
from studio.accounts.models import Person, Studio
from studio.review.marks import counting
from studio.review.models import AuditMoment, AuditRound

from . import candidates
from .draw import drawn

SEED_BITS = 48
MOST_SHOWN = 50  # ended rounds, the newest


def rounds_of(teacher: Person, studio: Studio) -> QuerySet[AuditRound]:
    """Her own rounds in a studio, the newest first; nobody reaches a colleague's."""
    return AuditRound.objects.filter(teacher=teacher, studio=studio)


def round_for(teacher: Person, studio: Studio, pk: int) -> AuditRound:
    """One of them, or 404."""
    return get_or_404(rounds_of(teacher, studio), pk)


def open_round(teacher: Person, studio: Studio) -> AuditRound | None:
    return rounds_of(teacher, studio).filter(finished_at=None).first()


def ended(teacher: Person, studio: Studio) -> list[AuditRound]:
    """Those that count, each with how many moments were ``judged`` in it."""
    found = rounds_of(teacher, studio).filter(finished_at__isnull=False)
    return list(found.annotate(judged=Count("moments"))[:MOST_SHOWN])


def begin(teacher: Person, studio: Studio) -> AuditRound | None:
    """The round that stands open, else a new one; ``None`` where there is too little to ask."""
    standing = open_round(teacher, studio)
    if standing is not None:
        return standing
    seed = secrets.randbits(SEED_BITS)
    moments = drawn(candidates.candidates(teacher, studio, seed), seed)
    if not moments:
        return None
    try:
        with transaction.atomic():
            begun = AuditRound.objects.create(studio=studio, teacher=teacher, seed=seed)
            AuditMoment.objects.bulk_create(
                AuditMoment(
                    round=begun,
                    position=position,
                    clip_id=each.clip_id,
                    start_s=each.start_s,
                    end_s=each.end_s,
                    kind=each.kind,
                    generation=each.generation,
                    code=each.code,
                    sentence=each.sentence,
                    deviation_cents=each.deviation_cents,
                    uncertainty_cents=each.uncertainty_cents,
                )
                for position, each in enumerate(moments, start=1)
            )
    except IntegrityError:  # another press was first
        return open_round(teacher, studio)
    return begun


def to_judge(asked: AuditRound) -> QuerySet[AuditMoment]:
    """What is still to be judged, in its order."""
    there = candidates.watchable(asked.teacher, asked.studio)
    return asked.moments.filter(answer="", clip__in=there).order_by("position")


def judged_in(asked: AuditRound) -> int:
    """How many have an answer."""
    return asked.moments.exclude(answer="").count()


def judged_moments(asked: AuditRound) -> list[AuditMoment]:
    """What was judged, with its clip and whose it is; what may not be watched now is left out."""
    there = candidates.watchable(asked.teacher, asked.studio)
    answered = asked.moments.exclude(answer="").filter(clip__in=there)
    found = answered.select_related("clip__enrolment__pupil").defer("clip__info")
    return list(found.order_by("position"))


def answer(asked: AuditRound, moment_id: int, said: AuditMoment.Answer) -> bool:
    """Whether the answer was taken: not where the moment has one, or the round has ended."""
    open_moment = asked.moments.filter(pk=moment_id, answer="", round__finished_at=None)
    return open_moment.update(answer=said, answered_at=timezone.now()) == 1


def take_back(asked: AuditRound) -> AuditMoment | None:
    """The last answer is none any more; its moment is asked about again."""
    answered = asked.moments.exclude(answer="").filter(round__finished_at=None)
    last = answered.order_by("-answered_at", "-position").first()
    if last is not None:
        asked.moments.filter(pk=last.pk).update(answer="", answered_at=None)
    return last


@transaction.atomic
def end(asked: AuditRound) -> bool:
    """End a round, with what was answered; one without an answer is thrown away. False then."""
    standing = AuditRound.objects.select_for_update().get(pk=asked.pk)
    if standing.finished_at is not None:
        return True
    standing.moments.filter(answer="").delete()
    if not standing.moments.exists():
        standing.delete()
        return False
    standing.finished_at = timezone.now()
    standing.save(update_fields=["finished_at"])
    counting.count_anew(standing.studio)
    return True
