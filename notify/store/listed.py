"""Many values as one value of a statement, so that it is the same however many they are, and may be Prepared."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from sqlalchemy import ARRAY, Boolean, ColumnElement, Text, bindparam
from sqlalchemy.engine import Dialect
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement
from sqlalchemy.types import TypeDecorator, TypeEngine


class Listing(TypeDecorator[Sequence[str]]):
    """Many texts as one value: an array where there are some; SQLite reads JSON."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """The type that the database at hand really gets."""
        inner: TypeEngine[Any] = Text() if dialect.name == "sqlite" else ARRAY(Text)
        return dialect.type_descriptor(inner)

    def process_bind_param(self, value: Sequence[str] | None, dialect: Dialect) -> Any:
        """What the driver takes."""
        return json.dumps(value or ()) if dialect.name == "sqlite" else list(value or ())


class _IsOneOf(FunctionElement[bool]):
    """A column, and the one parameter that bears the values."""

    type = Boolean()
    inherit_cache = True

    def self_group(self, against: Any = None) -> Any:
        """As it stands; with the usual "= 1" behind it SQLite would use no index."""
        return self


@compiles(_IsOneOf, "sqlite")
def _in_json(element: _IsOneOf, compiler: Any, **how: Any) -> str:
    column, values = (compiler.process(one, **how) for one in element.clauses)
    return f"{column} IN (SELECT value FROM json_each({values}))"  # noqa: S608


@compiles(_IsOneOf, "postgresql")
def _in_array(element: _IsOneOf, compiler: Any, **how: Any) -> str:
    column, values = (compiler.process(one, **how) for one in element.clauses)
    return f"{column} = ANY ({values})"  # not "IN (SELECT unnest ...)": beside an OR no index would serve that


def listed(column: ColumnElement[Any], name: str) -> ColumnElement[bool]:
    """The rows whose column is among the values handed over under this name, which an index serves."""
    return _IsOneOf(column, bindparam(name, type_=Listing()))
