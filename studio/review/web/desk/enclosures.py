"""Replies and drawings with a comment: what a form brings, adding, taking away, the file shown.

What comes with a form is examined before its comment is saved, and kept with it.
"""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from uuid import UUID

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST, require_safe

from studio import figures
from studio.clips.models import Clip
from studio.clips.views import serve
from studio.review import access
from studio.review.changes import Conflict
from studio.review.enclosures import services
from studio.review.enclosures.drawings import Drawing, read
from studio.review.enclosures.intake import NotTaken, Recording, received
from studio.review.models import Comment, EnclosedFile, Review
from studio.translating import gettext_lazy

from .exchanges import back, block_parts, on_desk, parts, wants_parts
from .ledger import block_at
from .page import Desk

ANOTHER = gettext_lazy(
    "This comment has a {what} by now, so yours was not put in its place. "
    "Remove that one first, or add yours to another comment."
)
DRAWN_MEANWHILE = gettext_lazy(
    "Somebody changed this drawing in the meantime; it now shows: “{words}” "
    "Yours is kept in this browser. Load the page again to see both."
)


@require_safe
def shown(request: HttpRequest, clip_id: UUID, enclosure_id: UUID) -> HttpResponse:
    """What is played or shown of an enclosure, with Range. Who may is asked at every request."""
    enclosure = access.enclosure_for(request.user, clip_id, enclosure_id)
    file = enclosure.file(EnclosedFile.Kind.SHOWN)
    if file is None:
        raise Http404
    day = enclosure.created_at.date().isoformat()
    name = f"{enclosure.kind}-{day}{PurePosixPath(file.path).suffix}"
    return serve(request, file, file.content_type, name)


@require_GET
@on_desk
def states(request: HttpRequest, review: Review) -> JsonResponse:
    """Where each enclosure of a clip stands, polled while one is being prepared."""
    rows = access.enclosures_of(review).values_list("pk", "state")
    return JsonResponse({str(pk): state for pk, state in rows})


@require_POST
@on_desk
def add(request: HttpRequest, review: Review, comment_id: int) -> HttpResponse:
    """Add a recording or a drawing to a comment; 409 when it has another by now."""
    comment = access.comment_for(request.user, review.clip_id, comment_id)
    with brought(request, review.clip) as enclosed:
        if enclosed.problems:
            return _changed(request, review, comment, " ".join(enclosed.problems), 422)
        if not enclosed.speaks:
            return _changed(
                request, review, comment, _("Record, choose or draw a reply first."), 422
            )
        try:
            with transaction.atomic():
                enclosed.put_into(comment, instead=False)
        except Conflict as conflict:
            return _changed(request, review, comment, ANOTHER.format(what=conflict.theirs), 409)
    return _changed(request, review, comment, _("Reply added."))


@require_POST
@on_desk
def draw_again(request: HttpRequest, review: Review, enclosure_id: UUID) -> HttpResponse:
    """Change a drawing on its picture; 409 when somebody else changed it first."""
    enclosure = get_object_or_404(access.enclosures_of(review), pk=enclosure_id, kind="drawing")
    comment, version = enclosure.comment, figures.whole(request.POST.get("version"))
    try:
        drawing, words = drawn(request)
    except NotTaken as refusal:
        return _changed(request, review, comment, str(refusal), 422)
    if drawing is None or version is None:
        return _changed(request, review, comment, _("Nothing is drawn; remove it instead."), 422)
    try:
        services.draw_again(enclosure, drawing.strokes, words, version)
    except Conflict as conflict:
        said = DRAWN_MEANWHILE.format(words=conflict.theirs)
        return _changed(request, review, comment, said, 409)
    return _changed(request, review, comment, _("Drawing changed."))


@require_POST
@on_desk
def remove(request: HttpRequest, review: Review, enclosure_id: UUID) -> HttpResponse:
    """Take away; what is gone already is no error, so that it may be sent twice."""
    enclosure = access.enclosures_of(review).filter(pk=enclosure_id).first()
    if enclosure is None:
        return parts(request, said="Removed.") if wants_parts(request) else back(review.clip_id)
    comment, what = enclosure.comment, enclosure.get_kind_display().capitalize()
    services.remove(enclosure)
    return _changed(request, review, comment, f"{what} removed.")


def _changed(
    request: HttpRequest, review: Review, comment: Comment, said: str, status: int = 200
) -> HttpResponse:
    """The comment's block as it stands now; to a plain browser the page, with a sentence."""
    if not wants_parts(request):
        messages.add_message(request, messages.SUCCESS if status == 200 else messages.WARNING, said)
        return back(review.clip_id, f"comment-{comment.pk}")
    page = Desk(request.user, review)
    key = block_at(page.blocks, comment.start_s).key
    return parts(request, *block_parts(page, {key}), said=said, status=status)


MOST_WORDS = 300
GONE = gettext_lazy("The recording of this clip is gone, and replies go with it. Say it in words.")
WORDS_WANTED = gettext_lazy("Say in words what the drawing shows, for whoever cannot see it.")


@dataclass(slots=True)
class Brought:
    """A recording and a drawing, or why one cannot be used."""

    recording: Recording | None = None
    drawing: Drawing | None = None
    words: str = ""
    problems: list[str] = field(default_factory=list)

    @property
    def speaks(self) -> bool:
        """Whether words may be left out; what was refused has its own sentence."""
        return bool(self.recording or self.drawing or self.problems)

    def put_into(self, comment: Comment, *, instead: bool) -> None:
        """Inside a transaction. With ``instead`` a form that is sent again replaces what it made.

        Raises
        ------
        Conflict
            When the comment has another of its kind by now.
        """
        if self.recording is not None:
            services.enclose(comment, self.recording, instead=instead)
        if self.drawing is not None:
            services.draw(comment, self.drawing, self.words, instead=instead)


@contextmanager
def brought(request: HttpRequest, clip: Clip) -> Iterator[Brought]:
    """What came with a form; what was not kept by the end of the context is removed.

    Replies go with the recording, so once that is gone none is taken: it would outlive its time.
    """
    found, file = Brought(), request.FILES.get("recording")
    if clip.recording_gone_at and (file is not None or request.POST.get("drawing")):
        found.problems.append(GONE)
        yield found
        return
    with ExitStack() as cleaning:
        if file is not None:
            try:
                found.recording = cleaning.enter_context(
                    received(file.chunks(), file.content_type or "")
                )
            except NotTaken as refusal:
                found.problems.append(
                    _("The reply was not added. %(refusal)s") % {"refusal": refusal}
                )
        try:
            found.drawing, found.words = drawn(request)
        except NotTaken as refusal:
            found.problems.append(str(refusal))
        yield found


def drawn(request: HttpRequest) -> tuple[Drawing | None, str]:
    """The drawing that came with a form, and what it shows in words.

    Raises
    ------
    NotTaken
        When it cannot be read, or nobody said what it shows.
    """
    words = " ".join(request.POST.get("drawing_words", "").split())
    try:
        drawing = read(request.POST.get("drawing", ""))
    except ValueError as error:
        raise NotTaken(str(error)) from None
    if drawing is not None and not words:
        raise NotTaken(WORDS_WANTED)
    if len(words) > MOST_WORDS:
        raise NotTaken(
            _("What the drawing shows has %(words)s letters; at most %(most_words)s.")
            % {"words": len(words), "most_words": MOST_WORDS}
        )
    return drawing, words
