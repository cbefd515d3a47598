"""What there is to translate, and what is said without: of templates, Python and scripts.

Nothing here is used while the studio runs: ``python -m studio makemessages`` collects with it, and
``tests/test_translated.py`` holds every file against it.
"""

from pathlib import Path

from .found import Found, Message
from .of_python import of_python
from .of_scripts import of_scripts
from .of_templates import of_compiled, of_templates

STUDIO = Path(__file__).parents[1]
READERS = {
    "templates": ("*.html", of_templates),
    "jinja2": ("*.html", of_compiled),
    "static": ("*.js", of_scripts),
    ".": ("*.py", of_python),
}

__all__ = ["Found", "Message", "files", "read"]


def files() -> dict[str, Path]:
    """Every file that may say something, by its path below ``studio/``."""
    found = {}
    for folder, (pattern, _) in READERS.items():
        for path in sorted((STUDIO / folder).rglob(pattern)):
            name = path.relative_to(STUDIO)
            if not {"vendor", "migrations", "catalogue"} & set(name.parts):
                found[name.as_posix()] = path
    return found


def read(name: str) -> Found:
    """What a file has to translate, and what it says to a reader without."""
    reader = READERS.get(name.split("/")[0], READERS["."])[1]
    return reader((STUDIO / name).read_text())
