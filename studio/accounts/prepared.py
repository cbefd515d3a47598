"""Queries that are asked on every page, put into SQL once a day and given their values each time.

Making a query of conditions, joins and inner queries, and then its SQL, took Django more time than
the database took to answer it. Here the ORM makes it as ever, with places for what differs from
time to time, and its SQL is kept; rows become the same objects as ever.
"""

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from copy import copy
from dataclasses import dataclass
from datetime import date
from inspect import signature
from math import inf
from typing import Any
from weakref import WeakSet

from django.core.exceptions import EmptyResultSet
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.operations import BaseDatabaseOperations
from django.db.models import (
    BooleanField,
    Expression,
    F,
    Field,
    ForeignKey,
    IntegerField,
    ManyToOneRel,
    Prefetch,
    QuerySet,
    prefetch_related_objects,
)
from django.db.models.constants import LOOKUP_SEP
from django.db.models.sql.compiler import SQLCompiler
from django.utils import timezone

from .row_reading import Reader, is_watched, reader_of

_all: "WeakSet[Prepared]" = WeakSet()
MOST_SHAPES = 64  # of one query; they are few, unless somebody teaches in very many studios


class Given(Expression):
    """A value that a query is given when it is asked, such as ``Given("person", IntegerField())``.

    May stand wherever a filter takes a value, but for ``in``.
    """

    def __init__(self, name: str, output_field: Field) -> None:
        super().__init__(output_field=output_field)
        self.name = name

    def as_sql(self, compiler, connection) -> tuple[str, tuple]:
        return "%s", (self,)

    def said(self, value: Any, connection) -> tuple[str, str, list]:
        if not _held([value], self.output_field, connection):
            raise EmptyResultSet  # as Django's own filters say it
        return "", "", [self.output_field.get_db_prep_value(value, connection)]


class IsOneOf(Expression):
    """Whether a column is among the values given by this name, however many they are."""

    conditional = True

    def __init__(self, column: str, name: str) -> None:
        super().__init__(output_field=BooleanField())
        self.column: Any = F(column)
        self.name = name

    def get_source_expressions(self) -> list:
        return [self.column]

    def set_source_expressions(self, exprs: list) -> None:
        (self.column,) = exprs

    @property
    def mark(self) -> str:
        return f"(<{self.name}>)"

    def as_sql(self, compiler, connection) -> tuple[str, tuple]:
        sql, parameters = compiler.compile(self.column)
        return f"{sql} IN {self.mark}", (*parameters, self)

    def said(self, values: Iterable, connection) -> tuple[str, str, list]:
        field = self.column.output_field
        while isinstance(field, ForeignKey):
            field = field.target_field
        found = _held(list(values), field, connection)
        if not (_takes_numbers(connection) and all(type(value) is int for value in found)):
            found = [field.get_db_prep_value(value, connection) for value in found]
        return self.mark, f"({', '.join(['%s'] * len(found)) or 'NULL'})", found


def _takes_numbers(connection) -> bool:
    """Whether a whole number is handed over as it is: a list names two hundred places."""
    usual = BaseDatabaseOperations.adapt_integerfield_value
    return type(connection.ops).adapt_integerfield_value is usual


def _held(values: list, field: Field, connection) -> list:
    """Those that a row can have: an address may hold a number that is too large for any column."""
    if not isinstance(field, IntegerField):
        return values
    low, high = connection.ops.integer_field_range(field.get_internal_type())
    low, high = (-inf if low is None else low), (inf if high is None else high)
    return [value for value in values if not isinstance(value, int) or low <= value <= high]


@dataclass(frozen=True, slots=True)
class _Made:
    rows: QuerySet
    compiler: SQLCompiler
    sql: str
    parameters: tuple
    reader: Reader | None
    related: "tuple[_Related, ...] | None"

    def list_of(self, values: dict[str, Any], connection) -> list:
        sql, parameters = self.sql, []
        for parameter in self.parameters:
            if isinstance(parameter, Given | IsOneOf):
                mark, written, said = parameter.said(values[parameter.name], connection)
                sql = sql.replace(mark, written) if mark else sql
                parameters += said
            else:
                parameters.append(parameter)
        if self.reader is None or is_watched():
            return self._by_django(sql, parameters, connection)
        found = self.reader.read(sql, parameters, connection)
        if found and self.related is None:
            prefetch_related_objects(found, *self.rows._prefetch_related_lookups)
        for each in self.related or ():
            each.fetch_for(found)
        return found

    def _by_django(self, sql: str, parameters: list, connection) -> list:
        compiler = copy(self.compiler)  # it keeps what it is doing, and others may ask at once
        compiler.connection = connection
        compiler.as_sql = lambda *_, **__: (sql, tuple(parameters))  # type: ignore[method-assign]
        found = self.rows.all()
        found.query.get_compiler = lambda *_, **__: compiler  # type: ignore[method-assign]
        return list(found)


def make_all() -> None:
    """Make every query that has but one shape, so that nobody waits for it."""
    for query in list(_all):
        if not signature(query.rows).parameters:
            with suppress(EmptyResultSet):
                query.make()


class Prepared:
    """What a queryset has, as a list, without making the query anew.

    Parameters
    ----------
    rows : function of ``shape`` that gives a queryset with :class:`Given` and :class:`IsOneOf`
        Of no more than ``shape``, the settings and the date of today: a time of day has to be
        given, or it would be that of the first time.
    """

    def __init__(self, rows: Callable[..., QuerySet]) -> None:
        self.rows = rows
        self.made: dict[tuple, _Made] = {}
        _all.add(self)

    def __call__(self, *shape: Any, **values: Any) -> list:
        made = self._made(shape, timezone.localdate())
        try:
            return made.list_of(values, connections[DEFAULT_DB_ALIAS])
        except EmptyResultSet:
            return []

    def first(self, *shape: Any, **values: Any) -> Any:
        """The first of a query that asks for no more than it needs; ``None`` where it has none."""
        return next(iter(self(*shape, **values)), None)

    def make(self, *shape: Any) -> None:
        """Put it into SQL for the day, without asking it."""
        for each in self._made(shape, timezone.localdate()).related or ():
            each.ask.make()

    def _made(self, shape: tuple, today: date) -> _Made:
        # A process of the studio has one database; tests change it under the same queries.
        key, made = (today, connections[DEFAULT_DB_ALIAS].vendor, *shape), self.made
        if key not in made:
            if len(made) >= MOST_SHAPES or any(day != today for day, *_ in list(made)):
                made = self.made = {}
            rows = self.rows(*shape)
            compiler = rows.query.get_compiler(DEFAULT_DB_ALIAS)
            sql, parameters = compiler.as_sql()
            reader = reader_of(rows, compiler)
            related = _related_of(rows)
            made[key] = _Made(rows, compiler, sql, tuple(parameters), reader, related)
        return made[key]


class _Related:
    """One ``prefetch_related`` of what names a row (``stages``), asked by a query that is kept.

    ``way`` leads to the objects whose rows they are (``review``, ``clip``); ``rows`` are those
    asked for, where ``Prefetch`` says which.
    """

    def __init__(self, way: Sequence[str], relation: ManyToOneRel, rows: QuerySet | None) -> None:
        self.way, self.rows = tuple(way), rows
        self.name, self.field = relation.get_accessor_name(), relation.field
        self.kept_as = relation.cache_name
        every = relation.related_model._default_manager.all() if rows is None else rows
        self.ask = Prepared(lambda: every.filter(IsOneOf(relation.field.name, "of")))

    def fetch_for(self, found: Iterable) -> None:
        owners = [owner for one in found if (owner := self._owner(one)) is not None]
        if not owners:
            return
        keys = {owner.pk: owner for owner in owners}
        theirs: dict[Any, list] = {key: [] for key in keys}
        for row in self.ask(of=keys):
            key = getattr(row, self.field.attname)
            self.field.set_cached_value(row, keys[key])
            theirs[key].append(row)
        for owner in owners:
            self._keep(owner, theirs[owner.pk])

    def _owner(self, one: Any) -> Any:
        for name in self.way:
            one = one and getattr(one, name)
        return one

    def _keep(self, owner: Any, rows: list) -> None:
        """As ``prefetch_related`` keeps them."""
        manager = getattr(owner, self.name)
        if self.rows is None:
            every = manager.get_queryset()
        else:
            every = manager._apply_rel_filters(self.rows)
        every._result_cache, every._prefetch_done = rows, True
        owner.__dict__.setdefault("_prefetched_objects_cache", {})[self.kept_as] = every


def _related_of(rows: QuerySet) -> tuple[_Related, ...] | None:
    """What is fetched beside these rows; ``None`` where it is of a kind that Django has to ask."""
    found = [_related(rows, lookup) for lookup in rows._prefetch_related_lookups]
    return None if None in found else tuple(each for each in found if each)


def _related(rows: QuerySet, lookup: "str | Prefetch") -> _Related | None:
    asked = lookup if isinstance(lookup, Prefetch) else Prefetch(lookup)
    *way, last = asked.prefetch_through.split(LOOKUP_SEP)
    model, joined = rows.model, rows.query.select_related
    for name in way:
        if not isinstance(joined, dict) or name not in joined:
            return None
        model, joined = model._meta.get_field(name).related_model, joined[name]
    relation = model._meta.get_field(last)
    plain = type(relation) is ManyToOneRel and relation.field.target_field.primary_key
    if not plain or asked.to_attr is not None:
        return None
    return _Related(way, relation, asked.queryset)
