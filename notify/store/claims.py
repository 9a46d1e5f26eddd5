"""Finds whose claim a secret opens, over all shops, without opening anything that is sealed."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select

from notify.store import schema as s
from notify.store.database import Database


@dataclass(frozen=True, slots=True)
class Claim:
    """The ticket behind a claim secret, and whether the person who brought the device was forgotten."""

    shop_id: str
    visit_id: str
    ticket_id: str
    language: str
    forgotten: bool


def find_claim(db: Database, token_hash: str) -> Claim | None:
    """One look at one unique index, whatever the answer is."""
    t, p = s.tickets, s.people
    query = (
        select(t.c.shop_id, t.c.visit_id, t.c.id, p.c.language, p.c.forgotten_at)
        .join(p, (p.c.shop_id == t.c.shop_id) & (p.c.id == t.c.person_id))
        .where(t.c.token_hash == token_hash)
    )
    with db.engine.connect() as connection, connection.begin():
        row = connection.execute(query).first()
    if row is None:
        return None
    return Claim(row.shop_id, row.visit_id, row.id, row.language, row.forgotten_at is not None)
