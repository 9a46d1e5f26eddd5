"""Who reads a mail that has a link naming them, before it is known which shop they are of; opens nothing."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select

from notify.store import schema as s
from notify.store.database import Database


@dataclass(frozen=True, slots=True)
class Reader:
    """Somebody whom a link in a mail names: in which shop, their language, and whether they were forgotten."""

    shop_id: str
    language: str
    forgotten: bool


def find_reader(db: Database, person_id: str) -> Reader | None:
    """Somebody of any shop by their identifier, which is chance only; opens nothing."""
    p = s.people
    query = (
        select(p.c.shop_id, p.c.language, p.c.forgotten_at)
        .join(s.shops, p.c.shop_id == s.shops.c.id)
        .where(p.c.id == person_id)
    )
    with db.glance.connect() as connection:
        row = connection.execute(query).first()
    return Reader(row.shop_id, row.language, row.forgotten_at is not None) if row else None
