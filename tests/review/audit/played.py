"""Clips to audit, and rounds that were judged: made-up figures, for these tests alone."""

from django.utils import timezone

from studio.accounts.models import Enrolment
from studio.clips.models import Clip, Listening, version_of
from studio.intonation import ENGINE
from studio.review.models import AuditMoment, AuditRound
from tests.review.heard_clip import heard_clip, listen_again, measurement

LOWS = ("C4", "D4", "E4", "F4", "G4")
FAR, NEAR = 35.0, 2.0  # cents: marked, and in tune


def audited_clip(enrolment: Enrolment, title: str = "Octaves", marks: int = 3) -> Clip:
    """Five octaves, ``marks`` of them marked, heard by the engine that listens now."""
    clip = heard_clip(enrolment, title)
    cents = [FAR if n < marks else NEAR for n in range(len(LOWS))]
    played = zip(LOWS, range(4, 60, 6), cents, strict=False)
    stored = measurement(tuple((low, float(at), (off,)) for low, at, off in played))
    listen_again(clip, stored)
    return heard_now(clip)


def heard_now(clip: Clip) -> Clip:
    """As if the engine that listens now had heard it."""
    Listening.objects.filter(clip=clip).update(engine=ENGINE)
    return clip


def judged_round(place: Enrolment, clip: Clip, right: int, wrong: int, **more) -> AuditRound:
    """An ended round of octaves that were marked: so many heard out of tune, so many in tune."""
    ended = {"finished_at": timezone.now()} | more
    made = AuditRound.objects.create(studio=place.studio, teacher=place.teacher, seed=1, **ended)
    answers = ["out"] * right + ["in_tune"] * wrong
    AuditMoment.objects.bulk_create(
        AuditMoment(
            round=made,
            position=n,
            clip=clip,
            start_s=1.0,
            end_s=2.0,
            kind="octaves",
            generation=version_of(ENGINE)[0],
            code="interval_wide",
            answer=said,
            answered_at=timezone.now(),
        )
        for n, said in enumerate(answers, start=1)
    )
    return made
