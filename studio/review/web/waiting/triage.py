"""Taking, handing over and snoozing clips; and taking a return back: one press each."""

from datetime import date, datetime, time, timedelta
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from studio import figures
from studio.accounts.models import Person
from studio.accounts.templatetags.words import day
from studio.review import access
from studio.review.models import Review
from studio.review.returning import services
from studio.review.waiting import triage
from studio.translating import gettext_lazy
from studio.web.paths import own_path

MORNING = time(6)  # what rests comes back before lessons begin
LONGEST_REST = timedelta(days=60)
DAYS = {"tomorrow": 1, "three": 3, "week": 7}
GONE = gettext_lazy("This clip was returned in the meantime.")


@require_POST
def take(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    review = access.review_for(request.user, clip_id)
    if review.state == Review.State.RETURNED:
        return _back(request, warning=GONE)
    over = request.POST.get("over", "")
    try:
        triage.take(review, request.user, figures.whole(over))
    except triage.TakenAlready as taken:
        return _back(request, warning=_has_it(taken.by))
    return _back(request, done=_("%(review)s is yours to answer.") % {"review": _whose(review)})


@require_POST
def let_go(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    review = access.review_for(request.user, clip_id)
    triage.let_go(review, request.user)
    return _back(
        request, done=_("%(review)s is open to everybody again.") % {"review": _whose(review)}
    )


@require_POST
def hand_over(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    review = access.review_for(request.user, clip_id)
    if review.state == Review.State.RETURNED:
        return _back(request, warning=GONE)
    chosen = figures.whole(request.POST.get("to"))
    colleagues = triage.teachers_of(review.clip.enrolment.studio)
    to: Person | None = colleagues.filter(pk=chosen).first()
    if to is None:
        return _back(request, warning=_("Choose a colleague who teaches here today."))
    try:
        triage.hand_over(review, request.user, to)
    except triage.TakenAlready as taken:
        return _back(request, warning=_has_it(taken.by))
    return _back(
        request, done=_("%(review)s goes to %(to)s.") % {"review": _whose(review), "to": to}
    )


@require_POST
def snooze(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    """Until tomorrow, in three days, in a week, or a date; empty brings it back."""
    review = access.review_for(request.user, clip_id)
    if review.state == Review.State.RETURNED:
        return _back(request, warning=GONE)
    chosen = request.POST.get("until", "")
    if not chosen:
        triage.snooze(review, None)
        return _back(
            request, done=_("%(review)s is on the list again.") % {"review": _whose(review)}
        )
    on = _day_of(chosen)
    today = timezone.localdate()
    if on is None or not today < on <= today + LONGEST_REST:
        last = figures.long_date(today + LONGEST_REST)
        return _back(
            request,
            warning=_("Choose a day after today, and no later than %(last)s.") % {"last": last},
        )
    until = timezone.make_aware(datetime.combine(on, MORNING))
    triage.snooze(review, until)
    return _back(
        request,
        done=_("%(review)s rests until %(until)s.")
        % {"review": _whose(review), "until": day(until)},
    )


@require_POST
def take_back(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    """Undo a return whose delay has not ended, and go back to the clip."""
    review = access.review_for(request.user, clip_id)
    pupil = review.clip.enrolment.pupil
    try:
        services.take_back_return(review, by=request.user)
    except services.TooLate:
        return _back(
            request,
            warning=_("It is too late to take it back: %(pupil)s can see it now.")
            % {"pupil": pupil},
        )
    messages.success(request, _("Taken back. %(pupil)s has seen nothing of it.") % {"pupil": pupil})
    return redirect("clip_page", clip_id=clip_id)


@require_POST
def send_now(request: HttpRequest, clip_id: UUID) -> HttpResponse:
    """End a return's delay at once."""
    review = access.review_for(request.user, clip_id)
    services.send_return_now(review)
    return _back(
        request, done=_("%(pupil)s can see it now.") % {"pupil": review.clip.enrolment.pupil}
    )


def _day_of(chosen: str) -> date | None:
    if chosen in DAYS:
        return timezone.localdate() + timedelta(days=DAYS[chosen])
    try:
        return date.fromisoformat(chosen)
    except ValueError:
        return None


def _whose(review: Review) -> str:
    return f"“{review.clip!s}” of {review.clip.enrolment.pupil}"


def _has_it(by: Person) -> str:
    return _("%(by)s has taken this clip. You can take it over from the list if you both wish.") % {
        "by": by
    }


def _back(request: HttpRequest, *, done: str = "", warning: str = "") -> HttpResponse:
    if warning:
        messages.warning(request, warning)
    else:
        messages.success(request, done)
    return redirect(own_path(request.POST.get("back", ""), reverse("waiting_list")))
