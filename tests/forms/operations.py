"""The forms of studio.operations."""

from studio.clips.models import Stage

from .form import OK_MESSAGE, WARNED, Form
from .rows import Rows


def _tried_already(rows: Rows) -> None:
    Stage.objects.filter(state="failed").update(state="waiting")


FORMS = {
    "operator_try_again": [
        Form(
            who="operator",
            at="operator",
            which=which,
            meanwhile=_tried_already,
            status=302,
            wrong=WARNED,
            seen=OK_MESSAGE,
        )
        for which in (":not(.one)", ".one")
    ]
}
