"""What watched sources brought already: whole files by digest, rows by reference."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import delete, insert, select

from notify.store import schema as s
from notify.store.database import Unit


def file_known(unit: Unit, source: str, digest: str) -> bool:
    """Whether this very file was taken from this source before."""
    t = s.taken_files
    same = (t.c.shop_id == unit.shop_id, t.c.source == source, t.c.digest == digest)
    return unit.connection.execute(select(t.c.digest).where(*same)).first() is not None


def add_file(unit: Unit, source: str, digest: str, *, at: datetime, taken: int, refused: int) -> None:
    """Notes that a file was taken, with how many lines were and were not."""
    unit.connection.execute(
        insert(s.taken_files).values(
            shop_id=unit.shop_id, source=source, digest=digest, at=at, taken=taken, refused=refused
        )
    )


def get_row(unit: Unit, source: str, row_key: str) -> Any:
    """What is known of a reference (digest of its last row, ticket_id), or None."""
    t = s.taken_rows
    same = (t.c.shop_id == unit.shop_id, t.c.source == source, t.c.row_key == row_key)
    return unit.connection.execute(select(t).where(*same)).first()


def put_row(unit: Unit, source: str, row_key: str, *, digest: str, ticket_id: str, at: datetime) -> None:
    """Remembers the last row of a reference."""
    t = s.taken_rows
    unit.connection.execute(delete(t).where(t.c.shop_id == unit.shop_id, t.c.source == source, t.c.row_key == row_key))
    unit.connection.execute(
        insert(t).values(
            shop_id=unit.shop_id, source=source, row_key=row_key, digest=digest, ticket_id=ticket_id, at=at
        )
    )
