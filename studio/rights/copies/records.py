"""Every registered table's rows of a person, as one JSON document, and as tables for the page.

A table that is built later is in the copy by itself, once it has answered
(:mod:`studio.accounts.personal_data`). Rows are read and written one by one.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from studio.accounts import personal_data
from studio.accounts.personal_data import Entry, Withheld
from studio.rights.access import Scope

from .archive import Archive

RECORDS = "records.json"
SHOWN = 200  # rows of a table on the page; all of them are in the document
AT_ONCE = 20
LONG = 400  # characters


@dataclass(slots=True)
class Table:
    """A table as the page shows it."""

    title: str
    kept: str
    columns: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)
    count: int = 0


def entries_of(scope: Scope) -> list[Entry]:
    """The tables that have to do with a scope: of lessons, or of an account."""
    return [entry for entry in personal_data.entries() if _belongs(entry, scope)]


def rows_of(entry: Entry, scope: Scope) -> QuerySet:
    """The rows of a table that go into the copy."""
    studio = scope.studio if entry.studio else None
    return entry.exported(scope.person, studio).order_by("pk")


def write(archive: Archive, scope: Scope) -> list[Table]:
    """Write the document; what the page shows of it. What is not in it is noted."""
    shown: list[Table] = []
    archive.stream(RECORDS, _document(scope, shown))
    for why, names in _left_out(scope).items():
        archive.leave_out(", ".join(names), why)
    return [table for table in shown if table.count]


def _left_out(scope: Scope) -> dict[str, list[str]]:
    """The names of tables by why they, or some of their rows, are not in the copy."""
    found: dict[str, list[str]] = {}
    for entry in entries_of(scope):
        every = entry.of(scope.person, scope.studio if entry.studio else None)
        if isinstance(entry.export, Withheld):
            if every.exists():
                found.setdefault(str(entry.export.reason), []).append(_title(entry))
        elif every.count() > rows_of(entry, scope).count():
            found.setdefault(str(entry.export.but), []).append(
                _("Some %(rows)s") % {"rows": _title(entry).lower()}
            )
    return found


def _belongs(entry: Entry, scope: Scope) -> bool:
    if scope.studio is None:
        return not entry.lessons
    return bool(entry.studio) or getattr(entry.export, "with_lessons", False)


def _title(entry: Entry) -> str:
    name = str(entry.model._meta.verbose_name_plural)
    return name[:1].upper() + name[1:]


def _document(scope: Scope, shown: list[Table]) -> Iterator[bytes]:
    yield b'{\n"tables": {'
    for number, entry in enumerate(entries_of(scope)):
        yield f"{',' if number else ''}\n{json.dumps(entry.model._meta.label)}: ".encode()
        yield from _table(entry, scope, shown)
    yield b"\n}\n}\n"


def _table(entry: Entry, scope: Scope, shown: list[Table]) -> Iterator[bytes]:
    if isinstance(entry.export, Withheld):
        yield _plain({"kept": str(entry.kept.label), "withheld": str(entry.export.reason)})
        return
    table = Table(_title(entry), str(entry.kept.label))
    shown.append(table)
    yield _plain({"kept": str(entry.kept.label)})[:-1] + b', "rows": ['
    for row in rows_of(entry, scope).iterator(chunk_size=AT_ONCE):
        exported = entry.export.row(row)
        yield (b",\n" if table.count else b"\n") + _plain(exported)
        _show(table, exported)
    yield b"]}"


def _plain(value: dict) -> bytes:
    return json.dumps(value, ensure_ascii=False).encode()


def _show(table: Table, plain: dict) -> None:
    table.count += 1
    table.columns = table.columns or [_words(name) for name in plain]
    if table.count <= SHOWN:
        table.rows.append([_value(value) for value in plain.values()])


def _words(name: str) -> str:
    return name.replace("__", " ").replace("_", " ")


def _value(value: object) -> str:
    """What a person reads of a value; what is long stands in the document."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | dict):
        return f"in {RECORDS}" if value else ""
    text = str(value)
    return (
        text
        if len(text) <= LONG
        else _("%(text)s … (whole in %(records)s)") % {"text": text[:LONG], "records": RECORDS}
    )
