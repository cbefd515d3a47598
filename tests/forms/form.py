"""How a form is tried in a browser: once with what it takes, and once with what it refuses."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from playwright.sync_api import Page

from studio.accounts.models import OpenSession

from .rows import Rows

# What tells somebody that it went wrong. Selectors, so that sentences may be reworded.
WRONG = "main .error, main [role=alert]"
SAID = "#said:not(:empty)"  # the desk's status line
WARNED = ".messages .warning"
GONE = "main a.button[href='/']"  # the page of what is not there leads to one's first page
LOG_IN = ".door:has(input[name=password])"
OK_MESSAGE = ".messages .success"

# What is typed, ticked (``True``), or known only once there are rows.
Typed = str | bool | Callable[[Rows], str]


@dataclass(frozen=True, kw_only=True)
class Form:
    """One form: whose browser, where it stands, what is typed and what is seen afterwards.

    ``at`` is the name of the page's address, perhaps with a query; of several forms that post to
    one address ``which`` is a selector for the one. Without a ``button`` the form's first is
    pressed. ``before`` unfolds it; ``by_script`` presses what no form's button does. Fields are
    named as they are posted; one that is not in sight, or offers no such choice, is forged.

    What is refused is either ``bad``, typed in place of some of ``good``, or follows from what
    somebody else does ``meanwhile``, after the page was opened. What was typed must stand there
    still. ``status`` is the refusal's; ``wrong`` a selector for what says so. 0 is for what the
    browser itself does not send, and says why.
    """

    who: str
    at: str
    seen: str
    which: str = ""
    button: str = ""
    good: Mapping[str, Typed] = field(default_factory=dict)
    bad: Mapping[str, Typed] = field(default_factory=dict)
    meanwhile: Callable[[Rows], object] | None = None
    before: Callable[[Page], object] | None = None
    by_script: Callable[[Page], object] | None = None
    bad_by_script: Callable[[Page], object] | None = None
    args: Callable[[Rows], dict] | None = None  # of the address, where the world's are not meant
    status: int = 422
    wrong: str = WRONG
    scripts: bool = True

    @property
    def is_refused(self) -> bool:
        """Whether it says how the form is refused."""
        return bool(self.bad or self.meanwhile or self.bad_by_script)


def logged_out(rows: Rows | None) -> None:
    """Every session has ended since the page was opened."""
    OpenSession.objects.all().delete()
