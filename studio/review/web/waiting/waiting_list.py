"""The teacher's list of clips that wait for an answer: in the order chosen, what is late said.

The order and the filters are plain addresses; the order is remembered, because the desk's "next
clip" follows it.
"""

from collections.abc import Callable, Sequence
from datetime import timedelta
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from studio import figures
from studio.accounts import access as people
from studio.accounts.models import Person
from studio.clips.models import Stage
from studio.clips.processing import availability
from studio.review import access
from studio.review.models import Review
from studio.review.waiting import queries
from studio.review.web.shared import clip_states
from studio.review.web.shared.order import ORDER_KEPT, ORDERS, order_of
from studio.translating import gettext_lazy

from .rows import Waiting, with_forms
from .triage import LONGEST_REST

# (a wait of at least, its heading); chosen for weekly lessons
AGES = (
    (timedelta(days=7), gettext_lazy("A week or more")),
    (timedelta(days=3), gettext_lazy("Three days or more")),
    (timedelta(days=1), gettext_lazy("A day or more")),
    (timedelta(0), gettext_lazy("Less than a day")),
)
ROWS_SHOWN = 40  # a page that is read from the top; more on request
MOST_ROWS = 99_999
WHOSE = {
    "all": gettext_lazy("Everybody's"),
    "mine": gettext_lazy("Mine"),
    "nobody": gettext_lazy("Nobody's yet"),
}


@require_safe
def waiting_list(request: HttpRequest) -> HttpResponse:
    studios = people.taught_studios(request.user)
    if not studios:
        raise Http404
    chosen, today = _chosen(request), timezone.localdate()
    places = people.places_to_hear(request.user)
    waits = queries.waits_by_place(places, studios)
    found = _found(request.user, places, chosen)
    more = len(found) > chosen["rows"]
    promised = {studio.pk: timedelta(days=studio.answer_within_days) for studio in studios}
    stages = queries.stages(found)
    rows = [
        _row(request, review, stages[review.clip_id], promised)
        for review in found[: chosen["rows"]]
    ]
    context = {
        "area": "teacher",
        "chosen": chosen,
        **access.in_figures(waits),
        "pupils": _pupils(waits),
        "orders": [(name, words, _link(chosen, order=name)) for name, words in ORDERS.items()],
        "whose": [(name, words, _link(chosen, whose=name)) for name, words in WHOSE.items()],
        "colleagues": _colleagues(request.user),
        "more": _link(chosen, rows=chosen["rows"] + ROWS_SHOWN) if more else "",
        "absence": availability.watch(),
        "moving": clip_states.any_moving(row.place for row in rows),
        "in_batch": queries.in_the_batch(request.user, places),
        "withheld": [] if request.htmx else queries.withheld(places, studios),
        "pending": queries.pending_returns(request.user),
        "questions": [] if request.htmx else access.questions_waiting(request.user),
        "back": request.get_full_path(),
        "rest": (today + timedelta(days=1), today + LONGEST_REST),
    }
    context["groups"] = _groups(with_forms(request, rows, context), chosen["order"])
    part = "review/waiting_rows.html" if request.htmx else "review/waiting.html"
    response = render(request, part, context)
    patch_vary_headers(response, ["HX-Request"])
    return response


def _chosen(request: HttpRequest) -> dict:
    """What the address asks for, and the order that was kept where it names none."""
    asked, rows = request.GET, request.GET.get("rows", "")
    order = asked.get("order", "")
    if order in ORDERS:
        request.session[ORDER_KEPT] = order
    whose = asked.get("whose", "all")
    return {
        "order": order if order in ORDERS else order_of(request),
        "whose": whose if whose in WHOSE else "all",
        "pupil": asked.get("pupil", ""),
        "snoozed": asked.get("snoozed") == "1",
        "rows": max(ROWS_SHOWN, figures.whole(rows, high=MOST_ROWS) or 0),
    }


def _link(chosen: dict, **other) -> str:
    said = {**chosen, **other}
    usual = {"whose": "all", "pupil": "", "snoozed": False, "rows": ROWS_SHOWN}
    kept = {name: value for name, value in said.items() if usual.get(name) != value}
    return "?" + urlencode({name: 1 if value is True else value for name, value in kept.items()})


def _found(teacher: Person, places: Sequence[int], chosen: dict) -> list[Review]:
    """The rows that were asked for, and one more where there is more."""
    if (place := figures.whole(chosen["pupil"])) is not None:
        places = [place] if place in places else []
    said = {"resting": chosen["snoozed"], "whose": chosen["whose"]}
    return queries.rows(teacher, places, chosen["order"], chosen["rows"] + 1, **said)


def _row(
    request: HttpRequest, review: Review, stages: list[Stage], promised: dict[int, timedelta]
) -> Waiting:
    clip = review.clip
    waited = max(timezone.now() - clip.created_at, timedelta(0))
    mine = review.taken_by_id == request.user.pk
    return Waiting(
        review, clip_states.of(clip, stages), waited, mine, promised[clip.enrolment.studio_id]
    )


def _by_age(row: Waiting) -> str:
    return next(heading for least, heading in AGES if row.waited >= least)


def _by_drill(row: Waiting) -> str:
    answers = row.review.answers
    return f"“{answers.version.title}”" if answers else _("No drill")


HEADINGS: dict[str, Callable[[Waiting], str]] = {
    "wait": _by_age,
    "pupil": lambda row: row.review.clip.enrolment.pupil.name,
    "drill": _by_drill,
    "length": lambda row: _("The shortest first"),
    "found": lambda row: _("The most marks first"),
}


def _groups(rows: Sequence[Waiting], order: str) -> list[tuple[str, list[Waiting]]]:
    """Rows under the heading of their order; the order of the rows is kept."""
    groups: dict[str, list[Waiting]] = {}
    for row in rows:
        groups.setdefault(HEADINGS[order](row), []).append(row)
    return list(groups.items())


def _pupils(waits: Sequence[access.WaitOfPlace]) -> list[tuple[str, str, int]]:
    """Whose clips wait, and how many of each, by name: the place's number, the name, how many."""
    return [(str(place.enrolment), place.pupil, place.total) for place in waits if place.total]


def _colleagues(teacher: Person) -> list[tuple[int, Person]]:
    """To whom a clip can be handed over, with the studio, for a teacher of several."""
    return [(held.studio_id, held.person) for held in people.colleagues(teacher)]
