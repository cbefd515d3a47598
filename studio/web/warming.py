"""What the first pages of a process would load, loaded before there are processes.

gunicorn loads the program once and forks: what is known by then, all share. Templates that are read
and compiled at their first use, and queries that are put into SQL then, made the first page of each
kind in each process take five times as long as the next.
"""

from collections.abc import Iterator
from pathlib import Path

from django.db import connections
from django.forms.renderers import get_default_renderer
from django.template import engines
from django.urls import get_resolver

from studio.accounts import compiled, prepared

PAGES = "*.html"
OF_FIELDS = "django/forms/"


def warm() -> None:
    """Load addresses, templates and queries; no connection to the database is left open."""
    _ = get_resolver().reverse_dict
    pages = engines["django"]
    for name in _names(pages.template_dirs):
        pages.get_template(name)
    rows = engines[compiled.ENGINE].env
    for name in rows.list_templates(extensions=["html"]):
        rows.get_template(name)
    fields = get_default_renderer().engine.env
    for name in fields.list_templates(filter_func=_of_fields):
        fields.get_template(name)
    prepared.make_all()
    connections.close_all()


def _names(folders: tuple[Path, ...]) -> Iterator[str]:
    for folder in map(Path, folders):
        for path in sorted(folder.rglob(PAGES)):
            yield path.relative_to(folder).as_posix()


def _of_fields(name: str) -> bool:
    return name.startswith(OF_FIELDS) and name.endswith(".html")
