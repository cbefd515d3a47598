"""The desk's page, its documents, decisions and comments. Every view reaches them by ``access``."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.translation import gettext as _
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET, require_POST

from studio.clips import access as clips
from studio.clips import viewings
from studio.clips.models import Clip
from studio.review import access, changes, comments
from studio.review.marks import decisions
from studio.review.marks.judging import Judged, judged
from studio.review.marks.mark import Mark
from studio.review.models import Comment, Review
from studio.review.waiting import submissions
from studio.translating import gettext_lazy

from . import document, exchanges, phrases
from .enclosures import brought
from .exchanges import back, block_parts, on_desk, parts, wants_parts, whole_page
from .forms import CommentForm, DecisionForm, own_span
from .ledger import block_at
from .page import Desk, absence, steps

OTHER_WORDS = gettext_lazy(
    "Somebody wrote words for this mark in the meantime. Nothing was changed."
)
NOT_MARKED = gettext_lazy("This moment is not marked any more, so nothing was decided.")
DECIDED = {
    "kept": gettext_lazy("Kept."),
    "dropped": gettext_lazy("Dropped."),
    "": gettext_lazy("Taken back: neither kept nor dropped."),
}


@gzip_page
def desk(request: HttpRequest, clip: Clip) -> HttpResponse:
    """The page of one clip, which was reached by a teacher of its studio."""
    review = access.review_of(clips.for_teachers(clip))
    submissions.open_review(review)
    viewings.note(clip, request.user)
    page, begun = Desk(request.user, review), phrases.begun(request, review)
    more: dict = {"composer": page.composer(begun=begun)} if begun else {}
    if (at_s := _moment(request)) is not None:
        more |= page.pinned(at_s)
    return whole_page(request, page, **more)


def _moment(request: HttpRequest) -> float | None:
    """The moment that the page is asked for at, in seconds: so a row leads here without script."""
    try:
        return float(request.GET.get("at", ""))
    except ValueError:
        return None


@require_GET
@gzip_page
@on_desk
def picture(request: HttpRequest, review: Review) -> JsonResponse:
    """The document that the sound picture draws; see :mod:`studio.review.web.desk.document`."""
    return _compact(document.picture(review.clip, judged(review)))


@require_GET
@gzip_page
@on_desk
def picture_part(request: HttpRequest, review: Review, part: int) -> JsonResponse:
    """What the sound picture draws nearer, for one part of the clip."""
    if part >= document.parts_of(review.clip.duration_s or 0.0):
        raise Http404
    return _compact(document.part(review.clip, judged(review), part))


@require_GET
@on_desk
def progress(request: HttpRequest, review: Review) -> JsonResponse:
    """Where listening and playback stand, polled while either is at work."""
    places = steps(review.clip)
    said = {
        kind: {"words": s.words, "percent": s.percent, "done": s.done, "moving": s.moving}
        for kind, s in places.items()
    }
    return JsonResponse({**said, "absence": absence(places)})


@require_GET
@gzip_page
@on_desk
def standing(request: HttpRequest, review: Review) -> HttpResponse:
    """All that an exchange can change, as it stands now: for a page that may have missed some."""
    return exchanges.standing(request, Desk(request.user, review))


@require_POST
@on_desk
def decide(request: HttpRequest, review: Review, mark_id: int) -> HttpResponse:
    """Keep or drop a mark, with or without the teacher's own words; empty takes it back.

    A page with a script says which moment it is ``about``: by now the number may be another's.
    409 with both texts when somebody else wrote words for it first.
    """
    form = DecisionForm(request.POST)
    if not form.is_valid() and not form.can_be_said:
        raise Http404
    page = Desk(request.user, review)
    heard = page.judged_for(form.cleaned_data["listening"])
    if heard is None:
        return exchanges.heard_again(request, page)
    about = form.cleaned_data["about"]
    mark = heard.mark_about(about) if about else heard.mark(mark_id)
    if mark is None and about:
        return exchanges.parts(request, said=NOT_MARKED, status=409)
    if mark is None:
        raise Http404
    if wants_parts(request) and not page.shows(heard):
        return _decided_before(request, review, heard, form, mark)
    if form.errors:
        return _decision_refused(request, review, mark.id, form.sentences())
    return _decided(request, review, page, form, mark)


def _decided_before(
    request: HttpRequest, review: Review, heard: Judged, form: DecisionForm, mark: Mark
) -> HttpResponse:
    """Carry out a press on a page before this one, which showed an earlier listening.

    It is about the mark that was seen. The answer is all that stands, for that mark may have no
    row of its own here.
    """
    if form.errors:
        return parts(request, said=form.sentences(), status=422)
    try:
        _carry_out(request, review, heard, form, mark)
    except ValidationError as error:
        return parts(request, said=" ".join(error.messages), status=422)
    except changes.Conflict:
        return parts(request, said=OTHER_WORDS, status=409)
    said = DECIDED[form.cleaned_data["choice"]]
    return exchanges.standing(request, Desk(request.user, review), said=said)


def _carry_out(
    request: HttpRequest, review: Review, heard: Judged, form: DecisionForm, mark: Mark
) -> None:
    """Raises :class:`ValidationError` for a span that cannot be, else as ``decisions.decide``."""
    span = own_span(form.cleaned_data, mark, review.clip.duration_s)
    decisions.decide(
        review,
        heard.listening,
        mark,
        form.cleaned_data["choice"],
        request.user,
        _own_words(request, form, mark),
        span=span,
        seen=form.cleaned_data["seen"],
        was=request.POST.get("was"),
    )


def _own_words(request: HttpRequest, form: DecisionForm, mark: Mark) -> str | None:
    """The teacher's own; None where they are left alone: a key keeps or drops."""
    if "words" not in request.POST:
        return None
    words = form.cleaned_data["words"]
    return words if words != mark.sentence else ""


def _decided(
    request: HttpRequest, review: Review, page: Desk, form: DecisionForm, mark: Mark
) -> HttpResponse:
    """Carry out what the form of a mark says."""
    mark_id, choice = mark.id, form.cleaned_data["choice"]
    try:
        _carry_out(request, review, page.judged, form, mark)
    except ValidationError as error:
        return _decision_refused(request, review, mark_id, " ".join(error.messages))
    except changes.Conflict as conflict:
        written = _own_words(request, form, mark) or ""
        return _decide_again(request, review, mark_id, written, conflict.theirs)
    return _changed(request, review, {_block_of_mark(page, mark_id)}, said=DECIDED[choice])


@require_POST
@on_desk
def settle_old(request: HttpRequest, review: Review, decision_id: int) -> HttpResponse:
    """Forget a decision whose moment the present listening does not mark."""
    page = Desk(request.user, review)
    held = [block.key for block in page.blocks if decision_id in {d.pk for d in block.kept}]
    decisions.forget_decision(review, decision_id)
    return _changed(request, review, set(held), said=_("Taken back."))


@require_POST
@on_desk
def comment_add(request: HttpRequest, review: Review) -> HttpResponse:
    """Add a comment, and what is enclosed with it; neither without the other."""
    with brought(request, review.clip) as enclosed:
        form = CommentForm(
            request.POST,
            name="new",
            duration_s=review.clip.duration_s,
            speaks=enclosed.speaks,
            notes=comments.note_names(review),
        )
        for problem in enclosed.problems:
            form.add_error(None, problem)
        if not form.is_valid():
            return _composer_again(request, Desk(request.user, review), form)
        with transaction.atomic():
            key = form.cleaned_data["form_key"]
            comment = comments.add_comment(review, request.user, form.said(), form_key=key)
            enclosed.put_into(comment, instead=True)
    page = Desk(request.user, review)
    if not wants_parts(request):
        return back(review.clip_id, f"comment-{comment.pk}")
    changed = block_parts(page, {block_at(page.blocks, comment.start_s).key})
    composer = (exchanges.COMPOSER, page.part(composer=page.composer()))
    return parts(request, *changed, composer, said=_("Comment added."))


@require_POST
@on_desk
def comment_edit(request: HttpRequest, review: Review, comment_id: int) -> HttpResponse:
    """Change a comment; 409 with both texts when somebody else changed it first."""
    comment = access.comment_for(request.user, review.clip_id, comment_id)
    form = CommentForm(
        request.POST,
        name=f"comment-{comment_id}",
        duration_s=review.clip.duration_s,
        speaks=comment.enclosures.exists(),
        notes=comments.note_names(review),
    )
    if not form.is_valid():
        return _edit_again(request, review, comment, form, status=422)
    before = block_at(Desk(request.user, review).blocks, comment.start_s).key
    try:
        version = form.cleaned_data["version"] or 0
        was = request.POST.get("was")
        comment = comments.edit_comment(comment, form.said(), version, was)
    except changes.Conflict as conflict:
        return _edit_again(request, review, comment, form, theirs=conflict.theirs, status=409)
    after = block_at(Desk(request.user, review).blocks, comment.start_s).key
    return _changed(
        request, review, {before, after}, anchor=f"comment-{comment.pk}", said=_("Comment changed.")
    )


@require_POST
@on_desk
def comment_delete(request: HttpRequest, review: Review, comment_id: int) -> HttpResponse:
    comment = access.comment_for(request.user, review.clip_id, comment_id)
    key = block_at(Desk(request.user, review).blocks, comment.start_s).key
    comments.delete_comment(comment)
    return _changed(request, review, {key}, said=_("Comment deleted."))


def _compact(answer: dict) -> JsonResponse:
    return JsonResponse(answer, json_dumps_params={"separators": (",", ":")})


def _changed(
    request: HttpRequest, review: Review, keys: set[str], *, anchor: str = "", said: str
) -> HttpResponse:
    if not wants_parts(request):
        return back(review.clip_id, anchor or next(iter(keys), ""))
    return parts(request, *block_parts(Desk(request.user, review), keys), said=said)


def _block_of_mark(page: Desk, mark_id: int) -> str:
    for block in page.blocks:
        if any(mark.id == mark_id for mark in block.marks):
            return block.key
    raise Http404


def _composer_again(request: HttpRequest, page: Desk, form: CommentForm) -> HttpResponse:
    if wants_parts(request):
        said = _("The comment was not saved yet: ") + " ".join(
            error for errors in form.errors.values() for error in errors
        )
        part = (exchanges.COMPOSER, page.part(composer=form))
        return parts(request, part, said=said, status=422)
    return whole_page(request, page, status=422, composer=form)


def _edit_again(
    request: HttpRequest, review: Review, comment: Comment, form, *, theirs="", status: int
) -> HttpResponse:
    """The comment's own form again, with what was typed, and what stands now if it differs."""
    page = Desk(request.user, review)
    key = block_at(page.blocks, comment.start_s).key
    extra = {"editing": comment.pk, "edit_form": form, "theirs": theirs, "version": comment.version}
    if not wants_parts(request):
        return whole_page(request, page, status=status, **extra)
    said = (
        _("Somebody changed this comment in the meantime. Both texts are shown.")
        if theirs
        else _("The comment was not saved yet.")
    )
    return parts(request, *block_parts(page, {key}, **extra), said=said, status=status)


def _decide_again(
    request: HttpRequest, review: Review, mark_id: int, written: str, theirs: str
) -> HttpResponse:
    """The mark's own form again, with what was written for it in the meantime."""
    page = Desk(request.user, review)
    extra = {"deciding": mark_id, "written": written, "theirs": theirs, "typed": request.POST}
    if not wants_parts(request):
        return whole_page(request, page, status=409, **extra)
    changed = block_parts(page, {_block_of_mark(page, mark_id)}, **extra)
    said = _("Somebody wrote words for this mark in the meantime. Both texts are shown.")
    return parts(request, *changed, said=said, status=409)


def _decision_refused(
    request: HttpRequest, review: Review, mark_id: int, refused: str
) -> HttpResponse:
    """The mark's own form again, as it was filled in, with why it cannot be."""
    page = Desk(request.user, review)
    typed = request.POST
    written = typed.get("words", "")
    extra = {"deciding": mark_id, "written": written, "refused": refused, "typed": typed}
    if not wants_parts(request):
        return whole_page(request, page, status=422, **extra)
    changed = block_parts(page, {_block_of_mark(page, mark_id)}, **extra)
    return parts(request, *changed, said=refused, status=422)
