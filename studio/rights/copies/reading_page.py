"""The page that reads a copy from a disk: plain HTML, without a server or a line.

A page from a disk may load neither modules nor captions of its own folder: browsers give it an
opaque origin. So captions stand in the page itself, and its script is a classic one; without any
script each moment is a link to the recording at its time.
"""

from django.template.loader import render_to_string
from django.utils import timezone

from studio.accounts.models import Person
from studio.rights.access import Scope

from . import lessons
from .archive import Archive
from .consents import Agreed
from .records import Table

PAGE = "index.html"


def write(
    archive: Archive,
    scope: Scope,
    asked_by: Person,
    clips: list[lessons.Shown],
    drills: list[dict],
    consents: list[Agreed],
    tables: list[Table],
) -> None:
    """Write the page, its style and its script."""
    said = {
        "scope": scope,
        "asked_by": asked_by,
        "made_at": timezone.now(),
        "clips": clips,
        "drills": drills,
        "consents": consents,
        "tables": tables,
        "left_out": archive.left_out,
        "schema": lessons.SCHEMA_FILE,
    }
    archive.text(PAGE, render_to_string("rights/copy/index.html", said))
    for name in ("page.css", "page.js"):
        archive.text(name, render_to_string(f"rights/copy/{name}"))
