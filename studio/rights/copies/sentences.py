"""Why a copy could not be made, for who asked."""

from studio.jobs.rows import Leased
from studio.translating import gettext_lazy

from .models import Copy

OURS = gettext_lazy(
    "Something went wrong on our side while the copy was made. Nothing of what is kept was lost."
)
FAMILIAR = {
    "disk_full": gettext_lazy("There is no room on the studio’s disk for the copy just now."),
    "not_asked": gettext_lazy("You no longer decide about this, so the copy was not made."),
}
AGAIN = gettext_lazy("It is tried again by itself.")
LOOKED_AT = gettext_lazy(
    "Whoever looks after the server has been asked to look at it. You can also ask anew."
)


def failure(copy: Copy) -> str:
    """What went wrong and what comes next; empty while all is well."""
    if not copy.failure_code:
        return ""
    said = FAMILIAR.get(copy.failure_code, OURS)
    if copy.state == Leased.FAILED:
        return said
    return f"{said} {LOOKED_AT if copy.state == Leased.PARKED else AGAIN}"
