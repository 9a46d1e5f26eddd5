"""Tokens: the keys by which the shop's own scripts use the API, kept as hashes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import insert, select, update

from notify.store import schema as s
from notify.store.database import Database, Unit

_T = s.api_tokens


@dataclass(frozen=True, slots=True)
class TokenRow:
    """One token without its secret. `staff_id` made it; `used_on` is the day it was last used, in UTC."""

    id: str
    shop_id: str
    name: str
    scopes: tuple[str, ...]
    made_at: datetime
    staff_id: str | None
    used_on: date | None
    expires_at: datetime | None
    revoked_at: datetime | None


def add_token(
    unit: Unit, *, name: str, token_hash: str, scopes: Sequence[str], by: str, at: datetime, expires_at: datetime | None
) -> str:
    """Keeps a new token; its identifier."""
    new = unit.new_id()
    unit.connection.execute(insert(_T).values(
        shop_id=unit.shop_id, id=new, name=name, token_hash=token_hash, scopes=list(scopes), made_at=at, staff_id=by,
        expires_at=expires_at,
    ))  # fmt: skip
    return new


def list_tokens(unit: Unit) -> tuple[TokenRow, ...]:
    """Every token that was not revoked, the newest first; those that ran out too."""
    query = select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.revoked_at.is_(None))
    rows = unit.connection.execute(query.order_by(_T.c.made_at.desc(), _T.c.id))
    return tuple(_token(row) for row in rows)


def end_token(unit: Unit, token_id: str, *, at: datetime) -> bool:
    """Lets a token open nothing any more; False when there is none to end."""
    live = (_T.c.shop_id == unit.shop_id, _T.c.id == token_id, _T.c.revoked_at.is_(None))
    return unit.connection.execute(update(_T).where(*live).values(revoked_at=at)).rowcount == 1


def note_use(unit: Unit, token_id: str, day: date) -> None:
    """Notes the day on which a token was used."""
    unit.connection.execute(update(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == token_id).values(used_on=day))


def find_token(db: Database, token_hash: str) -> TokenRow | None:
    """The token of a secret over all shops, ended ones too: one look at one unique index, whatever the answer is."""
    with db.glance.connect() as connection:
        row = connection.execute(select(_T).where(_T.c.token_hash == token_hash)).first()
    return _token(row) if row else None


def _token(row: Any) -> TokenRow:
    return TokenRow(row.id, row.shop_id, row.name, tuple(row.scopes), row.made_at, row.staff_id, row.used_on,
                    row.expires_at, row.revoked_at)  # fmt: skip
