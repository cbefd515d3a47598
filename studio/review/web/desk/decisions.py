"""Deciding at the desk beyond one mark: all of a kind, the clip's tolerance, marks by hand."""

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from studio.accounts.templatetags.words import count_of
from studio.review import access, idempotency
from studio.review.changes import Conflict
from studio.review.marks import decisions, hand_marks, tolerances
from studio.review.models import Decision, HandMark, Review

from . import exchanges
from .exchanges import back, block_parts, on_desk, parts, wants_parts, whole_page
from .forms import BulkForm, HandMarkForm, ToleranceForm
from .ledger import block_at
from .page import Desk

ADD_MARK = "review/desk_add_mark.html"
DID = {Decision.Choice.KEPT: "kept", Decision.Choice.DROPPED: "dropped"}


# -- all of a kind ---------------------------------------------------------------------------------


@require_POST
@on_desk
def decide_kind(request: HttpRequest, review: Review) -> HttpResponse:
    """Keep or drop what is undecided of one kind, or all that is left."""
    form, page = BulkForm(request.POST), Desk(request.user, review)
    if not form.is_valid():
        raise Http404
    said = form.cleaned_data
    heard = page.judged_for(said["listening"])
    if heard is None:
        return exchanges.heard_again(request, page)
    kinds = [kind for kind in decisions.kinds_of(heard.marks) if said["kind"] in ("", kind.key)]
    if said["kind"] and not kinds:
        raise Http404
    marks = {mark.about for kind in kinds for mark in kind.marks}
    changed = {b.key for b in page.blocks if any(mark.about in marks for mark in b.marks)}
    many = decisions.decide_all(review, heard, said["kind"], said["choice"], request.user)
    of_kind = f": {kinds[0].words}" if said["kind"] else ""
    words = f"{many} {DID[said['choice']]}{of_kind}." if many else _("All were decided already.")
    undo = request.headers.get("X-Act", "") if many else ""
    if wants_parts(request) and not page.shows(heard):  # pressed on a page before this one
        return exchanges.standing(request, Desk(request.user, review), said=words)
    return _decided(request, review, changed, words, undo_of=undo)


@require_POST
@on_desk
def undo(request: HttpRequest, review: Review) -> HttpResponse:
    """Take back what the press that ``of`` names has decided."""
    key = request.POST.get("of", "")[: idempotency.LONGEST_KEY]
    before = Desk(request.user, review)
    put_back = decisions.undo_decision(review, request.user, key)
    if put_back is None:
        return _decided(request, review, set(), _("This was taken back already."))
    page, touched = Desk(request.user, review), {getattr(each, "pk", each) for each in put_back}
    changed = _blocks_with(before, touched) | _blocks_with(page, touched)
    many = len(put_back)
    said = _("%(many)s taken back.") % {"many": many} if many > 1 else _("Taken back.")
    if not many:
        said = _("It was decided otherwise in the meantime, so nothing was taken back.")
    return _decided(request, review, changed, said)


def _blocks_with(page: Desk, numbers: set[int]) -> set[str]:
    """The blocks where one of some decisions stands, by their numbers."""
    return {
        block.key
        for block in page.blocks
        if any(mark.decision and mark.decision.pk in numbers for mark in block.marks)
        or any(decision.pk in numbers for decision in block.kept)
    }


def _decided(
    request: HttpRequest, review: Review, keys: set[str], said: str, undo_of: str = ""
) -> HttpResponse:
    if not wants_parts(request):
        return back(review.clip_id, "kinds")
    changed = block_parts(Desk(request.user, review), keys, undo_of=undo_of)
    return parts(request, *changed, said=said)


# -- the clip's tolerance --------------------------------------------------------------------------


@require_POST
@on_desk
def choose_tolerance(request: HttpRequest, review: Review) -> HttpResponse:
    """Judge this clip by another tolerance, or as usual; 409 when another was chosen meanwhile."""
    form = ToleranceForm(request.POST, name="tolerance")
    usual = "usual" in request.POST
    if not form.is_valid():
        return _tolerance_again(request, review, form, status=422)
    try:
        chosen = None if usual else form.chosen()
        tolerances.choose(review, chosen, form.seen(), by=request.user)
    except Conflict as conflict:
        review.refresh_from_db(fields=["tolerance_cents"])
        return _tolerance_again(request, review, form, theirs=conflict.theirs, status=409)
    if not wants_parts(request):
        return back(review.clip_id, "tolerance")
    page = Desk(request.user, review)
    marks = count_of(page.counts()["marks"], "mark,marks")
    return parts(request, *ledger_parts(page), said=_("Judged anew: %(marks)s.") % {"marks": marks})


@require_GET
@on_desk
def try_tolerance(request: HttpRequest, review: Review) -> JsonResponse:
    """How many marks there would be: ``{"marks": 7, "now": 12}``. Nothing is kept."""
    form = ToleranceForm(request.GET)
    page = Desk(request.user, review)
    if not form.is_valid():
        return JsonResponse({"errors": form.errors}, status=422)
    if page.judged is None:
        return JsonResponse({"marks": 0, "now": 0})
    tried = tolerances.tried(review, form.chosen())
    marks = len(tried.judgement["marks"]) if tried else 0
    return JsonResponse({"marks": marks, "now": len(page.judged.judgement["marks"])})


def ledger_parts(page: Desk) -> list[exchanges.Part]:
    """All that a new judgement changes."""
    shared = page.part(**page.written(), facts=page.facts())
    names = (exchanges.LEDGER, exchanges.FACTS, exchanges.COUNTS, exchanges.KINDS)
    return [(name, shared) for name in (*names, exchanges.TOLERANCE)]


def _tolerance_again(
    request: HttpRequest, review: Review, form: ToleranceForm, *, theirs: str = "", status: int
) -> HttpResponse:
    page = Desk(request.user, review)
    if not wants_parts(request):
        return whole_page(
            request,
            page,
            status=status,
            tolerance=form,
            their_tolerance=theirs,
            tolerance_open=True,
        )
    extra = {"tolerance": form, "their_tolerance": theirs, "tolerance_open": True}
    said = (
        _("Somebody chose another tolerance in the meantime. Both are shown.")
        if theirs
        else _("The tolerance was not changed.")
    )
    return parts(request, (exchanges.TOLERANCE, page.part(**extra)), said=said, status=status)


# -- by hand ---------------------------------------------------------------------------------------


@require_POST
@on_desk
def add_mark(request: HttpRequest, review: Review) -> HttpResponse:
    form = HandMarkForm(request.POST, name="hand-new", duration_s=review.clip.duration_s)
    if not form.is_valid():
        page = Desk(request.user, review)
        if not wants_parts(request):
            return whole_page(request, page, status=422, add_mark=form, adding=True)
        part = (ADD_MARK, page.part(add_mark=form, adding=True))
        return parts(request, part, said=_("The mark was not added yet."), status=422)
    mark = hand_marks.add(review, request.user, form.said(), form.cleaned_data["form_key"])
    if not wants_parts(request):
        return back(review.clip_id, f"hand-{mark.pk}")
    page = Desk(request.user, review)
    changed = block_parts(page, {block_at(page.blocks, mark.start_s).key})
    fresh = (ADD_MARK, page.part(add_mark=page.add_mark()))
    return parts(request, *changed, fresh, said=_("Mark added."))


@require_POST
@on_desk
def edit_mark(request: HttpRequest, review: Review, mark_id: int) -> HttpResponse:
    """Change a mark by hand; 409 with both texts when somebody else changed it first."""
    mark = access.hand_mark_for(request.user, review.clip_id, mark_id)
    form = HandMarkForm(request.POST, name=f"hand-{mark_id}", duration_s=review.clip.duration_s)
    if not form.is_valid():
        return _edit_again(request, review, mark, form, status=422)
    before = block_at(Desk(request.user, review).blocks, mark.start_s).key
    try:
        version = form.cleaned_data["version"] or 0
        mark = hand_marks.edit(mark, form.said(), version, request.POST.get("was"))
    except Conflict as conflict:
        return _edit_again(request, review, mark, form, theirs=conflict.theirs, status=409)
    if not wants_parts(request):
        return back(review.clip_id, f"hand-{mark.pk}")
    page = Desk(request.user, review)
    keys = {before, block_at(page.blocks, mark.start_s).key}
    return parts(request, *block_parts(page, keys), said=_("Mark changed."))


@require_POST
@on_desk
def delete_mark(request: HttpRequest, review: Review, mark_id: int) -> HttpResponse:
    mark = access.hand_mark_for(request.user, review.clip_id, mark_id)
    key = block_at(Desk(request.user, review).blocks, mark.start_s).key
    hand_marks.delete(mark)
    if not wants_parts(request):
        return back(review.clip_id, key)
    return parts(request, *block_parts(Desk(request.user, review), {key}), said=_("Mark deleted."))


def _edit_again(
    request: HttpRequest, review: Review, mark: HandMark, form, *, theirs="", status: int
) -> HttpResponse:
    page = Desk(request.user, review)
    extra = {
        "editing_hand": mark.pk,
        "hand_form": form,
        "their_mark": theirs,
        "hand_version": mark.version,
    }
    if not wants_parts(request):
        return whole_page(request, page, status=status, **extra)
    key = block_at(page.blocks, mark.start_s).key
    said = (
        _("Somebody changed this mark in the meantime. Both texts are shown.")
        if theirs
        else _("The mark was not changed yet.")
    )
    return parts(request, *block_parts(page, {key}, **extra), said=said, status=status)
