"""Many values as one value of a statement, so that it is the same however many they are, and may be Prepared."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from sqlalchemy import ARRAY, ColumnElement, Text, bindparam
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


class _Rows(FunctionElement[str]):
    """The values of one parameter as rows of a query."""

    inherit_cache = True


@compiles(_Rows, "sqlite")
def _from_json(element: _Rows, compiler: Any, **how: Any) -> str:
    values = compiler.process(element.clause_expr, **how)  # the parameter in its brackets
    return f"(SELECT value FROM json_each{values})"  # noqa: S608


@compiles(_Rows, "postgresql")
def _from_array(element: _Rows, compiler: Any, **how: Any) -> str:
    return f"(SELECT unnest{compiler.process(element.clause_expr, **how)})"


def listed(column: ColumnElement[Any], name: str) -> ColumnElement[bool]:
    """The rows whose column is among the values handed over under this name, which an index serves."""
    return column.bool_op("IN")(_Rows(bindparam(name, type_=Listing())))
