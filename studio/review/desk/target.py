"""What a double stop should have sounded like: the target, at the pitch that was played.

``GET /clips/<uuid>/desk/target/<event>.json`` answers what it is called and both
notes in Hz: ``{"name": "octave D5–D6", "hz": [587.3, 1174.7]}``. The note that need not move stays
where it was heard; the other stands at the target's distance from it.
"""

from django.http import Http404, HttpRequest, JsonResponse
from django.views.decorators.http import require_GET

from studio.review.judging import Judged, judged
from studio.review.models import Review
from studio.theory import Interval

from . import words
from .exchanges import on_desk


@require_GET
@on_desk
def target(request: HttpRequest, review: Review, event: int) -> JsonResponse:
    """The two frequencies in Hz; 404 where there is no agreed target."""
    found = judged(review)
    answer = target_of(found, event) if found else None
    if answer is None:
        raise Http404
    return JsonResponse(answer)


def target_of(judged: Judged, event: int) -> dict | None:
    """The target of an event, ``None`` where nothing was measured or the size has no target."""
    row = next((row for row in judged.judgement["intervals"] if row["event"] == event), None)
    heard = next((heard for heard in judged.measurement["events"] if heard["id"] == event), None)
    if row is None or heard is None or row["target_cents"] is None:
        return None
    low, high = (heard["voices"][row[which]]["f0_hz"] for which in ("low", "high"))
    if low is None or high is None:
        return None
    ratio = 2 ** (row["target_cents"] / 1200)
    mark = next((mark for mark in judged.judgement["marks"] if event in mark["events"]), None)
    lower_moves = mark is not None and mark["voice"] is not None and mark["voice"] == row["low"]
    hz = [high / ratio, high] if lower_moves else [low, low * ratio]
    return {"name": _name(row, heard), "hz": [round(f, 3) for f in hz]}


def _name(row: dict, heard: dict) -> str:
    """The interval and its two notes, as the ledger has them."""
    notes = (row.get(f"{w}_pitch") or heard["voices"][row[w]]["pitch"] for w in ("low", "high"))
    return f"{Interval.parse(row['short']).everyday} {'–'.join(map(words.pitch, notes))}"
