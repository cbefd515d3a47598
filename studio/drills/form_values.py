"""A request as the values of the form that asks for it, and as an address that fills that form."""

from typing import Any
from urllib.parse import urlencode

from studio import figures
from studio.accounts.models import Enrolment
from studio.notation import Request
from studio.notation.pairs import in_words

LATER = (  # whose usual value stands where an address says nothing of them
    *("resolution", "chord", "parts", "string", "rhythm", "slur", "first_bow", "stroke"),
    *("highest_position", "start", "fingering"),
)


def asked_by(request: Request) -> dict[str, Any]:
    """A request as the values of the form's fields."""
    plain = request.to_dict() | {name: getattr(request, name) for name in LATER}
    plain["mixed"] = "-".join(request.mixed)
    plain["key"] = request.spelled_key.written
    plain["strings"] = "-".join(str(number) for number in request.strings or ())
    plain["string_length_mm"] = figures.number(request.length_mm)
    plain["hold_s"] = "" if request.hold_s is None else figures.number(request.hold_s, 2)
    for name in ("open_strings", "fingers_down"):
        plain[name] = "on" if getattr(request, name) else ""
    plain["pairs"] = in_words(request.double_stops)
    return plain


def query_of(request: Request, pupil: Enrolment | None = None, **more: str) -> str:
    """The query string that fills the form with a request."""
    plain = asked_by(request) | more | {"pupil": pupil.pk if pupil else ""}
    return urlencode({name: value for name, value in plain.items() if value != ""})
