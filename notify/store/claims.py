"""Finds whose claim a secret opens, over all shops, without opening anything that is sealed."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import bindparam, select

from notify.store import schema as s
from notify.store.database import Database
from notify.store.vault import VEILED_CLAIM

_T, _P = s.tickets, s.people
_BY_TOKEN = (
    select(_T.c.shop_id, _T.c.visit_id, _T.c.id, _P.c.language, _P.c.forgotten_at)
    .join(_P, (_P.c.shop_id == _T.c.shop_id) & (_P.c.id == _T.c.person_id))
    .where(_T.c.token_hash.in_((bindparam("hash"), bindparam("veiled"))))
)


@dataclass(frozen=True, slots=True)
class Claim:
    """The ticket behind a claim secret, and whether the person who brought the device was forgotten."""

    shop_id: str
    visit_id: str
    ticket_id: str
    language: str
    forgotten: bool


def find_claim(db: Database, token_hash: str) -> Claim | None:
    """One look at one unique index, whatever the answer is; of a forgotten person only a keyed hash is left."""
    with db.engine.connect() as connection, connection.begin():
        row = connection.execute(
            _BY_TOKEN, {"hash": token_hash, "veiled": db.vault.lookup(VEILED_CLAIM, token_hash)}
        ).first()
    if row is None:
        return None
    return Claim(row.shop_id, row.visit_id, row.id, row.language, row.forgotten_at is not None)
