"""The summary that the desk proposes, from what stands on it."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_POST

from studio.review import proposing, showing
from studio.review.marks import Mark
from studio.review.models import Decision, Review
from studio.review.proposing import Facts, Kept
from studio.review.showing import Shown

from .exchanges import on_desk, parts, wants_parts, whole_page
from .forms import SummaryForm
from .page import Desk

PROPOSAL = "review/desk_proposal.html"
NOTHING = "There is nothing to propose yet: keep a mark, or set a drill."


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
    drills = tuple(f"“{a.version.title}”" for a in page.review.drills_set.select_related("version"))
    judged = page.judged
    if judged is None:
        return proposing.propose(Facts(drills=drills))
    kept = [_kept(mark) for mark in judged.marks if mark.choice == Decision.Choice.KEPT]
    facts = proposing.facts_of(judged.judgement, kept, drills=drills, goal=_goal(page))
    return proposing.propose(facts)


def _kept(mark: Mark) -> Kept:
    """In the teacher's own words a mark is not one of many any more.

    Of the program's words only the first sentence: the rest stands with the mark.
    """
    edited = bool(mark.decision and mark.decision.words)
    short = mark.params.get("interval")
    sized = mark.is_sized and not edited
    cents = mark.params.get("deviation_cents") if sized else None
    said = mark.words if edited else f"{mark.sentence.split('. ')[0].rstrip('.')}."
    return Kept(said, mark.rank, proposing.kind_of(short) if sized else "", cents)


def _goal(page: Desk) -> str:
    """The sentence that a drill's goal was reached, if it was."""
    shown = Shown.from_dict(showing.of(page.judged)) if page.judged else None
    answers = page.review.answers
    if shown is None or answers is None or not shown.reaches(answers):
        return ""
    return f"The goal is reached: {shown.reached} of {len(shown.notes)} notes in tune."
