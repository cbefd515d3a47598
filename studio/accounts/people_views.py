"""The teacher's page of people: who is there, inviting, linking, ending."""

from collections import Counter

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from studio.headers import opens_a_door
from studio.translating import gettext_lazy

from . import (
    access,
    audit,
    consent,
    families,
    invitations,
    lesson_endings,
    letters,
    notices,
    passwords,
    services,
)
from .ended_already import says_that_it_ended
from .family_forms import FamilyForm, OwnLoginForm
from .forms import AnsweringForm, InviteForm, LinkForm
from .models import Enrolment, GuardianLink, Invitation, Membership, Studio
from .reauthentication import asks_again

Role = Membership.Role
INVITED = (Role.PUPIL, Role.GUARDIAN, Role.TEACHER)


@require_safe
def people(request: HttpRequest) -> HttpResponse:
    """The studio's pupils with their guardians, its teachers, and open invitations."""
    return _page(request, access.teaching_studio(request.user))


@opens_a_door
@require_POST
@asks_again
def invite(request: HttpRequest, role: str) -> HttpResponse:
    """Make an invitation and show its link; the link is shown this once."""
    studio = access.teaching_studio(request.user)
    if role not in INVITED:
        raise Http404
    form = InviteForm(role, studio, request.POST)
    if not form.is_valid():
        return _page(request, studio, refused=form, role=role)
    said = form.cleaned_data
    place = said.get("place")
    invited, secret = invitations.invite(
        studio,
        role,
        said["name"],
        said["email"],
        by=request.user,
        birth_year=said.get("birth_year"),
        pupil=place.pupil if place else None,
    )
    return _made(request, invited, secret)


@opens_a_door
@require_POST
@asks_again
def invite_family(request: HttpRequest) -> HttpResponse:
    """Make a family's invitation and show its link this once; or make room for one more child."""
    studio = access.teaching_studio(request.user)
    form = FamilyForm(request.POST)
    if "add" in request.POST:
        return _page(request, studio, refused=form.grown(request.POST), role="family", status=200)
    if not form.is_valid():
        return _page(request, studio, refused=form, role="family")
    said = form.guardian.cleaned_data
    invited, secret = families.invite(
        studio, said["name"], said["email"], form.named(), by=request.user
    )
    return _made(request, invited, secret)


def _made(request: HttpRequest, invited: Invitation, secret: str) -> HttpResponse:
    """The page with the link; where mail is sent, a letter takes it instead."""
    link = request.build_absolute_uri(reverse("invitation", kwargs={"secret": secret}))
    context = {"invited": invited, "link": link, "area": "teacher"}
    if settings.MAIL:
        letters.post_invitation(invited, link)
        context["link"] = ""
    return render(request, "accounts/invited.html", context)


@require_POST
def own_login(request: HttpRequest) -> HttpResponse:
    """Change from what age a log-in of the child's own is proposed."""
    studio = access.teaching_studio(request.user)
    form = OwnLoginForm(request.POST, instance=studio)
    if not form.is_valid():
        return _page(request, access.teaching_studio(request.user), refused=form, role="own_login")
    services.change_own_login_age(form.instance, by=request.user)
    messages.success(request, "Kept.")
    return redirect("people")


@require_POST
def cancel(request: HttpRequest, pk: int) -> HttpResponse:
    try:
        invitations.cancel(access.teaching_studio(request.user), pk, by=request.user)
    except invitations.NoLongerOpen:
        messages.warning(request, "It was accepted or taken back already, or has run out.")
    else:
        messages.success(request, _("Taken back. The link no longer works."))
    return redirect("people")


@require_POST
def link_guardian(request: HttpRequest) -> HttpResponse:
    """Link a guardian of the studio to one more child."""
    studio = access.teaching_studio(request.user)
    form = LinkForm(studio, request.POST)
    if not form.is_valid():
        return _page(request, studio, refused=form, role="link")
    guardian, pupil = form.cleaned_data["guardian"], form.cleaned_data["place"].pupil
    services.link_guardian(guardian, pupil, studio, by=request.user)
    messages.success(
        request,
        _("%(guardian)s now sees what %(pupil)s sees.") % {"guardian": guardian, "pupil": pupil},
    )
    return redirect("people")


@require_http_methods(["GET", "HEAD", "POST"])
@says_that_it_ended(
    GuardianLink,
    gettext_lazy("The link between {row.guardian} and {row.pupil} has ended already, on {on}."),
)
@asks_again
def unlink_guardian(request: HttpRequest, pk: int) -> HttpResponse:
    """Asks first (GET); then the guardian sees nothing more of the child, at once (POST)."""
    link = access.taught_guardian_link(request.user, pk)
    if request.method != "POST":
        context = {"link": link, "area": "teacher"}
        return render(request, "accounts/guardian_unlink.html", context)
    rests = services.unlink_guardian(link, by=request.user)
    said = _("%(guardian)s no longer sees anything of %(pupil)s.") % {
        "guardian": link.guardian,
        "pupil": link.pupil,
    }
    then = _(" Consent rests until a guardian agrees.") if rests else ""
    messages.success(request, said + then)
    return redirect("people")


@opens_a_door
@require_http_methods(["GET", "HEAD", "POST"])
@asks_again
def password_link(request: HttpRequest, pk: int) -> HttpResponse:
    """Says what happens (GET); makes a pupil's link for a new password and shows it (POST)."""
    place = access.taught_enrolment(request.user, pk)
    pupil = place.pupil
    context = {"area": "teacher", "place": place, "told": notices.concerned(pupil)[1:]}
    if not passwords.may_help(request.user, pupil):
        return render(request, "accounts/password_link.html", context | {"refused": True})
    if request.method == "POST":
        made, secret = passwords.make_link(pupil, by=request.user)
        path = reverse("password_by_link", kwargs={"secret": secret})
        context |= {"made": made, "link": request.build_absolute_uri(path)}
    return render(request, "accounts/password_link.html", context)


@require_POST
def answering(request: HttpRequest) -> HttpResponse:
    """Change what the studio promises, and the delay of its answers."""
    studio = access.teaching_studio(request.user)
    form = AnsweringForm(request.POST, instance=studio)
    if not form.is_valid():
        return _page(request, access.teaching_studio(request.user), refused=form, role="answering")
    services.change_answering(form.instance, by=request.user)
    messages.success(request, "Kept.")
    return redirect("people")


def _page(
    request: HttpRequest, studio: Studio, refused=None, role: str | None = None, status: int = 0
) -> HttpResponse:
    places = list(access.places_in(studio).order_by("pupil__name", "pk"))
    links = access.guardian_links_taught_by(request.user)
    forms = {name: InviteForm(name, studio) for name in INVITED}
    if role in forms:
        forms[role] = refused
    context = {
        "area": "teacher",
        "studio": studio,
        "places": [_place(place, links) for place in places],
        "teachers": _teachers(studio, places),
        "ended_lately": lesson_endings.ended_lately(studio),
        "owns": audit.owners(studio).filter(person=request.user).exists(),
        "open": invitations.open_in(studio).select_related("pupil").prefetch_related("children"),
        "family": refused if role == "family" else FamilyForm(),
        "family_open": role == "family",
        "own_login": refused if role == "own_login" else OwnLoginForm(instance=studio),
        "own_login_refused": role == "own_login",
        "forms": [(Role(name), form, role == name) for name, form in forms.items()],
        "link": refused if role == "link" else LinkForm(studio),
        "link_refused": role == "link",
        "answering": refused if role == "answering" else AnsweringForm(instance=studio),
        "answering_refused": role == "answering",
    }
    status = status or (422 if refused else 200)
    return render(request, "accounts/people.html", context, status=status)


def _teachers(studio: Studio, places: list[Enrolment]) -> list[Membership]:
    """The teachers, each with how many pupils she teaches."""
    number = Counter(place.teacher_id for place in places)
    teachers = list(access.teachers_in([studio]))
    for membership in teachers:
        membership.pupils = number[membership.person_id]
    return teachers


def _place(place, links: "list[GuardianLink]") -> dict:
    mine = [
        link
        for link in links
        if (link.pupil_id, link.studio_id) == (place.pupil_id, place.studio_id)
    ]
    child = consent.is_grown_up(place.pupil) is False
    missing = child and not any(link.decides for link in mine)
    return {"place": place, "links": mine, "guardian_missing": missing}
