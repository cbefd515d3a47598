"""Thousands of clips for a studio's places, by bulk inserts: most returned, some waiting or begun.

Every clip has its stages, the files that would have been made of it, and what was heard in it.
"""

import random
import uuid
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import islice

from django.db.models import Model
from django.utils import timezone

from studio.accounts.models import Enrolment
from studio.clips.models import Clip, Listening, Original, Rendition, Stage
from studio.drills.models import Assignment, DrillVersion
from studio.review.marks.judging import judge_and_store
from studio.review.models import Comment, Decision, HandMark, Return, Review

from .patterns import ENGINE, LONG, SAID, Pattern

TITLES = ("Octaves", "Sixths, slowly", "Thirds in B-flat", "The scale again", "")
WAITING_SHARE, BEGUN_SHARE, LONG_SHARE = 0.09, 0.03, 0.04
OPEN_DRILLS, DONE_DRILLS = 6, 24
ROWS_AT_ONCE = 400
WEEKS = 52


@dataclass
class Batch:
    """Rows of one insert each, in the order in which they may be inserted."""

    rows: dict[type[Model], list] = field(default_factory=dict)

    def add(self, *rows: Model) -> None:
        for row in rows:
            self.rows.setdefault(type(row), []).append(row)

    def insert(self) -> None:
        for model, rows in self.rows.items():
            model.objects.bulk_create(rows, batch_size=200)


@dataclass(frozen=True)
class SharedFile:
    """The one recording that every clip of the large studio has."""

    path: str
    sha256: str
    size_bytes: int


def set_drills(
    places: Iterable[Enrolment], versions: list[DrillVersion], chance: random.Random
) -> dict[int, list[Assignment]]:
    """What each pupil has to practise, and has practised; by the place's number."""
    now, rows = timezone.now(), []
    for place in places:
        for position in range(OPEN_DRILLS + DONE_DRILLS):
            done = position >= OPEN_DRILLS
            at = now - timedelta(days=7 * (position + 1))
            rows.append(
                Assignment(
                    enrolment=place,
                    version=chance.choice(versions),
                    set_by=place.teacher,
                    set_at=at,
                    published_at=at,
                    due_on=(at + timedelta(days=14)).date(),
                    goal="Send one clip",
                    share_percent=80,
                    position=position,
                    done_at=at + timedelta(days=6) if done else None,
                )
            )
    found: dict[int, list[Assignment]] = {}
    for row in Assignment.objects.bulk_create(rows, batch_size=500):
        found.setdefault(row.enrolment_id, []).append(row)
    return found


def fill(
    places: list[Enrolment],
    many: int,
    patterns: list[Pattern],
    assignments: dict[int, list[Assignment]],
    stored: SharedFile,
    chance: random.Random,
    said: Callable[[str], None],
) -> None:
    """``many`` clips over a year, spread over the places; the newest wait."""
    maker = _Maker(patterns, assignments, stored, chance)
    ages = sorted((chance.uniform(0.01, 7.0 * WEEKS) for _ in range(many)), reverse=True)
    plan = iter((places[n % len(places)], ages[n], _state(n, many, chance)) for n in range(many))
    for done, some in enumerate(_chunks(plan, ROWS_AT_ONCE)):
        maker.insert(some)
        said(f"{min(many, (done + 1) * ROWS_AT_ONCE)} of {many} clips")


def _state(number: int, many: int, chance: random.Random) -> str:
    """The older nine tenths are returned; of the others most wait."""
    if number < many * (1 - WAITING_SHARE - BEGUN_SHARE):
        return Review.State.RETURNED
    share = BEGUN_SHARE / (WAITING_SHARE + BEGUN_SHARE)
    return Review.State.OPEN if chance.random() < share else Review.State.WAITING


def _chunks(items: Iterator, size: int) -> Iterator[list]:
    while some := list(islice(items, size)):
        yield some


class _Maker:
    def __init__(self, patterns, assignments, stored: SharedFile, chance: random.Random) -> None:
        self.patterns, self.assignments = patterns, assignments
        self.stored, self.chance = stored, chance

    def insert(self, plan: list[tuple[Enrolment, float, str]]) -> None:
        """Clips and what hangs from them; then reviews; then what hangs from those."""
        first, second, third = Batch(), Batch(), Batch()
        made = [self._clip(first, *one) for one in plan]
        first.insert()
        for clip, pattern, state, _ in made:
            review = self._review(clip, pattern, state)
            second.add(review)
        second.insert()
        reviews = second.rows[Review]
        for (clip, pattern, state, listening), review in zip(made, reviews, strict=True):
            self._answer(third, clip, pattern, state, listening, review)
        third.insert()
        for (_, _, state, listening), review in zip(made, reviews, strict=True):
            if state != Review.State.RETURNED:
                judge_and_store(review, listening)  # as the worker that listened

    def _clip(self, batch: Batch, place: Enrolment, days: float, state: str):
        at = timezone.now() - timedelta(days=days)
        pattern = self.patterns[LONG if self.chance.random() < LONG_SHARE else self._short()]
        clip = Clip(
            id=uuid.UUID(int=self.chance.getrandbits(128), version=4),
            enrolment=place,
            uploaded_by=place.pupil,
            title=self.chance.choice(TITLES),
            note="The middle part would not settle." if self.chance.random() < 0.3 else "",
            created_at=at,
            intake=Clip.Intake.RECEIVED,
            duration_s=pattern.duration_s,
            has_video=True,
            has_audio=True,
            frame_rate=30.0,
        )
        batch.add(clip)
        batch.add(*(Stage(clip=clip, kind=k, state=s) for k, s in Stage.DONE.items()))
        same = {"path": self.stored.path, "sha256": self.stored.sha256}
        same |= {"size_bytes": self.stored.size_bytes}
        batch.add(Original(clip=clip, filename="clip.mp4", **same))
        kinds = ("playable", "small", "poster", "peaks")
        batch.add(*(Rendition(clip=clip, kind=k, content_type="video/mp4", **same) for k in kinds))
        listening = Listening(
            clip=clip,
            engine=ENGINE,
            options={},
            input_sha256="0" * 64,
            measurement=pattern.measurement,
            created_at=at,
        )
        batch.add(listening)
        return clip, pattern, state, listening

    def _short(self) -> int:
        return self.chance.randrange(LONG)

    def _review(self, clip: Clip, pattern: Pattern, state: str) -> Review:
        answers = None
        if self.chance.random() < 0.7:
            answers = self.chance.choice(self.assignments[clip.enrolment_id])
        resting = state != Review.State.RETURNED and self.chance.random() < 0.05
        return Review(
            clip=clip,
            answers=answers,
            state=state,
            opened_at=None if state == Review.State.WAITING else clip.created_at,
            summary="Much steadier." if state == Review.State.RETURNED else "",
            double_stops_heard=pattern.double_stops,
            marks_found=0 if self.chance.random() < 0.1 else pattern.marks,
            taken_by=clip.enrolment.teacher if self.chance.random() < 0.2 else None,
            snoozed_until=timezone.now() + timedelta(days=9) if resting else None,
        )

    def _answer(self, batch: Batch, clip: Clip, pattern, state, listening, review) -> None:
        if state == Review.State.WAITING:
            return
        teacher = clip.enrolment.teacher
        for made in pattern.decisions:
            values = {n: getattr(made, n) for n in ("choice", "code", "start_s", "end_s", "midis")}
            values["sentence"] = made.sentence
            batch.add(Decision(review=review, listening=listening, decided_by=teacher, **values))
        for place, (kind, text) in enumerate(SAID):
            at = 4.0 + 9 * place
            batch.add(Comment(review=review, author=teacher, kind=kind, text=text, start_s=at))
        batch.add(HandMark(review=review, start_s=3, end_s=4, words="Here.", added_by=teacher))
        if state == Review.State.RETURNED:
            batch.add(self._return(review, clip.created_at, pattern))

    def _return(self, review: Review, sent_at: datetime, pattern: Pattern) -> Return:
        at = sent_at + timedelta(days=self.chance.uniform(0.5, 5.0))
        return Return(
            review=review,
            returned_by=review.clip.enrolment.teacher,
            returned_at=at,
            visible_at=at,
            told_at=at,
            snapshot=pattern.snapshot,
            read_at=at + timedelta(days=1) if self.chance.random() < 0.9 else None,
        )
