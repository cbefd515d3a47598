"""A calendar's file: chosen, looked at, given to pupils, taken in.

Between the two pages what was read lies in the page itself, signed, so nothing of a calendar is
kept that is not taken in.
"""

from datetime import date, timedelta

from django.contrib import messages
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Enrolment, Person, Studio

from .. import access, weeks
from ..clock import monday_of
from . import sentences, taking_in, work
from .events import NotACalendar
from .forms import CalendarForm
from .proposals import proposed

SALT = "studio.timetable.foreign"
LONGEST_S = 24 * 3600  # between looking at it and taking it in
AHEAD = timedelta(days=366)
MOST_ROWS = 100  # that are given to pupils at once


@require_http_methods(["GET", "HEAD", "POST"])
def choose(request: HttpRequest) -> HttpResponse:
    """Choose a file; what was found in it is shown at once."""
    studio = people.teaching_studio(request.user)
    form = CalendarForm(request.POST or None, request.FILES or None)
    if form.is_valid():
        zone = weeks.zone_of(request.user).key
        first = monday_of(timezone.localdate())
        try:
            said = work.read(form.cleaned_data["file"].read(), zone, first, first + AHEAD)
        except NotACalendar as error:
            form.add_error("file", sentences.refusal(str(error)))
        else:
            return _found(request, studio, said, first)
    context = {"area": "teacher", "form": form}
    status = 422 if form.is_bound else 200
    return render(request, "drills/timetable/import.html", context, status=status)


@require_POST
def take(request: HttpRequest) -> HttpResponse:
    """Take in what was given to a pupil."""
    studio = people.teaching_studio(request.user)
    try:
        held = signing.loads(request.POST.get("found", ""), salt=SALT, max_age=LONGEST_S)
    except signing.BadSignature:
        held = {}
    if (held.get("by"), held.get("studio")) != (request.user.pk, studio.pk):
        form = CalendarForm()
        context = {"area": "teacher", "form": form, "too_old": True}
        return render(request, "drills/timetable/import.html", context, status=422)
    rows, first = held["rows"], date.fromisoformat(held["first"])
    places = {f"{place.pk}": place for place in _places(request.user, studio)}
    chosen = {
        row["uid"]: places[request.POST[f"pupil-{number}"]]
        for number, row in enumerate(rows)
        if request.POST.get(f"pupil-{number}") in places
    }
    if not chosen:
        said = {"rows": rows, "breaks_off": False}
        return _found(request, studio, said, first, nobody=True)
    _say(request, taking_in.take_in(studio, request.user, rows, chosen, first))
    return redirect("lesson_week")


def _places(person: Person, studio: Studio) -> list[Enrolment]:
    return list(access.places_to_plan(person).filter(studio=studio))


def _found(
    request: HttpRequest, studio: Studio, said: dict, first: date, nobody: bool = False
) -> HttpResponse:
    places = _places(request.user, studio)
    before = {
        source.partition(":")[0]: one.enrolment_id
        for source, one in taking_in.known(studio).items()
    }
    to_give = [row for row in said["rows"] if row["lessons"]]
    rows, more = to_give[:MOST_ROWS], to_give[MOST_ROWS:]
    held = {"by": request.user.pk, "studio": studio.pk, "first": first.isoformat(), "rows": rows}
    options = _options(places)
    zone = weeks.zone_of(request.user).key
    context = {
        "area": "teacher",
        "found": signing.dumps(held, salt=SALT, compress=True),
        "rows": [
            _row(
                number,
                row,
                options,
                before.get(row["uid"]) or proposed(row["summary"], places),
                zone,
            )
            for number, row in enumerate(rows)
        ],
        "not_taken": [
            {"summary": row["summary"] or _("without a title"), "remarks": _remarks(row)}
            for row in said["rows"]
            if not row["lessons"]
        ][:MOST_ROWS],
        "more": len(more),
        "most": MOST_ROWS,
        "breaks_off": said["breaks_off"],
        "nobody": nobody,
    }
    status = 422 if nobody else 200
    return render(request, "drills/timetable/found.html", context, status=status)


def _row(number: int, row: dict, options: SafeString, place: int | None, zone: str) -> dict:
    chosen = f'value="{place}"'
    return {
        "number": number,
        "summary": row["summary"] or _("without a title"),
        "when": _when(row["lessons"], zone),
        "where": row["where"],
        "remarks": _remarks(row),
        "is_given": place is not None,
        "options": mark_safe(options.replace(chosen, f"{chosen} selected", 1)),  # numbers alone
    }


def _options(places: list[Enrolment]) -> SafeString:
    """The choices of a row; made once, for there may be a hundred rows of two hundred pupils."""
    nobody = format_html('<option value="">{}</option>', _("nobody: leave it out"))
    pupils = ((place.pk, place.pupil.name) for place in places)
    return nobody + format_html_join("", '<option value="{}">{}</option>', pupils)


def _when(lessons: list[dict], zone: str) -> str:
    """``Tuesday 1 December, 16:00, 45 minutes, and 3 more until Tuesday 22 December``"""
    first, last = lessons[0], lessons[-1]
    said = _("%(day)s, %(time)s, %(minutes)s minutes") % {
        "day": figures.weekday_date(date.fromisoformat(first["day"])),
        "time": first["at"],
        "minutes": first["minutes"],
    }
    if first["zone"] != zone:
        said = _("%(when)s by the clock of %(zone)s") % {
            "when": said,
            "zone": first["zone"].replace("_", " "),
        }
    if len(lessons) == 1:
        return said
    more = ngettext(
        "%(when)s, and %(many)s more on %(day)s", "%(when)s, and %(many)s more until %(day)s",
        len(lessons) - 1,
    )  # fmt: skip
    day = figures.weekday_date(date.fromisoformat(last["day"]))
    return more % {"when": said, "many": len(lessons) - 1, "day": day}


def _remarks(row: dict) -> list[str]:
    return [sentences.remark(code, what) for code, what in row["remarks"]]


def _say(request: HttpRequest, taken: taking_in.Taken) -> None:
    new = ngettext("%(many)s lesson is new", "%(many)s lessons are new", len(taken.new))
    changed = ngettext("%(many)s is changed", "%(many)s are changed", len(taken.changed))
    gone = ngettext("%(many)s is cancelled", "%(many)s are cancelled", len(taken.cancelled))
    said = {
        "new": new % {"many": len(taken.new)},
        "changed": changed % {"many": len(taken.changed)},
        "gone": gone % {"many": len(taken.cancelled)},
    }
    messages.success(request, _("%(new)s, %(changed)s, %(gone)s.") % said)
