"""Column types that SQLite and PostgreSQL read back alike."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import DateTime, String
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator, TypeEngine


class Instant(TypeDecorator[datetime]):
    """An aware instant in UTC; a naive one is refused.

    SQLite would read a zoned time back naive and drop its offset, so it is kept there as text of
    fixed width, which also sorts in time order; PostgreSQL keeps a timestamptz.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """The type that the database at hand really gets."""
        inner: TypeEngine[Any] = String(27) if dialect.name == "sqlite" else DateTime(timezone=True)
        return dialect.type_descriptor(inner)

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        """UTC on the way in; raises ValueError for a naive time."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("an instant needs a time zone")
        utc = value.astimezone(UTC)
        if dialect.name != "sqlite":
            return utc
        return utc.replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"

    def result_processor(self, dialect: Dialect, coltype: object) -> Callable[[Any], datetime | None]:
        """Aware UTC on the way out; by itself, as a message is read with twenty instants beside it."""
        return _from_text if dialect.name == "sqlite" else _to_utc


def _from_text(value: str | None) -> datetime | None:
    return datetime.fromisoformat(value) if value else None  # a tenth of strptime's time


def _to_utc(value: datetime | None) -> datetime | None:
    return value.astimezone(UTC) if value else None
