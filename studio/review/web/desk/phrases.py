"""The phrase shelf at the desk: a teacher's phrases, filled in for one moment of a clip.

``GET /clips/<uuid>/desk/phrases/?at_s=12.3&mark=4``: a page by itself, or the list alone with
``X-Desk: parts``. Each phrase leads to the desk with the comment begun in its words.
"""

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from studio.figures import decimal, parse_place, whole
from studio.review import access
from studio.review.marks.judging import judged
from studio.review.models import Phrase, Review
from studio.review.phrases import filled, values_at

from .exchanges import on_desk, wants_parts


@require_GET
@on_desk
def offered(request: HttpRequest, review: Review) -> HttpResponse:
    at_s, mark_id = _where(request, review)
    standing = access.phrases_of(request.user, review.clip.enrolment.studio)
    values = _values(review, at_s, mark_id)
    rows = [
        {
            "phrase": phrase,
            "text": filled(phrase.text, values),
            "query": urlencode({"phrase": phrase.pk, **_place(at_s, mark_id)}),
        }
        for phrase in standing
    ]
    part = "review/desk_phrases.html" if wants_parts(request) else "review/desk_phrases_page.html"
    context = {"area": "teacher", "rows": rows, "clip": review.clip, "at_s": at_s}
    return render(request, part, context)


def begun(request: HttpRequest, review: Review) -> dict:
    """What a new comment starts with, where the address asks for a phrase; else nothing."""
    chosen = whole(request.GET.get("phrase"))
    if chosen is None:
        return {}
    standing = access.phrases_of(request.user, review.clip.enrolment.studio)
    phrase: Phrase | None = standing.filter(pk=chosen).first()
    if phrase is None:
        return {}
    at_s, mark_id = _where(request, review)
    values = _values(review, at_s, mark_id)
    return {"text": filled(phrase.text, values), "kind": phrase.kind, "start_s": at_s}


def _where(request: HttpRequest, review: Review) -> tuple[float, int | None]:
    """The moment and the mark that are asked about; the clip's start where none is said."""
    mark = request.GET.get("mark", "")
    try:
        at_s = parse_place(request.GET.get("at_s", "0"))
    except ValueError:
        at_s = 0.0
    at_s = min(at_s, review.clip.duration_s or 0.0)
    return at_s, whole(mark)


def _values(review: Review, at_s: float, mark_id: int | None) -> dict[str, str]:
    return {
        "pupil": review.clip.enrolment.pupil.first_name,
        **values_at(judged(review), at_s, mark_id),
    }


def _place(at_s: float, mark_id: int | None) -> dict[str, str]:
    asked = {"at_s": decimal(at_s, 2)}
    return asked if mark_id is None else {**asked, "mark": str(mark_id)}
