"""What somebody was told, what she wants to be told and when, and ending letters by one press."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio import figures
from studio.headers import opens_a_door

from . import access, calendar_feeds, lockout, throttling
from .notification_forms import TimesForm
from .notifications import digest, kinds, reading, schedule, telling, unsubscribing
from .notifications.unsubscribing import Asked
from .throttling import Count

WRONG_ADDRESSES = 30  # from one place, before it has to wait


@require_safe
def told(request: HttpRequest) -> HttpResponse:
    """What the person was told, the newest first."""
    context = {
        "told": reading.told_to(request.user),
        "children": access.enrolments_guarded_by(request.user).order_by("pupil__name", "pk"),
    }
    return render(request, "accounts/told.html", context)


@require_POST
def told_seen(request: HttpRequest) -> HttpResponse:
    """Mark one thing (``which``) as seen, or all (``which=all``)."""
    which = request.POST.get("which", "")
    number = figures.whole(which)
    if which == "all":
        reading.note_seen(request.user)
    elif number is not None:
        reading.note_seen(request.user, [number])
    return redirect("told")


@require_safe
def told_child(request: HttpRequest, pk: int) -> HttpResponse:
    """What a child is told of her lessons, for her guardians."""
    place = access.guarded_enrolment(request.user, pk)
    told = reading.told_to_child(place.pupil, place.studio)
    context = {"area": "guardian", "place": place, "told": told}
    return render(request, "accounts/told_child.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def telling_page(request: HttpRequest) -> HttpResponse:
    """What the person is told, and where: shows it (GET), keeps what she ticked (POST)."""
    if request.method == "POST":
        for kind in _of_person(request):
            if kind.is_optional:
                on_page, by_letter = (
                    f"{where}-{kind.name}" in request.POST for where in ("page", "letter")
                )
                telling.choose(request.user, kind.name, on_page=on_page, by_letter=by_letter)
        messages.success(request, _("Kept. From now on you are told what you ticked."))
        return redirect("telling")
    return _telling(request, TimesForm(instance=schedule.times_of(request.user)))


@require_POST
def telling_times(request: HttpRequest) -> HttpResponse:
    """When letters come."""
    form = TimesForm(request.POST, instance=schedule.times_of(request.user))
    if not form.is_valid():
        return _telling(request, form, status=422)
    digest.keep_times(form.save(commit=False))
    messages.success(request, _("Kept. Your letters come by these times from now on."))
    return redirect("telling")


@require_POST
@opens_a_door
def calendar_make(request: HttpRequest) -> HttpResponse:
    """A new address for a calendar, shown this once; an earlier one works no more."""
    address = calendar_feeds.make(request.user)
    return render(request, "accounts/calendar.html", {"address": address})


@require_POST
def calendar_end(request: HttpRequest) -> HttpResponse:
    calendar_feeds.revoke(request.user)
    messages.success(request, _("The address works no more. Calendars that used it stay empty."))
    return redirect("telling")


@login_not_required
@csrf_exempt
@opens_a_door
@require_http_methods(["GET", "HEAD", "POST"])
def letters_off(request: HttpRequest, token: str) -> HttpResponse:
    """End letters of some kinds: a page with a button (GET), and the press (POST).

    A mail program posts as RFC 8058 says (section 3.2), without cookies and without reading a page
    before, so nothing but its one pair is asked for. Whoever only opens the address, as programs do
    that look at the links of a letter, changes nothing.
    """
    asked = _asked(request, token)
    if asked is None:
        return _no_such_letter(request)
    if request.method != "POST":
        return render(request, "accounts/letters_off.html", _of_letter(asked, token))
    wanted = {unsubscribing.FIELD: [unsubscribing.VALUE]}
    if dict(request.POST.lists()) != wanted or request.FILES:
        context = _of_letter(asked, token) | {"refused": True}
        return render(request, "accounts/letters_off.html", context, status=400)
    unsubscribing.set_letters(asked, by_letter=False)
    return render(request, "accounts/letters_off.html", _of_letter(asked, token) | {"off": True})


@login_not_required
@opens_a_door
@require_POST
def letters_on(request: HttpRequest, token: str) -> HttpResponse:
    """Take it back: letters of these kinds come again."""
    asked = _asked(request, token)
    if asked is None:
        return _no_such_letter(request)
    unsubscribing.set_letters(asked, by_letter=True)
    return render(request, "accounts/letters_off.html", _of_letter(asked, token) | {"on": True})


def _asked(request: HttpRequest, token: str) -> Asked | None:
    """Whose letters; a wrong address counts against where it was asked from."""
    asked = unsubscribing.asked_by(token)
    if asked is None:
        throttling.take([Count(("letters", lockout.address_of(request)), WRONG_ADDRESSES)])
    return asked


def _no_such_letter(request: HttpRequest) -> HttpResponse:
    waits = throttling.must_wait([Count(("letters", lockout.address_of(request)), WRONG_ADDRESSES)])
    status = 429 if waits else 404
    return render(request, "accounts/letters_off.html", {"kinds": ()}, status=status)


def _of_letter(asked: Asked, token: str) -> dict:
    return {"kinds": asked.kinds, "token": token, "field": unsubscribing.FIELD}


def _of_person(request: HttpRequest) -> list[kinds.Kind]:
    return kinds.told_to(telling.roles_of(request.user))


def _telling(request: HttpRequest, form: TimesForm, status: int = 200) -> HttpResponse:
    roles, chosen = telling.roles_of(request.user), telling.choices_of(request.user)
    told = kinds.told_to(roles)
    rows = [
        {
            "kind": kind,
            "words": [words for role, words in kind.told.items() if role in roles],
            "chosen": chosen.get(kind.name),
        }
        for kind in told
    ]
    context = {
        "optional": [row for row in rows if row["kind"].is_optional],
        "always": [row | {"words": row["words"][:1]} for row in rows if row["kind"].always],
        "form": form,
        "feed": calendar_feeds.of(request.user),
        "letters": bool(telling.sends_letters(request.user)),
    }
    return render(request, "accounts/telling.html", context, status=status)
