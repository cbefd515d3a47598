"""Conditions on related rows that are asked in nearly every query, put into words once a day.

``Exists`` with further ``Exists`` inside is taken apart, copied and put together anew by Django
each time that a query with it is made, which cost more than all the queries of a page. Here the
inner query is made by the ORM as ever, but its SQL is kept, and only the outer columns are put in.
"""

import re
from collections.abc import Callable
from datetime import date
from functools import lru_cache
from typing import Any

from django.db import connections
from django.db.models import BooleanField, Exists, Expression, F, QuerySet
from django.db.models.expressions import RawSQL
from django.utils import timezone

ALIAS = re.compile(r"\b([T-Z]\d+)\b")  # what Django calls the tables of inner queries
OWN = "held_"  # so that none of them is taken for a table of the outer query


class Condition(Expression):
    """Whether ``rows(*about)`` has a row whose fields equal columns of the outer query.

    Parameters
    ----------
    rows : function of ``about`` that gives a queryset
        Of no more than ``about``, the settings, and the date of today.
    about : hashable values
    columns : fields of the inner rows, and the way to the outer query's field of each
    """

    conditional = True

    def __init__(self, rows: Callable[..., QuerySet], *about: Any, **columns: str) -> None:
        super().__init__(output_field=BooleanField())
        self.rows, self.about, self.names = rows, about, tuple(columns)
        self.columns: list = [F(column) for column in columns.values()]

    def get_source_expressions(self) -> list:
        return self.columns

    def set_source_expressions(self, exprs: list) -> None:
        self.columns = exprs

    def as_sql(self, compiler, connection) -> tuple[str, tuple]:
        text, parameters = _compiled(
            self.rows, self.about, self.names, connection.alias, timezone.localdate()
        )
        for name, column in zip(self.names, self.columns, strict=True):
            sql, given = compiler.compile(column)
            assert not given, f"{name} has to be a column, not a value"
            text = text.replace(_place(name), sql)
        return text, parameters


def _place(name: str) -> str:
    return f"(<{name}>)"


@lru_cache(maxsize=32)
def _compiled(
    rows: Callable[..., QuerySet], about: tuple, names: tuple[str, ...], alias: str, today: date
) -> tuple[str, tuple]:
    """The condition's SQL with places for the outer columns; anew each ``today``."""
    outer = {name: RawSQL(f"<{name}>", ()) for name in names}
    query = rows(*about).filter(**outer).order_by().query
    query.change_aliases({table: f"Z{place}" for place, table in enumerate(query.alias_map)})
    compiler = query.get_compiler(connection=connections[alias])
    text, parameters = Exists(query).as_sql(compiler, connections[alias])
    return ALIAS.sub(rf"{OWN}\1", text), tuple(parameters)
