"""The access log: who looked at whose address or number in clear, where and when. Identifiers and codes only."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import bindparam, insert, select, update

from notify.store import schema as s
from notify.store.database import Unit

TOGETHER = timedelta(minutes=10)  # looks of one reader at one contact in one place within this are one row
_R = s.contact_reads
_AGAIN = (
    update(_R)
    .where(_R.c.shop_id == bindparam("shop"), _R.c.id == bindparam("row"))
    .values(times=_R.c.times + 1, last_at=bindparam("now"))
)


@dataclass(frozen=True, slots=True)
class Read:
    """One row: `times` looks between `at` and `last_at` at one person's `contact_id` (or at whatever reaches them)."""

    id: str
    reader_kind: str
    reader_id: str
    person_id: str
    contact_id: str | None
    place: str
    at: datetime
    last_at: datetime
    times: int


def note(
    unit: Unit, reader_kind: str, reader_id: str, place: str, seen: Iterable[tuple[str, str | None]], *, at: datetime
) -> None:
    """Writes down that this reader saw these (person, contact) in this place."""
    wanted = list(dict.fromkeys(seen))
    if not wanted:
        return
    query = select(_R.c.id, _R.c.person_id, _R.c.contact_id).where(
        _R.c.shop_id == unit.shop_id, _R.c.at > at - TOGETHER, _R.c.reader_id == reader_id,
        _R.c.reader_kind == reader_kind, _R.c.place == place,
    )  # fmt: skip
    fresh = {(row.person_id, row.contact_id): row.id for row in unit.connection.execute(query)}
    again = [{"shop": unit.shop_id, "row": fresh[one], "now": at} for one in wanted if one in fresh]
    if again:
        unit.connection.execute(_AGAIN, again)
    new = [
        {"shop_id": unit.shop_id, "id": unit.new_id(), "reader_kind": reader_kind, "reader_id": reader_id,
         "person_id": person, "contact_id": contact, "place": place, "at": at, "last_at": at, "times": 1}
        for person, contact in wanted if (person, contact) not in fresh
    ]  # fmt: skip
    if new:
        unit.connection.execute(insert(_R), new)


def newest(unit: Unit, *, limit: int, skip: int = 0, person_ids: Iterable[str] | None = None) -> tuple[Read, ...]:
    """The rows of this shop, or those about these people, the newest look first."""
    query = select(_R).where(_R.c.shop_id == unit.shop_id).order_by(_R.c.at.desc(), _R.c.id)
    if person_ids is not None:
        query = query.where(_R.c.person_id.in_(list(person_ids)))
    rows = unit.connection.execute(query.limit(limit).offset(skip))
    return tuple(Read(*(getattr(row, name) for name in Read.__dataclass_fields__)) for row in rows)
