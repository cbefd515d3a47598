"""The head of every page: where a person can go, and as whom."""

from datetime import datetime

from django import template
from django.urls import NoReverseMatch, reverse
from django.utils import timezone

from studio.accounts import access, consent, notices, saved_forms, sessions
from studio.accounts.models import Enrolment, Notice
from studio.accounts.notifications import reading
from studio.headers import is_for_keeping
from studio.translating import gettext_lazy

register = template.Library()

LONG = 40  # letters: such a value is shown though it is a single word

# role: (the word for it, its home page, its pages)
AREAS = {
    "teacher": (
        "teacher",
        "waiting_list",
        (
            (gettext_lazy("Waiting"), "waiting_list"),
            (gettext_lazy("Pupils"), "pupils"),
            (gettext_lazy("Drills"), "shelf"),
            (gettext_lazy("People"), "people"),
        ),
    ),
    "pupil": (
        "pupil",
        "queue",
        (
            (gettext_lazy("Practice"), "queue"),
            (gettext_lazy("Send a clip"), "send"),
        ),
    ),
    "guardian": ("guardian", "children", ((gettext_lazy("Children"), "children"),)),
    "operator": ("operator", "operator", ((gettext_lazy("Service"), "operator"),)),
}


@register.inclusion_tag("accounts/nav.html", takes_context=True)
def people_nav(context) -> dict:
    """The head for whoever is logged in.

    A page that belongs to one role says so by ``area`` in its context; else the person's first
    role is taken.
    """
    request = context.get("request")
    person = getattr(request, "user", None)
    if person is None or not person.is_authenticated:
        return {"person": None}
    roles = access.roles_of(person) + (["operator"] if person.is_operator else [])
    area = context.get("area") or next(iter(roles), None)
    pages = AREAS[area][2] if area in roles else ()  # none of lessons that have ended
    return {
        "request": request,
        "csrf_token": context.get("csrf_token"),
        "person": person,
        "links": [_link(request, name, page) for name, page in pages],
        "homes": [_home(role, area) for role in roles] if len(roles) > 1 else [],
    }


@register.simple_tag(takes_context=True)
def copied_at(context) -> datetime | None:
    """Now, in the copy that a browser keeps for when there is no line; ``None`` in the page."""
    request = context.get("request")
    return timezone.now() if request is not None and is_for_keeping(request) else None


@register.simple_tag(takes_context=True)
def clears_browser(context) -> bool:
    """Whether this page is to clear what the browser kept for the person before; said once."""
    session = getattr(context.get("request"), "session", None)
    return bool(session and session.pop(sessions.CLEAR, False))


@register.inclusion_tag("accounts/told_and_kept.html", takes_context=True)
def told_and_kept(context) -> dict:
    """What a person is told about an account, and what waits to be sent again."""
    request = context.get("request")
    person = getattr(request, "user", None)
    if person is None or not person.is_authenticated:
        return {}
    return {
        "csrf_token": context.get("csrf_token"),
        "notices": _to_read(request),
        "something_new": _is_home(request) and reading.has_unseen(person),
        "words": _words(saved_forms.kept_for(request)),
    }


def _is_home(request) -> bool:
    """Whether the page is where one begins: there alone it says that something is new."""
    match = request.resolver_match
    return match is not None and match.url_name in {home for _, home, _ in AREAS.values()}


def _to_read(request) -> list[Notice]:
    """What is to be read; on the page that asks a question, without the notice of a question."""
    told = notices.to_read(request.user)
    match = request.resolver_match
    if match is None or match.url_name != "answer_address":
        return told
    return [notice for notice in told if notice.address_change_id is None]


def _words(kept: dict | None) -> dict | None:
    """With what a person recognises: words, no numbers and marks of the form's own."""
    if kept is None:
        return None
    shown = [value for _, value in kept["fields"] if " " in value.strip() or len(value) > LONG]
    return kept | {"shown": shown}


@register.filter
def people_names(people) -> str:
    return notices.names(people)


@register.inclusion_tag("accounts/consent_missing.html", takes_context=True)
def consent_missing(context, enrolment: Enrolment) -> dict:
    """A notice while consent does not hold for one pupil; nothing while it does.

    On a teacher's page it says what cannot be done; on the pupil's and the guardian's it leads
    to the page that tells more.
    """
    if enrolment.consented:
        return {}
    area = context.get("area")
    say = {"pupil": consent.cannot_send, "guardian": consent.not_agreed}
    return {
        "sentence": say.get(area or "", consent.cannot_watch)(enrolment),
        "href": _consent_page(area, enrolment),
        "whose": enrolment.pupil if area == "guardian" else None,
    }


@register.inclusion_tag("accounts/consent_given.html", takes_context=True)
def consent_given(context, enrolment: Enrolment) -> dict:
    """A quiet line, for the end of a page: who agreed, and when. Nothing while nobody has."""
    if not enrolment.consented:
        return {}
    given = consent.standing(enrolment).given
    return {"given": given, "href": _consent_page(context.get("area"), enrolment)}


def _consent_page(area: str | None, enrolment: Enrolment) -> str:
    at_home = area in ("pupil", "guardian")
    return reverse("consent", kwargs={"pk": enrolment.pk}) if at_home else ""


def _link(request, name: str, page: str) -> dict:
    href = _address(page)
    return {"name": name, "href": href, "here": request.path.startswith(href)}


def _home(role: str, area: str | None) -> dict:
    name, page, _ = AREAS[role]
    return {"name": name, "href": _address(page), "here": role == area}


def _address(page: str) -> str:
    try:
        return reverse(page)
    except NoReverseMatch:
        return "/"
