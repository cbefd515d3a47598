"""A second press on "End": it has ended, and the page says so instead of "nothing here"."""

from collections.abc import Callable
from functools import wraps

from django.contrib import messages
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect

from studio import figures

from . import access


def says_that_it_ended(model: type[Model], words: str, **only: object) -> Callable:
    """For a view that ends a row of the teacher's own studio. ``words`` may name its fields."""

    def decorate(view: Callable[[HttpRequest, int], HttpResponse]) -> Callable:
        @wraps(view)
        def answered(request: HttpRequest, pk: int) -> HttpResponse:
            try:
                return view(request, pk)
            except Http404:
                row = access.ended_in_own_studio(request.user, model, pk, **only)
                if row is None:
                    raise
            on = figures.long_date(row.ended_on)
            messages.info(request, words.format(row=row, on=on))
            return redirect("people")

        return answered

    return decorate
