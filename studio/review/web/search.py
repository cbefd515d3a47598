"""Words looked for in everything of a teacher's studio."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from studio.accounts import access as people
from studio.review.history import search as searching

LONGEST = 100  # letters


@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """What is found, of each kind the newest few; without words, the field alone."""
    people.teaching_studio(request.user)
    wanted = " ".join(request.GET.get("q", "").split())[:LONGEST]
    words = searching.words_in(wanted)
    context = {
        "area": "teacher",
        "wanted": wanted,
        "found": searching.search(request.user, words) if words else None,
        "least": searching.LEAST_LETTERS,
    }
    return render(request, "review/search.html", context)
