"""Replies that a teacher recorded before, to go along as an example with another clip.

The same recording with several clips is one example. A copy goes with each clip, taken in as any
reply is, so that erasing one clip leaves the others whole.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from studio.accounts.models import Person
from studio.clips.storage.stores import store
from studio.review import services
from studio.review.enclosures.receiving import NotTaken, Recording, received
from studio.review.enclosures.services import enclose
from studio.review.models import EnclosedFile, Enclosure, Review
from studio.review.services import CommentText

OFFERED = 12
GONE = "The recorded example is no longer there. Choose another, or none."


@dataclass(frozen=True, slots=True)
class Example:
    """One recording of the teacher's: how often it was sent, and what it first went with."""

    enclosure: Enclosure
    times: int
    kinds: tuple[str, ...]

    @property
    def pk(self) -> UUID:
        return self.enclosure.pk

    @property
    def clip_id(self) -> UUID:
        return self.enclosure.clip_id

    @property
    def studio_id(self) -> int:
        return self.enclosure.clip.enrolment.studio_id

    @property
    def words(self) -> str:
        return self.enclosure.comment.text

    @property
    def pupil(self) -> Person:
        return self.enclosure.clip.enrolment.pupil

    @property
    def recorded_at(self) -> datetime:
        return self.enclosure.created_at


def examples_of(recordings: Iterable[Enclosure]) -> list[Example]:
    """What was recorded, each recording once; from what :func:`.access.own_recordings` found."""
    same: dict[tuple[int, str], list[Enclosure]] = {}
    for each in recordings:
        same.setdefault((each.clip.enrolment.studio_id, each.sha256), []).append(each)
    return [
        # The first of its kind says best what it is: copies have no words of their own.
        Example(alike[-1], len(alike), tuple(_kind_of(each.comment.review) for each in alike))
        for alike in same.values()
    ]


def offered(examples: Iterable[Example], review: Review) -> list[Example]:
    """Those to offer with a clip: what went with its kind of drill most often first."""
    kind, studio_id = _kind_of(review), review.clip.enrolment.studio_id
    here = [example for example in examples if example.studio_id == studio_id]
    here.sort(key=lambda e: (e.kinds.count(kind), e.times, e.recorded_at), reverse=True)
    return here[:OFFERED]


@contextmanager
def copied(example: Enclosure | None) -> Iterator[Recording | None]:
    """A copy of its recording on the bench, to be attached within the context.

    Raises
    ------
    NotTaken
        When it is gone, or can no longer be opened.
    """
    if example is None:
        yield None
        return
    original = example.file(EnclosedFile.Kind.ORIGINAL)
    if original is None:
        raise NotTaken(GONE)
    try:
        chunks = store().read(original.path, 0, original.size_bytes)
    except FileNotFoundError:
        raise NotTaken(GONE) from None
    sort = "audio" if example.kind == Enclosure.Kind.VOICE else "video"
    with received(chunks, f"{sort}/") as recording:
        yield recording


def attach(review: Review, teacher: Person, example: Enclosure, recording: Recording) -> None:
    """Put a copied recording with the clip, at its beginning; inside a transaction."""
    said = CommentText(kind=example.comment.kind, text="", start_s=0.0)
    enclose(services.add_comment(review, teacher, said), recording)


def _kind_of(review: Review) -> str:
    return review.answers.version.interval if review.answers else ""
