"""The week's plan of lessons, for teachers."""

from datetime import date, timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Person
from studio.accounts.names import listed

from . import access, services, weeks
from .clock import monday_of
from .forms import FOLLOWING, HELD, CancelForm, MoveForm, PlanForm
from .models import PlannedLesson
from .overlaps import overlaps_among

FIRST, LAST = date(2000, 1, 3), date(2100, 12, 31)  # what the page goes to
SAID = 3  # overlaps that are named one by one


@require_safe
def week(request: HttpRequest) -> HttpResponse:
    """All lessons of a week; ``?day=`` is any day of it, else it is this week."""
    people.teaching_studio(request.user)
    zone, now = weeks.zone_of(request.user), timezone.now()
    today = now.astimezone(zone).date()
    shown = weeks.week_of(request.user, monday_of(_day_asked(request) or today), zone, now)
    this_week = monday_of(today)
    context = {"area": "teacher", "week": shown, "zone": zone.key, "this_week": this_week}
    return render(request, "drills/timetable/week.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def plan(request: HttpRequest) -> HttpResponse:
    """Plan lessons of one pupil; ``?day=`` and ``?pupil=`` fill the form."""
    people.teaching_studio(request.user)
    zone = weeks.zone_of(request.user).key
    begun = {
        "day": _day_asked(request),
        "pupil": figures.whole(request.GET.get("pupil", ""), high=2**31),
    }
    form = PlanForm(request.user, request.POST or None, zone=zone, initial=begun)
    if form.is_valid():
        said = form.cleaned_data
        made = services.plan(
            said["pupil"], request.user, form.when, said["until"], said["form_key"]
        )
        done = ngettext("%(many)s lesson is planned.", "%(many)s lessons are planned.", len(made))
        messages.success(request, done % {"many": len(made)})
        _say_overlaps(request, made)
        return _to_week_of(made[0])
    context = {"area": "teacher", "form": form}
    status = 422 if form.is_bound else 200
    return render(request, "drills/timetable/plan.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def lesson(request: HttpRequest, pk: int) -> HttpResponse:
    """One planned lesson: moved, alone or with those that follow."""
    found = access.taught_lesson(request.user, pk)
    if request.method != "POST":
        return _page(request, found)
    form = MoveForm.of(found, request.POST)
    if not form.is_valid():
        return _page(request, found, form, status=422)
    seen, following = form.cleaned_data["sequence"], form.with_following
    try:
        moved = services.move(found, request.user, form.when, seen=seen, following=following)
    except services.Changed:
        return _page(request, access.taught_lesson(request.user, pk), form, status=409)
    done = ngettext("%(many)s lesson is moved.", "%(many)s lessons are moved.", len(moved))
    messages.success(request, done % {"many": len(moved)})
    _say_overlaps(request, moved)
    return _to_week_of(moved[0] if moved else found)


@require_POST
def cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Cancel a lesson, or all that follow too; or hold a cancelled one after all."""
    found = access.taught_lesson(request.user, pk)
    form = CancelForm(request.POST)
    if not form.is_valid():
        return _page(request, found, status=422)
    seen, whether = form.cleaned_data["sequence"], form.cleaned_data["whether"]
    try:
        if whether == HELD:
            services.hold_after_all(found, request.user, seen=seen)
            messages.success(request, _("The lesson is held."))
            _say_overlaps(request, [found])
        else:
            gone = services.cancel(found, request.user, seen=seen, following=whether == FOLLOWING)
            done = ngettext(
                "%(many)s lesson is cancelled.", "%(many)s lessons are cancelled.", len(gone)
            )
            messages.success(request, done % {"many": len(gone)})
    except services.Changed:
        return _page(request, access.taught_lesson(request.user, pk), status=409)
    return _to_week_of(found)


def _page(
    request: HttpRequest, found: PlannedLesson, form: MoveForm | None = None, status: int = 200
) -> HttpResponse:
    zone = weeks.zone_of(request.user)
    begins = found.begins_at.astimezone(zone)
    context = {
        "area": "teacher",
        "lesson": found,
        "begins_in_words": figures.weekday_time(begins),
        "other_clock": weeks.said_by_its_own_clock(found, begins),
        "enrolment": found.enrolment,
        "form": form or MoveForm.of(found),
        "more": len(access.following(found)) - 1,
        "is_over": found.begins_at <= timezone.now(),
        "changed": status == 409,
    }
    return render(request, "drills/timetable/lesson.html", context, status=status)


def _say_overlaps(request: HttpRequest, lessons: list[PlannedLesson]) -> None:
    """A remark for the press: what else is at the time of what was planned or moved."""
    said = overlaps_in_words(request.user, lessons)
    if said:
        messages.warning(request, said)


def overlaps_in_words(person: Person, lessons: list[PlannedLesson]) -> str:
    """What overlaps with some lessons, the first few by name; empty where nothing does."""
    if not lessons:
        return ""
    days, one_day = [one.day for one in lessons], timedelta(days=1)
    around = access.taught_between(person, min(days) - one_day, max(days) + one_day)
    beside = overlaps_among(around)
    zone = weeks.zone_of(person)
    meeting = [
        _("%(pupil)s on %(when)s")
        % {"pupil": other.enrolment.pupil, "when": weeks.when_in_words(other, zone)}
        for lesson in lessons
        for other in beside.get(lesson.pk, ())
    ]
    if not meeting:
        return ""
    left = len(meeting) - SAID
    if left > 0:
        meeting = [
            *meeting[:SAID],
            ngettext("%(many)s more", "%(many)s more", left) % {"many": left},
        ]
    return _("At the same time: %(lessons)s.") % {"lessons": listed(meeting)}


def _day_asked(request: HttpRequest) -> date | None:
    try:
        day = date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        return None
    return day if FIRST <= day <= LAST else None


def _to_week_of(lesson: PlannedLesson) -> HttpResponse:
    return redirect(f"{reverse('lesson_week')}?day={lesson.day.isoformat()}")
