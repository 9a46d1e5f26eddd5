"""Finds whose claim a secret opens, over all shops, without opening anything that is sealed."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import bindparam, func, select

from notify.store import schema as s
from notify.store.database import Database
from notify.store.vault import VEILED_CLAIM

# Language, what no event tells, number of the newest event, the shop's settings and hours, places taken.
Stamp = tuple[str, int, int, str, int]
_T, _P, _V, _S, _E = s.tickets, s.people, s.visits, s.shops, s.events
# The story is append-only and numbered upwards, so its newest number stands for all of it.
_NEWEST = select(func.max(_E.c.seq)).where(_E.c.shop_id == _T.c.shop_id, _E.c.visit_id == _T.c.visit_id)
_BY_TOKEN = (
    select(
        _T.c.shop_id,
        _T.c.visit_id,
        _T.c.id,
        _P.c.language,
        _P.c.forgotten_at,
        _V.c.changed,
        _NEWEST.scalar_subquery().label("newest"),
        _S.c.changed.label("set"),
        _S.c.booked,
    )
    .join(_P, (_P.c.shop_id == _T.c.shop_id) & (_P.c.id == _T.c.person_id))
    .join(_V, (_V.c.shop_id == _T.c.shop_id) & (_V.c.id == _T.c.visit_id))
    .join(_S, _S.c.id == _T.c.shop_id)
    .where(_T.c.token_hash.in_(bindparam("hashes", expanding=True)))
)


@dataclass(frozen=True, slots=True)
class Claim:
    """The ticket behind a claim secret, and whether the person who brought the device was forgotten.

    While `stamp` is the same, a page shown for this claim has the same facts under it.
    """

    shop_id: str
    visit_id: str
    ticket_id: str
    language: str
    forgotten: bool
    stamp: Stamp


def find_claim(db: Database, token_hash: str) -> Claim | None:
    """One look at one unique index, whatever the answer is; of a forgotten person only a keyed hash is left."""
    with db.glance.connect() as connection:
        hashes = [token_hash, *db.vault.lookups(VEILED_CLAIM, token_hash)]
        row = connection.execute(_BY_TOKEN, {"hashes": hashes}).first()
    if row is None:
        return None
    shop_id, visit_id, ticket_id, language, forgotten_at, changed, newest, settings, booked = row
    stamp: Stamp = (language, changed, newest or 0, settings, booked)
    return Claim(shop_id, visit_id, ticket_id, language, forgotten_at is not None, stamp)
