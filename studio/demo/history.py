"""Weeks of history for the demo: real clips, really listened to, with the teacher's answers."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from zlib import crc32

from django.utils import timezone

from studio.accounts.models import Enrolment
from studio.clips import services as clips
from studio.clips import tasks
from studio.clips.models import Clip
from studio.clips.storage.spool import CHUNK_BYTES
from studio.drills.models import Assignment, DrillVersion
from studio.drills.services import set_drill
from studio.review import comments
from studio.review.comments import CommentText
from studio.review.marks import decisions
from studio.review.marks.judging import judged
from studio.review.models import Decision, Return, Review
from studio.review.returning import services
from studio.review.waiting import submissions

from .people import Cast
from .takes import Take

DUE_AFTER = timedelta(days=7)


class Historian:
    """Plays a studio's past: sends takes, lets them be heard, answers some of them."""

    def __init__(self, cast: Cast, shelf: dict[str, DrillVersion], build: Callable, folder: Path):
        self.cast, self.shelf, self.build, self.folder = cast, shelf, build, folder

    def send(self, take: Take) -> Review:
        """A take arrives, at the time it says; listening is left to the worker."""
        place = self.cast.places[take.login]
        path = self._recording(take)
        with path.open("rb") as recording:
            clip = clips.receive(
                place,
                self.cast.senders.get(take.login, place.pupil),
                iter(lambda: recording.read(CHUNK_BYTES), b""),
                path.name,
                title=take.title,
                note=take.note,
            )
        if clip.intake != Clip.Intake.RECEIVED:
            raise RuntimeError(f"the demo's take {path.name} was refused: {clip.intake_code}")
        Clip.objects.filter(pk=clip.pk).update(
            created_at=timezone.now() - timedelta(days=take.days_ago)
        )
        return submissions.begin_review(clip, self._assignment(place, take))

    def answer(self, take: Take) -> None:
        """A take of the past: sent, heard, answered, returned, and its drill done."""
        review = self.send(take)
        clip = review.clip
        tasks.listen_to_clip(str(clip.pk))
        tasks.prepare_small(str(clip.pk))
        tasks.prepare_playback(str(clip.pk))
        review = Review.objects.get(pk=review.pk)
        self._decide(review)
        for where, kind, text in take.say:
            moment = CommentText(kind, text, round(where * clip.duration_s, 1))
            comments.add_comment(review, self.cast.teacher, moment)
        if take.sets:
            name, goal = take.sets
            due = timezone.localdate() - timedelta(days=int(take.days_ago)) + 2 * DUE_AFTER
            services.set_drill_with_clip(review, self.shelf[name], self.cast.teacher, due, goal)
        self._return(review, take)

    def _recording(self, take: Take) -> Path:
        if take.sample:
            return self.build.build(take.sample, self.folder)
        seed = crc32(f"{take.login} {take.days_ago}".encode())
        return self.build.build_variation(
            seed,
            self.folder,
            level=self.cast.places[take.login].level,
            key=take.key,
            interval=take.interval,
            octave=take.octave,
            degrees=take.degrees,
            skill=take.skill,
        )

    def _assignment(self, place: Enrolment, take: Take) -> Assignment:
        """What the take answers: in the pupil's queue already, or set a week before it."""
        version = self.shelf[take.drill]
        waiting = place.assignments.filter(
            version=version, done_at=None, published_at__isnull=False
        ).first()
        if waiting:
            return waiting
        set_at = timezone.now() - timedelta(days=take.days_ago + 7)
        assignment = set_drill(
            version,
            place,
            self.cast.teacher,
            due_on=(set_at + DUE_AFTER).date(),
            goal="Send one clip",
            share_percent=80 if version.score else None,
            published=True,
        )
        Assignment.objects.filter(pk=assignment.pk).update(set_at=set_at, published_at=set_at)
        return assignment

    def _decide(self, review: Review) -> None:
        """The teacher keeps what matters most and drops the rest."""
        found = judged(review)
        ranked = sorted(found.marks, key=lambda mark: -mark.severity) if found else []
        for place, mark in enumerate(ranked):
            choice = Decision.Choice.KEPT if place < 3 else Decision.Choice.DROPPED
            decisions.decide(review, found.listening, mark, choice, self.cast.teacher)

    def _return(self, review: Review, take: Take) -> None:
        returned = services.return_clip(review, self.cast.teacher, take.summary)
        at = timezone.now() - timedelta(days=max(take.days_ago - 1, 0.05))
        Return.objects.filter(pk=returned.pk).update(returned_at=at, visible_at=at)
        review.drills_set.update(set_at=at, published_at=at)
        if review.answers is not None:
            Assignment.objects.filter(pk=review.answers.pk).update(done_at=at)
