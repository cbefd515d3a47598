"""Returning a clip from its desk: the summary, a proposal for it, the preview, the return."""

import hashlib
import json

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from studio.review import access, changes
from studio.review.enclosures.snapshots import with_states
from studio.review.marks import drill_results
from studio.review.marks.drill_results import Shown
from studio.review.marks.judging import judged
from studio.review.marks.mark import Mark, kind_of
from studio.review.models import Decision, Review
from studio.review.returning import services, snapshots, summaries
from studio.review.returning.summaries import Facts, Kept
from studio.review.web.shared import clip_states
from studio.review.web.shared.by_ear import EARLIER, with_sound
from studio.review.web.shared.moments import moments
from studio.review.web.shared.order import order_of
from studio.review.web.shared.pictures import can_be_watched
from studio.review.web.shared.simply import simply
from studio.translating import gettext_lazy

from .exchanges import back, on_desk, parts, wants_parts, whole_page
from .forms import ReturnForm, SummaryForm
from .page import Desk, next_waiting

PROPOSAL = "review/desk_proposal.html"
NOTHING = gettext_lazy("There is nothing to propose yet: keep a mark, or set a drill.")


@require_POST
@on_desk
def propose(request: HttpRequest, review: Review) -> HttpResponse:
    """Propose a summary. It stands beside what was written, or in an empty field; nothing is kept.

    What was written comes with the request, so that a page without scripts loses none of it.
    """
    page = Desk(request.user, review)
    proposed = "\n".join(sentences(page))
    if wants_parts(request):
        part = (PROPOSAL, {"proposed": proposed})
        return parts(request, part, said="" if proposed else NOTHING)
    form = SummaryForm(request.POST)
    written = form.cleaned_data["summary"] if form.is_valid() else ""
    return whole_page(
        request, page, summary_form=page.summary(written or proposed), proposed=proposed or NOTHING
    )


def sentences(page: Desk) -> list[str]:
    """The proposal for what stands at the desk now."""
    return summaries.propose(facts_at(page))


def facts_at(page: Desk) -> Facts:
    """What stands at the desk now, of which a summary can speak."""
    drills = tuple(f"“{a.version.title}”" for a in page.review.drills_set.select_related("version"))
    judged = page.judged
    if judged is None:
        return Facts(drills=drills)
    kept = [_kept(mark) for mark in judged.marks if mark.choice == Decision.Choice.KEPT]
    return summaries.facts_of(judged.judgement, kept, drills=drills, goal=_goal(page))


def _kept(mark: Mark) -> Kept:
    """In the teacher's own words a mark is not one of many any more.

    Of the program's words only the first sentence: the rest stands with the mark.
    """
    edited = bool(mark.decision and mark.decision.words)
    short = mark.params.get("interval")
    sized = mark.is_sized and not edited
    cents = mark.params.get("deviation_cents") if sized else None
    said = mark.words if edited else f"{mark.sentence.split('. ')[0].rstrip('.')}."
    return Kept(said, mark.rank, kind_of(short) if sized else "", cents)


def _goal(page: Desk) -> str:
    """The sentence that a drill's goal was reached, if it was."""
    shown = Shown.from_dict(drill_results.of(page.judged)) if page.judged else None
    answers = page.review.answers
    if shown is None or answers is None or not shown.reaches(answers):
        return ""
    return _("The goal is reached: %(reached)s of %(notes)s notes in tune.") % {
        "reached": shown.reached,
        "notes": len(shown.notes),
    }


@require_POST
@on_desk
def save_summary(request: HttpRequest, review: Review) -> HttpResponse:
    """Keep the summary; a plain form goes on to the preview. 409 when another stands by now."""
    form = SummaryForm(request.POST)
    if not form.is_valid():
        page = Desk(request.user, review)
        return whole_page(request, page, status=422, summary_form=form)
    written = form.cleaned_data["summary"]
    seen = form.cleaned_data["seen"] if "seen" in request.POST else None
    try:
        services.save_summary(review, written, seen)
    except changes.Conflict as conflict:
        return _summary_again(request, review, written, conflict.theirs)
    if wants_parts(request):
        return parts(request, said=_("Summary saved."))
    return redirect("desk_preview", clip_id=review.clip_id)


@require_http_methods(["GET"])
@on_desk
def preview(request: HttpRequest, review: Review) -> HttpResponse:
    """What the pupil will see, exactly as it would be frozen now."""
    if review.state == Review.State.RETURNED:
        return back(review.clip_id)
    return _preview(request, review)


@require_POST
@on_desk
def return_clip(request: HttpRequest, review: Review) -> HttpResponse:
    """Return what was previewed, and go on to the next clip of the waiting list."""
    form = ReturnForm(request.POST)
    if not form.is_valid() or form.cleaned_data["seen"] != _print_of(_snapshot(review)):
        return _preview(request, review, changed=True, status=409)
    site = f"{request.scheme}://{request.get_host()}"
    returned = services.return_clip(review, request.user, review.summary, site=site)
    if returned.is_visible:  # else the next page says it, with the way to take it back
        messages.success(
            request, _("Returned to %(pupil)s.") % {"pupil": review.clip.enrolment.pupil}
        )
    after = next_waiting(request.user, review.clip, order_of(request))
    return back(after.clip_id) if after else redirect("waiting_list")


def _summary_again(request: HttpRequest, review: Review, written: str, theirs: str) -> HttpResponse:
    if wants_parts(request):
        said = _(
            "The summary was not saved: somebody changed it in the meantime. Load the page again."
        )
        return parts(request, said=said, status=409)
    review.refresh_from_db(fields=["summary"])
    page = Desk(request.user, review)
    form = page.summary(written)
    return whole_page(request, page, status=409, summary_form=form, their_summary=theirs)


def _snapshot(review: Review) -> dict:
    review.refresh_from_db(fields=["summary"])
    return snapshots.take(review, judged(review))


def _print_of(snapshot: dict) -> str:
    text = json.dumps(snapshot, sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _preview(
    request: HttpRequest, review: Review, *, changed: bool = False, status: int = 200
) -> HttpResponse:
    snapshot = _snapshot(review)
    states = with_states(moments(snapshot, review.clip.duration_s), review.clip_id)
    earlier = access.earlier_returned(review, EARLIER)
    placed = with_sound(states, snapshot, review, earlier)
    is_simple = review.clip.enrolment.reads_simply
    context = {
        "area": "teacher",
        "review": review,
        "clip": review.clip,
        "pupil": review.clip.enrolment.pupil,
        "enrolment": review.clip.enrolment,
        "place": clip_states.of(review.clip),
        "playable": can_be_watched(review.clip),
        "snapshot": snapshot,
        "moments": placed,
        "simply": simply(snapshot, placed) if is_simple else None,
        "seen": _print_of(snapshot),
        "changed": changed,
        "counts": Desk(request.user, review).counts(),
    }
    return render(request, "review/desk_preview.html", context, status=status)
