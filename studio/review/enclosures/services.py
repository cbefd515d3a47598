"""What changes enclosures. Nothing changes once the clip was returned."""

from contextlib import suppress
from uuid import uuid4

from django.db import DatabaseError, InterfaceError, transaction

from studio.clips.models import Clip
from studio.clips.storage import spool
from studio.review.changes import Conflict, lock_unreturned
from studio.review.models import Comment, EnclosedFile, Enclosure

from . import dispatch
from .drawings import Drawing
from .intake import Recording

Kind = Enclosure.Kind


@transaction.atomic
def enclose(comment: Comment, recording: Recording, *, instead: bool = False) -> Enclosure:
    """Keep a recording with a comment; the same one a second time is the one that stands.

    ``instead`` puts it in the place of another: for a form whose first answer was lost.

    Raises
    ------
    Conflict
        When the comment has another recording by now.
    """
    lock_unreturned(comment.review)
    standing = comment.enclosures.filter(kind__in=Enclosure.RECORDINGS).first()
    if standing is not None:
        original = standing.file(EnclosedFile.Kind.ORIGINAL)
        if original is not None and original.sha256 == recording.spooled.sha256:
            return standing
        if not instead:
            raise Conflict(standing.get_kind_display())
        standing.delete()
    enclosure = Enclosure(comment=comment, kind=Kind.VIDEO if recording.has_video else Kind.VOICE)
    if recording.info is not None:
        enclosure.info, enclosure.duration_s = recording.info.to_dict(), recording.info.duration_s
    elif recording.why is not None:  # the first look, which counts
        enclosure.attempt, enclosure.failure_code = 1, recording.why.code
        enclosure.failure_params = dict(recording.why.params)
        enclosure.failure_detail = recording.why.detail[-4000:]
    return _record(enclosure, recording)


@transaction.atomic
def draw(comment: Comment, drawing: Drawing, words: str, *, instead: bool = False) -> Enclosure:
    """Keep a drawing with a comment; the same one a second time is the one that stands.

    Raises
    ------
    Conflict
        When the comment has another drawing by now.
    """
    lock_unreturned(comment.review)
    standing = comment.enclosures.filter(kind=Kind.DRAWING).first()
    if standing is not None:
        drawn = (standing.strokes, standing.words, standing.frame_s)
        if drawn == (drawing.strokes, words, drawing.frame_s):
            return standing
        if not instead:
            raise Conflict(standing.get_kind_display())
        standing.delete()
    enclosure = Enclosure(comment=comment, kind=Kind.DRAWING, words=words)
    enclosure.strokes, enclosure.frame_s = drawing.strokes, drawing.frame_s
    enclosure.info = {"aspect": _aspect(comment.review.clip)}
    enclosure.save(force_insert=True)
    transaction.on_commit(lambda: dispatch.dispatch(enclosure.pk))
    return enclosure


@transaction.atomic
def draw_again(enclosure: Enclosure, strokes: list[dict], words: str, version: int) -> None:
    """Change a drawing on its picture, if it still is the ``version`` that was read.

    Raises
    ------
    Conflict
        When it was changed in the meantime.
    """
    lock_unreturned(enclosure.comment.review)
    standing = Enclosure.objects.get(pk=enclosure.pk)
    if (standing.strokes, standing.words) == (strokes, words):
        return
    changed = Enclosure.objects.filter(pk=enclosure.pk, version=version).update(
        strokes=strokes, words=words, version=version + 1
    )
    if not changed:
        raise Conflict(standing.words)


@transaction.atomic
def remove(enclosure: Enclosure) -> None:
    """Take back what was enclosed; its files go when that is safe in the database."""
    lock_unreturned(enclosure.comment.review)
    enclosure.delete()


def folder(enclosure: Enclosure) -> str:
    return f"{spool.clip_folder(enclosure.clip_id)}/enclosures/{enclosure.pk.hex}"


def _aspect(clip: Clip) -> float:
    """Height over width of the clip's picture, upright."""
    width, height = clip.info.get("width"), clip.info.get("height")
    return round(height / width, 4) if width and height else 9 / 16


def remove_file(stored: EnclosedFile) -> None:
    """A row that named a file is going, whatever took it along: its file goes after it."""
    transaction.on_commit(lambda: spool.remove(stored.path))


def _record(enclosure: Enclosure, recording: Recording) -> Enclosure:
    """The file is whole and at rest before any row names it."""
    stored = spool.keep(recording.spooled, f"{folder(enclosure)}/original-{uuid4().hex[:8]}")
    try:
        with transaction.atomic():
            enclosure.save(force_insert=True)
            EnclosedFile.objects.create(
                enclosure=enclosure,
                clip=enclosure.clip,
                kind=EnclosedFile.Kind.ORIGINAL,
                path=stored.path,
                sha256=stored.sha256,
                size_bytes=stored.size_bytes,
            )
    except BaseException:
        # The answer alone may have been lost: what a row names stays, and so does what cannot be
        # asked about; the sweep for left-overs takes that.
        with suppress(DatabaseError, InterfaceError):
            if not EnclosedFile.objects.filter(path=stored.path).exists():
                spool.remove(stored.path)
        raise
    transaction.on_commit(lambda: dispatch.dispatch(enclosure.pk))
    return enclosure
