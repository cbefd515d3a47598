"""How right the marks were: the teacher's page of measured precision."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from studio.accounts import access as people
from studio.review.marks.precision import FEW, measured


@require_safe
def precision(request: HttpRequest) -> HttpResponse:
    studio = people.teaching_studio(request.user)
    context = {"area": "teacher", "studio": studio, "rows": measured(studio), "few": FEW}
    return render(request, "review/precision.html", context)
