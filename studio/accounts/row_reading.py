"""Rows of a prepared query as what the ORM makes of them, with the way there worked out once.

Whose a column is, how it is read and what was left out Django asks anew of every query, and much
of it of every row. Here the answers are kept with the query; the fields of an object are put in as
they came. What does something of its own on the way (a model with its own ``from_db``, a field
with its own descriptor, somebody who listens to objects being made) is left to Django.
"""

import inspect
from collections.abc import Callable, Iterable, Sequence
from itertools import repeat
from typing import Any
from weakref import WeakKeyDictionary

from django.db import DEFAULT_DB_ALIAS
from django.db.models import Model, QuerySet
from django.db.models.base import ModelState
from django.db.models.fields.related_descriptors import ForeignKeyDeferredAttribute
from django.db.models.query import (
    FlatValuesListIterable,
    ModelIterable,
    ValuesIterable,
    ValuesListIterable,
)
from django.db.models.query_utils import DeferredAttribute
from django.db.models.signals import post_init, pre_init
from django.db.models.sql.compiler import SQLCompiler

Row = Sequence[Any]
Make = Callable[[Row], Any]
PLAIN = (DeferredAttribute, ForeignKeyDeferredAttribute)


class Reader:
    """Reads the rows of one query, whose compiler has put it into SQL already."""

    def __init__(self, make: Make, compiler: SQLCompiler) -> None:
        self._make, self._compiler = make, compiler
        self._converters: WeakKeyDictionary = WeakKeyDictionary()  # a connection has its own

    def read(self, sql: str, parameters: Sequence, connection) -> list:
        """All rows that this SQL finds."""
        with connection.cursor() as cursor:
            cursor.execute(sql, parameters)
            rows = cursor.fetchall()
        return [*map(self._make, self._converted(rows, connection))] if rows else []

    def _converted(self, rows: list[Row], connection) -> Iterable[Row]:
        """Values as Python has them; a column at a time, since few need anything."""
        converters = self._converters.get(connection)
        if converters is None:
            converters = self._converters[connection] = self._found(connection)
        if not converters:
            return rows
        columns = list(zip(*rows, strict=True))
        for at, (convert, expression) in converters.items():
            for each in convert:
                columns[at] = tuple(map(each, columns[at], repeat(expression), repeat(connection)))
        return zip(*columns, strict=True)

    def _found(self, connection) -> dict:
        asked = self._compiler.__class__(self._compiler.query, connection, DEFAULT_DB_ALIAS)
        columns = self._compiler.select[: self._compiler.col_count]
        return asked.get_converters([expression for expression, *_ in columns])


def reader_of(rows: QuerySet, compiler: SQLCompiler) -> Reader | None:
    """How a query's rows are read; ``None`` where Django has to do it each time."""
    selected = [expression for expression, *_ in compiler.select]
    if compiler.has_composite_fields(selected):
        return None
    make = _MAKES.get(rows._iterable_class, lambda *_: None)(rows, compiler)
    return Reader(make, compiler) if make else None


def is_watched() -> bool:
    """Whether somebody listens to objects being made: then Django makes them."""
    return bool(pre_init.receivers or post_init.receivers)


def _tuples(rows: QuerySet, compiler: SQLCompiler) -> Make:
    many = compiler.col_count
    return lambda row: tuple(row[:many])


def _values(rows: QuerySet, compiler: SQLCompiler) -> Make:
    query = rows.query
    usual = (*query.extra_select, *query.values_select, *query.annotation_select)
    names = tuple(query.selected or usual)
    return lambda row: dict(zip(names, row, strict=False))


def _objects(rows: QuerySet, compiler: SQLCompiler) -> Make | None:
    info = compiler.klass_info
    if rows._known_related_objects or info is None or not _is_plain(info):
        return None
    make = _maker(info, compiler.select)
    annotations = tuple((compiler.annotation_col_map or {}).items())
    if not annotations:
        return make

    def annotated(row: Row) -> Model:
        one = make(row)
        for name, at in annotations:
            setattr(one, name, row[at])
        return one

    return annotated


_MAKES: dict[type, Callable[[QuerySet, SQLCompiler], Make | None]] = {
    ModelIterable: _objects,
    ValuesIterable: _values,
    ValuesListIterable: _tuples,
    FlatValuesListIterable: lambda rows, compiler: lambda row: row[0],
}


def _is_plain(info: dict) -> bool:
    """Whether making an object is no more than putting its fields in, and so for what it names."""
    model = info["model"]
    return (
        not info.get("from_parent")
        and model.__init__ is Model.__init__
        and model.from_db.__func__ is Model.from_db.__func__  # type: ignore[attr-defined]
        and all(
            type(inspect.getattr_static(model, field.attname)) in PLAIN
            for field in model._meta.concrete_fields
        )
        and all(map(_is_plain, info.get("related_klass_infos", ())))
    )


def _maker(info: dict, select: Sequence) -> Make:
    model, places = info["model"], info["select_fields"]
    begin, end = places[0], places[-1] + 1
    names = tuple(column[0].target.attname for column in select[begin:end])
    related = tuple(_linker(each, select) for each in info.get("related_klass_infos", ()))
    new = model.__new__

    def make(row: Row) -> Model:
        one = new(model)
        state = ModelState()
        state.adding, state.db = False, DEFAULT_DB_ALIAS
        fields = one.__dict__
        fields["_state"] = state
        fields.update(zip(names, row[begin:end], strict=True))
        for link in related:
            link(row, one)
        return one

    return make


def _linker(info: dict, select: Sequence) -> Callable[[Row, Model], None]:
    """Makes the object that another names (``select_related``), and ties both together."""
    make, key = _maker(info, select), info["model"]._meta.pk.attname
    found = (at for at in info["select_fields"] if select[at][0].target.attname == key)
    key_at, tie, tie_back = next(found), info["local_setter"], info["remote_setter"]

    def link(row: Row, one: Model) -> None:
        if row[key_at] is None:
            tie(one, None)
            return
        other = make(row)
        tie(one, other)
        tie_back(other, one)

    return link
