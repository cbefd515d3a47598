"""Adding to a comment, taking away, and the file that is played or shown."""

from pathlib import PurePosixPath
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.http import require_GET, require_POST, require_safe

from studio.clips.views import serve
from studio.review import access
from studio.review.desk.exchanges import back, block_parts, on_desk, parts, wants_parts
from studio.review.desk.ledger import block_at
from studio.review.desk.page import Desk
from studio.review.models import Comment, EnclosedFile, Review
from studio.review.services import Conflict

from . import services
from .receiving import NotTaken, received

ANOTHER = (
    "This comment has a {what} by now, so yours was not put in its place. "
    "Remove that one first, or add yours to another comment."
)


@require_safe
def shown(request: HttpRequest, clip_id: UUID, enclosure_id: UUID) -> HttpResponse:
    """What is played or shown of an enclosure, with Range. Who may is asked at every request."""
    enclosure = access.enclosure_for(request.user, clip_id, enclosure_id)
    file = enclosure.file(EnclosedFile.Kind.SHOWN)
    if file is None:
        raise Http404
    name = f"{enclosure.kind}-{enclosure.created_at:%Y-%m-%d}{PurePosixPath(file.path).suffix}"
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
    """Add a recording to a comment; 409 when it has another by now."""
    comment = access.comment_for(request.user, review.clip_id, comment_id)
    file = request.FILES.get("recording")
    if file is None:
        return _changed(request, review, comment, "Choose or record a reply first.", 422)
    try:
        with received(file.chunks()) as recording:
            services.enclose(comment, recording)
    except NotTaken as refusal:
        return _changed(request, review, comment, f"The reply was not added. {refusal}", 422)
    except Conflict as conflict:
        return _changed(request, review, comment, ANOTHER.format(what=conflict.theirs), 409)
    return _changed(request, review, comment, "Reply added.")


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
