"""A pupil's lesson notes, for the studio's teachers."""

from datetime import date

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Enrolment

from ..rotation import access as rotations
from ..rotation.overview import overview_of
from . import access, services
from .forms import AgreedForm, NoteForm
from .models import LessonNote

NOTES_SHOWN = 20


@require_http_methods(["GET", "HEAD", "POST"])
def notes(request: HttpRequest, pk: int) -> HttpResponse:
    """All notes of a pupil's lessons, and a form for one more.

    ``?lesson=`` says of which of the plan of keys, ``?day=`` when it was.
    """
    enrolment = people.taught_enrolment(request.user, pk)
    data = request.POST if request.method == "POST" else None
    lesson = figures.whole(request.GET.get("lesson", ""), high=2**31)
    form = NoteForm.new(enrolment, data, lesson, _day_asked(request))
    if form.is_valid():
        key = form.cleaned_data["form_key"]
        note = services.write(enrolment, request.user, form_key=key, **form.says())
        _say_saved(request, enrolment, note.is_shared)
        return redirect("lesson_note", pk=pk, note_pk=note.pk)
    page = Paginator(access.notes_of(enrolment), NOTES_SHOWN).get_page(request.GET.get("page"))
    context = {"area": "teacher", "enrolment": enrolment, "form": form, "page": page}
    status = 422 if form.is_bound else 200
    return render(request, "drills/lesson_notes.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def note(request: HttpRequest, pk: int, note_pk: int) -> HttpResponse:
    """One note: changed, shared, and what was agreed in it."""
    found = access.taught_note(request.user, pk, note_pk)
    if request.method != "POST":
        return _page(request, found)
    form = NoteForm.of(found, request.POST)
    if not form.is_valid():
        return _page(request, found, form, status=422)
    said = form.says()
    try:
        services.change(found, seen=form.cleaned_data["version"] or 0, **said)
    except services.Changed:
        return _page(request, access.taught_note(request.user, pk, note_pk), form, status=409)
    _say_saved(request, found.enrolment, said["share"])
    return redirect("lesson_note", pk=pk, note_pk=note_pk)


@require_POST
def agreed(request: HttpRequest, pk: int, note_pk: int) -> HttpResponse:
    """Set what was agreed as drills."""
    found = access.taught_note(request.user, pk, note_pk)
    form = AgreedForm(found, request.POST)
    if not form.is_valid():
        return _page(request, found, setting=form, status=422)
    lines = form.cleaned_data["line"]
    named = services.drills_named(request.user, found.enrolment.studio_id, lines)
    if not form.suits(list(named.values()), found.enrolment):
        return _page(request, found, setting=form, status=422)
    made = services.set_agreed(found, request.user, lines, form.cleaned_data["due_on"], named)
    said = ngettext(
        "%(many)s drill is in %(pupil)s’s queue.", "%(many)s drills are in %(pupil)s’s queue.",
        len(made),
    )  # fmt: skip
    messages.success(request, said % {"many": len(made), "pupil": found.enrolment.pupil})
    return redirect("lesson_note", pk=pk, note_pk=note_pk)


@require_POST
def delete(request: HttpRequest, pk: int, note_pk: int) -> HttpResponse:
    services.delete(access.taught_note(request.user, pk, note_pk))
    messages.success(request, _("The note is deleted. Drills that were set from it stay set."))
    return redirect("lesson_notes", pk=pk)


def _day_asked(request: HttpRequest) -> date | None:
    """A day as an address says it; none where it is no day, or still to come."""
    try:
        day = date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        return None
    return day if day <= timezone.localdate() else None


def _say_saved(request: HttpRequest, enrolment: Enrolment, shared: bool) -> None:
    if shared:
        said = _("Saved. %(pupil)s and the guardians can read it.") % {"pupil": enrolment.pupil}
    else:
        said = _("Saved. The teachers of %(studio)s alone can read it.")
        said %= {"studio": enrolment.studio}
    messages.success(request, said)


def _page(
    request: HttpRequest,
    found: LessonNote,
    form: NoteForm | None = None,
    setting: AgreedForm | None = None,
    status: int = 200,
) -> HttpResponse:
    if setting is None and found.agreements:
        setting = AgreedForm(found, due_on=_next_lesson(found.enrolment))
    context = {
        "area": "teacher",
        "enrolment": found.enrolment,
        "note": found,
        "form": form or NoteForm.of(found),
        "changed": status == 409,
        "setting": setting,
    }
    return render(request, "drills/lesson_note.html", context, status=status)


def _next_lesson(enrolment: Enrolment):
    """The day of the next lesson of the plan of keys, where there is one."""
    plan = rotations.rotation_of(enrolment)
    coming = overview_of(plan).next if plan is not None else None
    return coming.day if coming is not None else None
