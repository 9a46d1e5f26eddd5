"""Codes sent to stored contacts: a keyed hash until they are used or over, the code itself only until it has left.

At most one is open for a visit and a purpose: a newer one ends the older.
"""

from __future__ import annotations

import hmac
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, exists, insert, select, update

from notify.core.contact_code import MOST_WRONG
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import given, where

_T = s.contact_codes
_CODE = select(_T).where(*where(_T, "id"))
# A contact that was replaced since proves nothing any more: whoever has the lost phone typed it too late.
_TO_CURRENT = exists().where(
    s.contacts.c.shop_id == _T.c.shop_id, s.contacts.c.id == _T.c.contact_id, s.contacts.c.replaced_at.is_(None)
)
_OPEN = (
    select(_T.c.id, _T.c.hash, _T.c.contact_id, _T.c.wrong, _T.c.expires_at)
    .where(*where(_T, "visit_id", "purpose"), _T.c.used_at.is_(None), _T.c.wrong < MOST_WRONG, _TO_CURRENT)
    .order_by(_T.c.made_at.desc(), _T.c.id.desc())
    .with_for_update()
)


@dataclass(frozen=True, slots=True)
class Waiting:
    """A code that can still be typed."""

    id: str
    contact_id: str
    wrong: int
    hash: str


def add_code(
    unit: Unit, *, visit_id: str, person_id: str, contact_id: str, purpose: str, code: str, at: datetime,
    expires_at: datetime,
) -> str:  # fmt: skip
    """Keeps a new code and ends those before it; its identifier."""
    _end(unit, visit_id, purpose, at=at)
    new = unit.new_id()
    unit.connection.execute(
        insert(_T).values(
            shop_id=unit.shop_id, id=new, visit_id=visit_id, person_id=person_id, contact_id=contact_id,
            purpose=purpose, hash=_hash(unit, new, code), wrong=0, made_at=at, expires_at=expires_at,
            code_sealed=unit.seal(person_id, "contact_codes", new, "code", code),
        )
    )  # fmt: skip
    return new


def _end(unit: Unit, visit_id: str, purpose: str, *, at: datetime) -> None:
    same = (_T.c.shop_id == unit.shop_id, _T.c.visit_id == visit_id, _T.c.purpose == purpose, _T.c.used_at.is_(None))
    unit.connection.execute(update(_T).where(*same).values(used_at=at, code_sealed=None))


def open_code(unit: Unit, visit_id: str, purpose: str, *, now: datetime) -> Waiting | None:
    """The code of this visit and purpose that can still be typed, if any; held until the transaction ends."""
    row = unit.connection.execute(_OPEN, given(unit, visit_id=visit_id, purpose=purpose)).first()
    if row is None or row.expires_at <= now:
        return None
    return Waiting(row.id, row.contact_id, row.wrong, row.hash)


def newest_open(unit: Unit, visit_id: str, purpose: str, *, now: datetime) -> str:
    """The identifier of the code that can be typed, "" for none; for a look, which holds nothing."""
    same = (_T.c.shop_id == unit.shop_id, _T.c.visit_id == visit_id, _T.c.purpose == purpose)
    live = (_T.c.used_at.is_(None), _T.c.wrong < MOST_WRONG, _T.c.expires_at > now, _TO_CURRENT)
    found = unit.connection.execute(select(_T.c.id).where(*same, *live).order_by(_T.c.made_at.desc(), _T.c.id.desc()))
    return str(found.scalars().first() or "")


def fits(unit: Unit, waiting: Waiting | None, code: str) -> bool:
    """Whether this is the code. Takes as long when none is open."""
    made = unit.opener.lookups("contact_code", f"{waiting.id if waiting else ''}:{code}")
    kept = waiting.hash if waiting else "-" * 64
    return sum(hmac.compare_digest(one, kept) for one in made) > 0  # each compared: a right one takes as long


def count_wrong(unit: Unit, waiting: Waiting | None) -> None:
    """Counts a wrong try; with none open the same statement touches nothing."""
    same = (_T.c.shop_id == unit.shop_id, _T.c.id == (waiting.id if waiting else ""))
    unit.connection.execute(update(_T).where(*same).values(wrong=_T.c.wrong + 1))


def use_code(unit: Unit, waiting: Waiting, *, at: datetime) -> None:
    """It counts once."""
    same = (_T.c.shop_id == unit.shop_id, _T.c.id == waiting.id)
    unit.connection.execute(update(_T).where(*same).values(used_at=at, code_sealed=None))


def is_open(unit: Unit, code_id: str, *, now: datetime) -> bool:
    """Whether the code with this identifier still opens something."""
    row = unit.connection.execute(_CODE, given(unit, id=code_id)).first()
    return row is not None and row.used_at is None and row.wrong < MOST_WRONG and row.expires_at > now


def text_of(unit: Unit, code_id: str) -> str:
    """The code itself, for the message that tells it; empty once it has left."""
    row = unit.connection.execute(_CODE, given(unit, id=code_id)).first()
    return unit.open(row.person_id, "contact_codes", row.id, "code", row.code_sealed) if row else ""


def wipe(unit: Unit, code_id: str, *, message_id: str) -> None:
    """The message has left, or never will: neither the code nor the bytes that tell it are kept any longer."""
    unit.connection.execute(
        update(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == code_id).values(code_sealed=None)
    )  # fmt: skip
    m = s.messages
    same = (m.c.shop_id == unit.shop_id, m.c.id == message_id)
    unit.connection.execute(update(m).where(*same).values(bytes_sealed=None, sentence_sealed=None))


def purge_codes(unit: Unit, *, now: datetime) -> int:
    """Deletes the codes whose time is over, whatever became of them; how many."""
    return unit.connection.execute(delete(_T).where(_T.c.shop_id == unit.shop_id, _T.c.expires_at <= now)).rowcount


def _hash(unit: Unit, code_id: str, code: str) -> str:
    """Keyed and bound to its row: eight digits are soon tried out by whoever has a plain hash."""
    return unit.opener.lookup("contact_code", f"{code_id}:{code}")
