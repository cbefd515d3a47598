"""The teacher's list of clips that wait for an answer, longest wait first."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from studio.accounts import access as people
from studio.review import access
from studio.review.models import Review

from . import states

# (a wait of at least, its heading); chosen for weekly lessons
AGES = (
    (timedelta(days=7), "A week or more"),
    (timedelta(days=3), "Three days or more"),
    (timedelta(days=1), "A day or more"),
    (timedelta(0), "Less than a day"),
)
LONG_WAIT = timedelta(days=14)  # the line under a wait is full from here on


@dataclass(frozen=True, slots=True)
class Waiting:
    """One row: the review, where its clip is, and its wait as a part of a long wait (0 to 100)."""

    review: Review
    place: states.Whereabouts
    waited: timedelta

    @property
    def percent(self) -> int:
        return min(100, max(2, round(100 * (self.waited / LONG_WAIT))))

    @property
    def listening(self) -> states.Step | None:
        return next((step for step in self.place.steps if step.kind == "listening"), None)


@require_safe
def waiting_list(request: HttpRequest) -> HttpResponse:
    people.teaching_studio(request.user)
    rows = [_row(review) for review in access.waiting_for(request.user)]
    chosen = request.GET.get("pupil", "")
    shown = [row for row in rows if chosen in ("", str(row.review.clip.enrolment_id))]
    context = {
        "area": "teacher",
        "rows": rows,
        "shown": len(shown),
        "pupils": _pupils(rows),
        "chosen": chosen,
        "groups": _groups(shown),
        "moving": states.any_moving(row.place for row in shown),
    }
    part = "review/waiting_rows.html" if request.htmx else "review/waiting.html"
    response = render(request, part, context)
    patch_vary_headers(response, ["HX-Request"])
    return response


def _row(review: Review) -> Waiting:
    waited = max(timezone.now() - review.clip.created_at, timedelta(0))
    return Waiting(review, states.of(review.clip), waited)


def _groups(rows: Iterable[Waiting]) -> list[tuple[str, list[Waiting]]]:
    """Rows under the heading of their wait; the order of the rows is kept."""
    groups: dict[str, list[Waiting]] = {}
    for row in rows:
        heading = next(heading for least, heading in AGES if row.waited >= least)
        groups.setdefault(heading, []).append(row)
    return list(groups.items())


def _pupils(rows: Iterable[Waiting]) -> list[dict]:
    """Whose clips wait, and how many of each, by name."""
    found: dict[int, dict] = {}
    for row in rows:
        enrolment = row.review.clip.enrolment
        entry = found.setdefault(
            enrolment.pk, {"pk": str(enrolment.pk), "name": enrolment.pupil.name, "count": 0}
        )
        entry["count"] += 1
    return sorted(found.values(), key=lambda entry: entry["name"])
