"""A pupil with all that a copy can hold, made by the real work, beside what is nobody else's."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from django.utils import timezone

from studio.accounts.models import GuardianLink, Membership, Person
from studio.clips import services as clips
from studio.clips import tasks as clip_tasks
from studio.clips.models import Clip
from studio.clips.storage.stores import store
from studio.drills.models import Assignment
from studio.notation import Request, generate
from studio.review.comments import CommentText, add_comment
from studio.review.enclosures import dispatch as enclosed
from studio.review.enclosures import intake
from studio.review.enclosures import services as enclosures
from studio.review.enclosures.drawings import Drawing
from studio.review.models import Comment, Enclosure, Review
from studio.review.returning.services import return_clip
from studio.review.tasks import prepare_enclosure
from studio.rights import access
from studio.rights.copies import services
from studio.rights.models import Copy
from studio.rights.tasks import make_copy
from tests.cast import Cast, make_clip, make_drill, set_for
from tests.samples import SAMPLE

TITLE, ODD_NAME = "Octaves, slowly <b>", "../Übung: 1?.mp4"
SAID = "Upper note --> listen\n\nto it & <i>lean</i>"
STROKES = [
    {"kind": "circle", "at": [0.5, 0.3], "radius": 0.1},
    {"kind": "label", "at": [0.2, 0.2], "text": "this <wrist>"},
]
WORKING_NOTE, OTHERS_TITLE = "not yet decided about the bow", "Jonas plays sixths"
OTHER_GUARDIAN = "second.guardian@family.example"


@dataclass(frozen=True)
class Lessons:
    """What is there of the pupil."""

    cast: Cast
    returned: Clip
    unreturned: Clip
    comment: Comment
    drill: Assignment


def furnish(cast: Cast, voice: bytes) -> Lessons:
    """A clip that was heard, watched and returned with replies; one at work; a drill; others'."""
    with mock.patch.object(clips, "dispatch"), mock.patch.object(enclosed, "send"):
        returned = _sent(cast, TITLE, ODD_NAME)
        clip_tasks.listen_to_clip(str(returned.pk))
        review = Review.objects.get(clip=returned)
        comment = add_comment(review, cast.teacher, CommentText("bow", SAID, 4.0))
        add_comment(review, cast.teacher, CommentText("well_done", "Even bow here.", 6.5, 8.25))
        _replies(comment, voice)
        return_clip(review, cast.teacher, "Much steadier than last week.")
        unreturned = _sent(cast, "Sixths", "sixths.mp4")
        at_work = Review.objects.get(clip=unreturned)
        add_comment(at_work, cast.teacher, CommentText("bow", WORKING_NOTE, 1.0))
    make_clip(cast.other_enrolment, OTHERS_TITLE)
    score = generate(Request(direction="up", manner="together", start=1)).to_dict()
    drill = make_drill(cast.teacher, cast.studio, "Octaves in B♭", score=score)
    given = set_for(cast.enrolment, drill, goal="Without a stop")
    set_for(cast.enrolment, make_drill(cast.teacher, cast.studio, "Prepared"), published=False)
    _second_guardian(cast)
    returned.refresh_from_db()
    return Lessons(cast, returned, unreturned, comment, given)


def _sent(cast: Cast, title: str, filename: str) -> Clip:
    chunks = [SAMPLE.read_bytes(), title.encode()]  # other bytes than any other clip's
    clip = clips.receive(cast.enrolment, cast.guardian, chunks, filename, title=title)
    clip_tasks.prepare_playback(str(clip.pk))
    clip.stages.filter(kind="small").update(state="playable")  # a copy would wait for it
    return clip


def _replies(comment: Comment, voice: bytes) -> None:
    """A voice reply and a drawing, each prepared as a worker does."""
    with intake.received([voice]) as recording:
        enclosures.enclose(comment, recording)
    enclosures.draw(comment, Drawing(4.0, STROKES), "Where the wrist turns")
    for enclosure in Enclosure.objects.filter(comment=comment):
        prepare_enclosure(enclosure_id=str(enclosure.pk))
        enclosure.refresh_from_db()
        assert enclosure.state == "ready", enclosure.failure_detail


def _second_guardian(cast: Cast) -> None:
    other = Person.objects.create_user(OTHER_GUARDIAN, "a password", name="Arvid Sandholm")
    Membership.objects.create(person=other, studio=cast.studio, role="guardian")
    GuardianLink.objects.create(guardian=other, pupil=cast.pupil, studio=cast.studio)


def make(cast: Cast, asked_by: Person | None = None) -> Copy:
    """The guardian's copy of the child's lessons, made by the task itself."""
    person = asked_by or cast.guardian
    copy = services.begin(access.lessons_for(person, cast.enrolment.pk), person)
    return made(copy)


def made(copy: Copy) -> Copy:
    with mock.patch.object(services, "send"):
        make_copy(copy_id=str(copy.pk))
    copy.refresh_from_db()
    return copy


@contextmanager
def at_rest(copy: Copy) -> Iterator[Path]:
    """The ZIP file in the store."""
    with store().local(copy.path) as path:
        yield path


def long_ago(copy: Copy) -> None:
    """As if it had been made a while ago."""
    earlier = timezone.now() - timezone.timedelta(hours=2)
    Copy.objects.filter(pk=copy.pk).update(ready_at=earlier)
