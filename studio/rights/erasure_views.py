"""The pages on which somebody has a clip, lessons or an account erased, and reads how far it is."""

from uuid import UUID

from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from studio.accounts.reauthentication import asks_again

from . import access
from .erasure import requests, times, words
from .erasure.models import ErasureJob

READ_OR_DO = require_http_methods(["GET", "HEAD", "POST"])


@READ_OR_DO
@asks_again
def clip(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    """Says what goes with one clip (GET); erases it (POST)."""
    found = access.clip_for(request.user, clip_id)
    if request.method == "POST":
        return _begun(request, requests.erase_clip(found, request.user))
    place = found.enrolment
    context = {"clip": found, "place": place, "said": words.of_clip()}
    return render(request, "rights/erase.html", context)


@READ_OR_DO
@asks_again
def lessons(request: HttpRequest, pk: int) -> HttpResponse:
    """Says what goes with a pupil's lessons in a studio (GET); erases all of it (POST)."""
    scope = access.lessons_for(request.user, pk)
    if request.method == "POST":
        alone = requests.account_goes_with(scope.person, scope.studio)
        job = requests.erase_lessons(scope.person, scope.studio, request.user)
        gone = alone and scope.person == request.user
        return _own_account_gone(request, job) if gone else _begun(request, job)
    context = {"place": scope.place, "said": words.of_lessons(scope.place, request.user)}
    return render(request, "rights/erase.html", context)


@READ_OR_DO
@asks_again
def account(request: HttpRequest) -> HttpResponse:
    """Says what goes with one's own account (GET); erases it (POST)."""
    context = {"said": words.of_account(request.user), "deciders": ()}
    if not requests.may_erase_account(request.user):
        context["deciders"] = requests.others_decide(request.user)
        context["why_not"] = _(
            "While you are a child, somebody who looks after you decides about this."
        )
    if request.method != "POST" or "why_not" in context:
        context.setdefault("why_not", requests.why_not(request.user))
        status = 409 if request.method == "POST" else 200
        return render(request, "rights/erase.html", context, status=status)
    try:
        job = requests.erase_account(request.user, request.user)
    except requests.CannotErase as why:
        return render(request, "rights/erase.html", context | {"why_not": str(why)}, status=409)
    return _own_account_gone(request, job)


@require_safe
def kept_clips(request: HttpRequest, pk: int) -> HttpResponse:
    """The clips of a pupil's lessons, ended ones too, each to be erased by itself."""
    scope = access.lessons_for(request.user, pk)
    context = {"place": scope.place, "clips": access.clips_of(scope)}
    return render(request, "rights/kept_clips.html", context)


@login_not_required
@require_safe
def erasure(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """How far an erasure is. Without a log-in: the account may be what was erased. No name."""
    job = ErasureJob.objects.filter(pk=job_id).first()
    if job is None:
        raise Http404
    context = {"job": job, "backups": times.in_backups(job.kind), "hours": times.ON_DISK_HOURS}
    part = "rights/erasure_part.html" if request.htmx else "rights/erasure.html"
    return render(request, part, context)


def _begun(request: HttpRequest, job: ErasureJob) -> HttpResponse:
    messages.success(request, _("It is gone for everybody, and is being taken off the disk."))
    return redirect("erasure", job_id=job.pk)


def _own_account_gone(request: HttpRequest, job: ErasureJob) -> HttpResponse:
    logout(request)
    return redirect("erasure", job_id=job.pk)
