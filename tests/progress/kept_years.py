"""A pupil's place with years of returned clips, as made-up pupils play them."""

from datetime import datetime, time, timedelta
from uuid import uuid4

from django.utils import timezone

from studio.accounts.models import Enrolment
from studio.clips.models import Clip, Listening
from studio.progress.models import ClipFigures, packed
from studio.progress.playings import LAYOUT, PlayedClip
from studio.review.models import Return, Review
from tests.benchmarks.progressing.pupils import Pupil, year_of


def keep_year(enrolment: Enrolment, pupil: Pupil, seed: int = 1) -> list[Clip]:
    """Her clips, so that the last was sent yesterday, all returned."""
    played = year_of(pupil, seed)
    last = max(clip.day for clip in played)
    later = timezone.localdate() - timedelta(days=1) - last
    return keep(enrolment, played, later)


def keep(enrolment: Enrolment, played: list[PlayedClip], later: timedelta) -> list[Clip]:
    clips = Clip.objects.bulk_create(
        Clip(
            id=uuid4(),
            enrolment=enrolment,
            uploaded_by=enrolment.pupil,
            intake=Clip.Intake.RECEIVED,
            created_at=timezone.make_aware(datetime.combine(each.day + later, time(17))),
            has_audio=True,
            title=f"Take {number}",
        )
        for number, each in enumerate(played, start=1)
    )
    state = Review.State.RETURNED
    reviews = Review.objects.bulk_create(Review(clip=clip, state=state) for clip in clips)
    snapshot = {"schema": 1, "summary": "", "moments": [], "shown": None, "drills": []}
    teacher = enrolment.teacher
    Return.objects.bulk_create(
        Return(review=review, returned_by=teacher, snapshot=snapshot) for review in reviews
    )
    heard = {"engine": "2.0.0", "options": {}, "input_sha256": "", "measurement": {"events": []}}
    listenings = Listening.objects.bulk_create(Listening(clip=clip, **heard) for clip in clips)
    ClipFigures.objects.bulk_create(
        ClipFigures(
            clip=clip,
            listening=listening,
            layout=LAYOUT,
            generation=2,
            **packed(each) | {"day": each.day + later},
        )
        for clip, listening, each in zip(clips, listenings, played, strict=True)
    )
    return clips
