"""Feeds: the secret addresses of the shop's own calendar, and the devices it speaks of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select, update

from notify.store import schema as s
from notify.store.database import Database, Unit
from notify.store.listed import listed

_F, _T = s.feeds, s.tickets


@dataclass(frozen=True, slots=True)
class FeedRow:
    """One feed; its secret is kept as a hash only. `staff_id` made it; `revoked_at` ended it."""

    id: str
    name: str
    made_at: datetime
    staff_id: str | None
    revoked_at: datetime | None


@dataclass(frozen=True, slots=True)
class Device:
    """A device of a visit, as far as a calendar elsewhere may know it."""

    number: str
    device_class: str
    phase: str


def add_feed(unit: Unit, *, name: str, token_hash: str, by: str, at: datetime) -> str:
    """Keeps a new feed; its identifier."""
    new = unit.new_id()
    unit.connection.execute(insert(_F).values(
        shop_id=unit.shop_id, id=new, name=name, token_hash=token_hash, made_at=at, staff_id=by
    ))  # fmt: skip
    return new


def live_feeds(unit: Unit) -> tuple[FeedRow, ...]:
    """Those that still answer, the newest first."""
    query = select(_F).where(_F.c.shop_id == unit.shop_id, _F.c.revoked_at.is_(None)).order_by(_F.c.made_at.desc())
    return tuple(_feed(row) for row in unit.connection.execute(query))


def end_feed(unit: Unit, feed_id: str, *, at: datetime) -> bool:
    """Lets a feed answer no more; False when there is none that does."""
    live = (_F.c.shop_id == unit.shop_id, _F.c.id == feed_id, _F.c.revoked_at.is_(None))
    return unit.connection.execute(update(_F).where(*live).values(revoked_at=at)).rowcount == 1


def find_feed(db: Database, token_hash: str) -> tuple[str, str] | None:
    """(shop, feed) of a secret over all shops: one look at one unique index, whatever the answer is."""
    query = select(_F.c.shop_id, _F.c.id).where(_F.c.token_hash == token_hash, _F.c.revoked_at.is_(None))
    with db.glance.connect() as connection:
        row = connection.execute(query).first()
    return (row.shop_id, row.id) if row else None


def devices_of(unit: Unit, visit_ids: Iterable[str]) -> Mapping[str, tuple[Device, ...]]:
    """visit -> its devices by number; nothing sealed is opened."""
    found = dict[str, list[Device]]()
    query = select(_T.c.visit_id, _T.c.number, _T.c.device_class, _T.c.phase).where(
        _T.c.shop_id == unit.shop_id, listed(_T.c.visit_id, "visits")
    )
    for row in unit.connection.execute(query.order_by(_T.c.number), {"visits": list(visit_ids)}):
        found.setdefault(row.visit_id, []).append(Device(row.number, row.device_class, row.phase))
    return {visit: tuple(devices) for visit, devices in found.items()}


def _feed(row: Any) -> FeedRow:
    return FeedRow(row.id, row.name, row.made_at, row.staff_id, row.revoked_at)
