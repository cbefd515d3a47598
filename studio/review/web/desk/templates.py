"""A teacher's templates of summaries at the desk, filled in for the clip that is reviewed.

``GET /clips/<uuid>/desk/templates/``: a page by itself, from which to copy, or the list alone with
``X-Desk: parts``. The desk's script puts the words into the summary's field; nothing is kept by it.
"""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from studio.accounts.names import listed
from studio.review import access
from studio.review.models import Review
from studio.review.returning.summaries import good_news
from studio.review.summary_templates import filled, offered

from .exchanges import on_desk, wants_parts
from .page import Desk
from .returning import facts_at

PART, PAGE = "review/desk_templates.html", "review/desk_templates_page.html"


@require_GET
@on_desk
def offered_here(request: HttpRequest, review: Review) -> HttpResponse:
    own = access.summary_templates_of(request.user, review.clip.enrolment.studio)
    values = _values(Desk(request.user, review))
    rows = [filled(name, text, values) for name, text in offered(own)]
    at_desk = wants_parts(request)
    context = {"area": "teacher", "clip": review.clip, "rows": rows, "at_desk": at_desk}
    return render(request, PART if at_desk else PAGE, context)


def _values(page: Desk) -> dict[str, str]:
    clip, facts = page.review.clip, facts_at(page)
    return {
        "pupil": clip.enrolment.pupil.first_name,
        "title": clip.title,
        "better": good_news(facts),
        "next": listed(facts.drills) if facts.drills else "",
    }
