"""Addresses whose readers want nothing more: found by keyed hash, also when everybody who had one is forgotten.

A row is never removed, an opt-in ends it. `contacts.suppressed_at` and `suppressed_how` repeat it beside each stored
contact, so that planning and the second look need no address opened; only this room writes them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, func, insert, select, update

from notify.core.stop_list import Stop
from notify.core.suppression import normal_form, suppression_hash
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.stamps import people_changed

_T = s.suppressions
_STOPS = select(*(_T.c[name] for name in Stop.__dataclass_fields__)).order_by(_T.c.at, _T.c.id)


def _hashes(unit: Unit, channel: str, address: str) -> dict[str, str]:
    """Key id -> hash of a stored address, by every index key that a row may stand under."""
    normal = normal_form(channel, address)
    return {key.id: suppression_hash(key.secret, normal) for key in unit.vault.index_keys()}


def _standing(unit: Unit, channel: str, address: str) -> tuple[ColumnElement[bool], ...]:
    hashes = list(_hashes(unit, channel, address).values())
    return _T.c.shop_id == unit.shop_id, _T.c.channel == channel, _T.c.hash.in_(hashes), _T.c.ended_at.is_(None)


def standing(unit: Unit, channel: str, address: str) -> Stop | None:
    """The stop of a stored or parsed address that has not ended; None for none."""
    row = unit.connection.execute(_STOPS.where(*_standing(unit, channel, address))).first()
    return Stop(*row) if row else None


def suppress(unit: Unit, channel: str, address: str, *, how: str, at: datetime, staff_id: str | None) -> bool:
    """Notes that nothing more is wanted there, once, and marks everybody's contact there; whether it is new."""
    known = standing(unit, channel, address)
    if known is None:
        key = unit.vault.index_key()
        unit.connection.execute(insert(_T).values(
            shop_id=unit.shop_id, id=unit.new_id(), channel=channel, key_id=key.id, reason=how, at=at,
            hash=suppression_hash(key.secret, normal_form(channel, address)), staff_id=staff_id, ended_how="",
        ))  # fmt: skip
    _mark(unit, channel, address, at=known.at if known else at, how=known.reason if known else how)
    return known is None


def mark_known(unit: Unit, channel: str, address: str) -> Stop | None:
    """Marks the contacts of an address that was noted a moment ago, if it is suppressed; the row then."""
    known = standing(unit, channel, address)
    if known is not None:
        _mark(unit, channel, address, at=known.at, how=known.reason)
    return known


def end(unit: Unit, channel: str, address: str, *, how: str, at: datetime) -> int:
    """Ends it, for whoever is reached there wants it again; how many rows ended."""
    over = update(_T).where(*_standing(unit, channel, address)).values(ended_at=at, ended_how=how)
    ended = unit.connection.execute(over).rowcount
    if ended:
        _mark(unit, channel, address, at=None, how="")
    return ended


def _mark(unit: Unit, channel: str, address: str, *, at: datetime | None, how: str) -> None:
    """Repeats it beside every stored contact of that address, also one that was replaced: a warning may go there."""
    t = s.contacts
    lookups = unit.opener.lookups(channel, normal_form(channel, address))
    same = (t.c.shop_id == unit.shop_id, t.c.channel == channel, t.c.lookup.in_(lookups))
    unit.connection.execute(update(t).where(*same).values(suppressed_at=at, suppressed_how=how))
    people_changed(unit, unit.connection.execute(select(t.c.person_id).where(*same).distinct()).scalars())


def stops(unit: Unit) -> tuple[Stop, ...]:
    """The whole list as it lies beside the backups, the oldest first: nothing about anybody."""
    return tuple(Stop(*row) for row in unit.connection.execute(_STOPS.where(_T.c.shop_id == unit.shop_id)))


def stamp(unit: Unit) -> tuple[int, datetime | None, int, datetime | None]:
    """How many there are and since when the newest, how many ended and when the last: others once the list changed."""
    query = select(func.count(), func.max(_T.c.at), func.count(_T.c.ended_at), func.max(_T.c.ended_at))
    count, newest, ended, last = unit.connection.execute(query.where(_T.c.shop_id == unit.shop_id)).one()
    return int(count), newest, int(ended), last


def take_back(unit: Unit, listed: Iterable[Stop]) -> int:
    """Adds this shop's stops that are missing here, ends those that ended elsewhere, and marks the contacts; how many.

    Who said them is not on the list. All stored addresses are opened if anything changed: a stop names none.
    """
    known = {one.id: one for one in stops(unit)}
    mine = [one for one in listed if one.shop_id == unit.shop_id]
    new = [one for one in mine if one.id not in known]
    over = [one for one in mine if one.ended_at and one.id in known and known[one.id].ended_at is None]
    if new:
        unit.connection.execute(insert(_T), [asdict(one) for one in new])
    for one in over:
        same = (_T.c.shop_id == unit.shop_id, _T.c.id == one.id)
        unit.connection.execute(update(_T).where(*same).values(ended_at=one.ended_at, ended_how=one.ended_how))
    if new or over:
        _mark_all(unit)
    return len(new) + len(over)


def _mark_all(unit: Unit) -> None:
    """Repeats the list beside every stored contact."""
    t, first = s.contacts, dict[tuple[str, str], Stop]()
    for one in stops(unit):
        if one.ended_at is None:
            first.setdefault((one.channel, one.hash), one)
    rows = unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id, t.c.address_sealed.is_not(None))).all()
    changed = set[str]()
    unit.opener.fetch(row.person_id for row in rows)
    for row in rows:
        address = unit.open(row.person_id, "contacts", row.id, "address", row.address_sealed)
        found = (first.get((row.channel, one)) for one in _hashes(unit, row.channel, address).values())
        known = min((one for one in found if one), key=lambda one: (one.at, one.id), default=None)
        if _mark_one(unit, row, known):
            changed.add(row.person_id)
    people_changed(unit, changed)


def _mark_one(unit: Unit, row: Any, known: Stop | None) -> bool:
    """Whether it was marked otherwise."""
    t, at, how = s.contacts, known.at if known else None, known.reason if known else ""
    if (row.suppressed_at, row.suppressed_how) == (at, how):
        return False
    same = (t.c.shop_id == unit.shop_id, t.c.id == row.id)
    unit.connection.execute(update(t).where(*same).values(suppressed_at=at, suppressed_how=how))
    return True
