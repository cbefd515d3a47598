"""Enclosures in what was returned, and as pages show them.

A snapshot names them and says what they are; whether one is ready to be played is asked when it
is shown, since the copy may still be made after the return.
"""

import json
from uuid import UUID

from django.urls import reverse
from django.utils.translation import gettext as _

from studio.clips import sentences
from studio.review.models import Comment, Enclosure
from studio.translating import gettext_lazy

from . import drawings

NAMES = {
    "voice": gettext_lazy("Voice reply"),
    "video": gettext_lazy("Video reply"),
    "drawing": gettext_lazy("Drawing"),
}


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
        "aspect": enclosure.info.get("aspect"),
    }


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
    drawing = said["kind"] == Enclosure.Kind.DRAWING
    failed = row is None or row.state in (Enclosure.State.FAILED, Enclosure.State.PARKED)
    if row is not None and row.duration_s is not None:  # it may have been looked at since
        said = said | {"kind": row.kind, "duration_s": row.duration_s}
    how = {"address": address, "waits": _waits(row), "failed": failed}
    return said | how | {"name": NAMES[said["kind"]]} | (_drawn(said, row) if drawing else {})


def _drawn(said: dict, row: Enclosure | None) -> dict:
    """What a drawing's picture is shown with; what is written on it is said as well."""
    written = drawings.labels(said["strokes"])
    return {
        "shapes": drawings.shapes(said["strokes"]),
        "height": round(drawings.UNITS * said["aspect"]),
        "alt": said["words"]
        + (_(" Written on it: %(written)s.") % {"written": ", ".join(written)} if written else ""),
        "json": json.dumps({"frame_s": said["frame_s"], "strokes": said["strokes"]}),
        "version": row.version if row else 0,
    }


def _waits(row: Enclosure | None) -> str:
    if row is None:
        return _("It is no longer there.")
    if row.state == Enclosure.State.READY:
        return ""
    if row.state == Enclosure.State.FAILED:
        return _("It could not be prepared. %(row)s") % {"row": sentences.failure(row)}
    if row.state == Enclosure.State.PARKED:
        return _("It is not prepared yet. %(row)s") % {"row": sentences.failure(row)}
    if row.failure_code:
        return _("It is being prepared. %(row)s") % {"row": sentences.failure(row)}
    return _("It is being prepared, and will be here within a minute or so.")
