"""A drill's page on paper, and as a MusicXML file: from the shelf, and for whom it was set."""

import logging

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from studio.notation import Score
from studio.notation.engraving import NotEngraved
from studio.notation.musicxml import to_musicxml

from . import access
from .models import DrillVersion
from .sheets import printed

log = logging.getLogger(__name__)

MUSICXML = "application/vnd.recordare.musicxml+xml"


@require_safe
def paper(request: HttpRequest, pk: int) -> HttpResponse:
    version = access.drill_for(request.user, pk).newest()
    return _paper(request, version, "teacher", ("drill", pk))


@require_safe
def musicxml(request: HttpRequest, pk: int) -> HttpResponse:
    return _file(access.drill_for(request.user, pk).newest())


@require_safe
def set_paper(request: HttpRequest, pk: int) -> HttpResponse:
    assignment = access.seen_assignment(request.user, pk)
    area = access.area_of(request.user, assignment)
    return _paper(request, assignment.version, area, ("assignment", pk))


@require_safe
def set_musicxml(request: HttpRequest, pk: int) -> HttpResponse:
    return _file(access.seen_assignment(request.user, pk).version)


def _paper(
    request: HttpRequest, version: DrillVersion, area: str, back: tuple[str, int]
) -> HttpResponse:
    score = _score(version)
    try:
        pages = printed(score)
    except NotEngraved:
        log.exception("drill version %s cannot be drawn on paper", version.pk)
        pages = []
    context = {"area": area, "version": version, "pages": pages, "back": back}
    return render(request, "drills/paper.html", context)


def _file(version: DrillVersion) -> HttpResponse:
    """The page as a file whose name says what it is."""
    score = _score(version)
    response = HttpResponse(to_musicxml(score), content_type=MUSICXML)
    plain = version.title.replace("♭", "-flat").replace("♯", "-sharp")
    name = f"{slugify(plain) or 'drill'}.musicxml"
    response["Content-Disposition"] = content_disposition_header(True, name)
    return response


def _score(version: DrillVersion) -> Score:
    """The version's page, or 404 where the drill is in words only."""
    score = version.page
    if score is None:
        raise Http404
    return score
