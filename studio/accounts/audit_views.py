"""The owner's page of what was done in the studio."""

from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from . import access, audit, retention

ROWS_A_PAGE = 50


@require_safe
def audit_log(request: HttpRequest) -> HttpResponse:
    """Newest first; by or about one person, of one kind, where the address says so."""
    studio = access.owned_studio(request.user)
    people = list(audit.people_in(studio))
    asked = request.GET.get("person", "")
    person = next((one for one in people if str(one.pk) == asked), None)
    act = request.GET.get("act", "")
    act = act if act in audit.Act else ""
    entries = audit.entries(studio, person.pk if person else None, act)
    page = Paginator(entries, ROWS_A_PAGE).get_page(request.GET.get("page"))
    chosen = {"person": person.pk if person else "", "act": act}
    cut = retention.next_log_cut(retention.row_of(studio), timezone.localdate())
    context = {
        "cut": cut,
        "going": audit.before(studio, cut.before).count() if cut else 0,
        "area": "teacher",
        "studio": studio,
        "page": page,
        "people": people,
        "person": person,
        "acts": audit.Act.choices,
        "act": act,
        "query": urlencode({name: value for name, value in chosen.items() if value}),
    }
    return render(request, "accounts/audit_log.html", context)
