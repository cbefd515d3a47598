"""Enclosures in what was returned, and as pages show them.

A snapshot names them and says what they are; whether one is ready to be played is asked when it
is shown, since the copy may still be made after the return.
"""

from uuid import UUID

from django.urls import reverse

from studio.clips import sentences
from studio.review.models import Comment, Enclosure

NAMES = {"voice": "Voice reply", "video": "Video reply", "drawing": "Drawing"}


def of(comment: Comment) -> list[dict]:
    """What goes with a comment, frozen."""
    return [frozen(enclosure) for enclosure in comment.enclosures.all()]


def frozen(enclosure: Enclosure) -> dict:
    return {
        "id": str(enclosure.pk),
        "kind": enclosure.kind,
        "duration_s": enclosure.duration_s,
        "words": enclosure.words,
        "frame_s": enclosure.frame_s,
        "strokes": enclosure.strokes,
    }


def enclosed_in(snapshot: dict) -> set[str]:
    """The ids of all that a snapshot encloses."""
    return {each["id"] for moment in snapshot["moments"] for each in moment.get("enclosures", ())}


def shown_of(comment: Comment, clip_id: UUID) -> list[dict]:
    """A comment's enclosures as a page shows them."""
    return [_shown(frozen(each), each, clip_id) for each in comment.enclosures.all()]


def with_states(moments: list[dict], clip_id: UUID) -> list[dict]:
    """Moments of a snapshot whose enclosures say how they stand now."""
    ids = {each["id"] for moment in moments for each in moment.get("enclosures", ())}
    rows = {str(row.pk): row for row in Enclosure.objects.filter(pk__in=ids)} if ids else {}
    return [
        moment
        | {
            "enclosures": [
                _shown(each, rows.get(each["id"]), clip_id) for each in moment.get("enclosures", ())
            ]
        }
        for moment in moments
    ]


def _shown(said: dict, row: Enclosure | None, clip_id: UUID) -> dict:
    """``address`` where it can be played, else ``waits`` with a sentence that says why not.

    ``failed`` where waiting is no use.
    """
    ready = row is not None and row.state == Enclosure.State.READY
    address = reverse("enclosure", args=(clip_id, said["id"])) if ready else ""
    failed = row is None or row.state == Enclosure.State.FAILED
    how = {"address": address, "waits": _waits(row), "failed": failed}
    return said | how | {"name": NAMES[said["kind"]]}


def _waits(row: Enclosure | None) -> str:
    if row is None:
        return "It is no longer there."
    if row.state == Enclosure.State.READY:
        return ""
    if row.state == Enclosure.State.FAILED:
        why = sentences.sentence(row.failure_code, row.failure_params)
        return f"It could not be prepared. {why}"
    return "It is being prepared, and can be played within a minute or so."
