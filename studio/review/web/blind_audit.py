"""The blind audit: begin a round, judge moment by moment, see how right the marks were.

A page's script posts an answer and gets ``{"judged", "of", "moments"}``: what comes next, with
where it sounds and nothing of what the program said. Without a script each press loads the next
moment.
"""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Person, Studio
from studio.clips.models import version_of
from studio.intonation import ENGINE
from studio.review.audit import rounds
from studio.review.marks import audit_figures
from studio.review.models import AuditMoment, AuditRound

from .shared import pictures

AHEAD = 3  # moments that a page holds: the one that sounds, and what is fetched meanwhile
AROUND_S = 1.0  # heard before and after what is judged


@require_http_methods(["GET", "HEAD", "POST"])
def blind_audit(request: HttpRequest) -> HttpResponse:
    """What was found so far, and the way into a round; ``POST`` begins one."""
    studio = people.teaching_studio(request.user)
    if request.method == "POST":
        begun = rounds.begin(request.user, studio)
        if begun is not None:
            return redirect("blind_audit_round", begun.pk)
        messages.warning(
            request,
            _(
                "There is too little to judge yet: it needs at least three marks that nobody has "
                "decided, and two double stops without one."
            ),
        )
        return redirect("blind_audit")
    rows = _so_far(studio)
    context = {
        "area": "teacher",
        "studio": studio,
        "open": _standing(request.user, studio),
        "ended": rounds.ended(request.user, studio),
        **_figures(rows),
    }
    return render(request, "review/audit.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def judge(request: HttpRequest, pk: int) -> HttpResponse:
    """One moment to judge; ``POST`` answers one (``moment``, ``answer``)."""
    asked = _round(request, pk)
    if request.method == "POST":
        said = request.POST.get("answer", "")
        moment = figures.whole(request.POST.get("moment", ""))
        if said in AuditMoment.Answer and moment is not None:
            rounds.answer(asked, moment, AuditMoment.Answer(said))
        return _went_on(request, asked)
    if asked.finished_at is not None:
        return redirect("blind_audit_result", pk)
    state = _state(asked)
    context = {
        "area": "teacher",
        "round": asked,
        "state": state,
        "moment": next(iter(state["moments"]), None),
        "answers": list(enumerate(AuditMoment.Answer.choices, start=1)),
    }
    return render(request, "review/audit_round.html", context)


@require_POST
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    asked = _round(request, pk)
    rounds.take_back(asked)
    return _went_on(request, asked)


@require_POST
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """End a round, of which only what was judged counts."""
    if rounds.end(_round(request, pk)):
        return redirect("blind_audit_result", pk)
    messages.info(request, _("Nothing was judged, so the round is gone."))
    return redirect("blind_audit")


@require_safe
def result(request: HttpRequest, pk: int) -> HttpResponse:
    """One ended round: its figures, and each moment with what the program had said."""
    asked = _round(request, pk)
    if asked.finished_at is None:
        return redirect("blind_audit_round", pk)
    moments = rounds.judged_moments(asked)
    rows = audit_figures.audited((m.kind, m.was_marked, m.answer, 1) for m in moments)
    context = {
        "area": "teacher",
        "round": asked,
        "moments": moments,
        "quiet": ", ".join(row.words for row in _so_far(asked.studio) if row.is_quiet),
        **_figures(rows),
    }
    return render(request, "review/audit_result.html", context)


def _round(request: HttpRequest, pk: int) -> AuditRound:
    return rounds.round_for(request.user, people.teaching_studio(request.user), pk)


def _so_far(studio: Studio) -> list[audit_figures.Audited]:
    """By the generation of engines that listens now."""
    return audit_figures.of_studio(studio.pk, version_of(ENGINE)[0])


def _standing(person: Person, studio: Studio) -> dict | None:
    asked = rounds.open_round(person, studio)
    return {"pk": asked.pk, **_progress(asked)} if asked else None


def _figures(rows: list[audit_figures.Audited]) -> dict:
    return {
        "rows": rows,
        "all": audit_figures.together(rows),
        "few": audit_figures.FEW,
        "least_percent": figures.percent(audit_figures.LEAST_SHARE, 1),
    }


def _progress(asked: AuditRound) -> dict:
    """How many were judged, and of how many: what has left the round is in neither."""
    judged = rounds.judged_in(asked)
    return {"judged": judged, "of": judged + rounds.to_judge(asked).count()}


def _state(asked: AuditRound) -> dict:
    moments = rounds.to_judge(asked).select_related("clip")
    moments = moments.prefetch_related("clip__stages", "clip__renditions").defer("clip__info")
    return {**_progress(asked), "moments": [_hidden(moment) for moment in moments[:AHEAD]]}


def _hidden(moment: AuditMoment) -> dict:
    """Where a moment sounds, in seconds of its clip; nobody's name, no mark and no figure."""
    shown = pictures.of(moment.clip).first
    length = moment.clip.duration_s or moment.end_s + AROUND_S
    return {
        "id": moment.pk,
        "src": shown.address if shown else reverse("clip_media", args=(moment.clip_id,)),
        "video": moment.clip.has_video,
        "from": round(max(moment.start_s - AROUND_S, 0.0), 3),
        "to": round(min(moment.end_s + AROUND_S, length), 3),
        "start": round(moment.start_s, 3),
        "end": round(moment.end_s, 3),
    }


def _went_on(request: HttpRequest, asked: AuditRound) -> HttpResponse:
    if request.accepts("text/html"):
        return redirect("blind_audit_round", asked.pk)
    return JsonResponse(_state(asked))
