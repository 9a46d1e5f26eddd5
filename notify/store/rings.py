"""Where the shop's bell rings: the sealed addresses of those who work here, and whose a ticket is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import ColumnElement, select, update

from notify.core.errors import NotFound
from notify.core.events import Event
from notify.core.messages import MessageState
from notify.core.rings import Colleague, Ring, rings
from notify.core.shop import Shop
from notify.store import schema as s
from notify.store import shops
from notify.store.database import Unit
from notify.store.statements import given, is_in, where

_STAFF = select(
    s.staff.c.id, s.staff.c.active, s.staff.c.rings_by, s.staff.c.email_sealed, s.staff.c.phone_sealed
).where(*where(s.staff))
_TECHNICIANS = select(s.tickets.c.id, s.tickets.c.technician_id).where(*where(s.tickets, "visit_id"))
_COLUMN = {"email": "email", "sms": "phone"}
_M = s.messages


def rings_for(unit: Unit, event: Event, *, channels_on: frozenset[str]) -> tuple[Ring, ...]:
    """The ways on which the bell rings about an event: the technician of its ticket, or of its visit's tickets."""
    rows = unit.connection.execute(_TECHNICIANS, given(unit, visit_id=event.visit_id))
    theirs = {row.technician_id for row in rows if event.ticket_id in ("", row.id)} - {None}
    shop = shops.get_shop(unit, today=event.at.date())
    return _rings(unit, theirs, shop, channels_on)


def rings_today(unit: Unit, staff_id: str, shop: Shop, *, channels_on: frozenset[str]) -> tuple[Ring, ...]:
    """The ways of the one a message was planned for, as far as they still ring; the shop's own otherwise."""
    return _rings(unit, {staff_id} if staff_id else set(), shop, channels_on)


def _rings(unit: Unit, theirs: set[str], shop: Shop, channels_on: frozenset[str]) -> tuple[Ring, ...]:
    # Mail for the shop always finds a way: without an address of its own it goes to the one that mail is sent from.
    own = {"email"} | ({"sms"} if shop.bell_phone else set())
    known = {row.id: row for row in _staff(unit)} if theirs else {}
    return rings([_colleague(known[one]) for one in theirs if one in known], own=own, channels_on=channels_on)


def _staff(unit: Unit) -> list[Any]:
    return unit.once(("colleagues", ""), lambda: list(unit.connection.execute(_STAFF, given(unit)).all()))


def _colleague(row: Any) -> Colleague:
    has = frozenset(way for way, column in _COLUMN.items() if getattr(row, f"{column}_sealed") is not None)
    return Colleague(row.id, row.active, row.rings_by, has)


def own_address(shop: Shop, channel: str) -> str:
    """The shop's own address (or number in E.164) for its bell; empty when it has none."""
    return shop.bell_phone if channel == "sms" else shop.email


def address_of(unit: Unit, staff_id: str, channel: str) -> str:
    """Where the bell rings for one of the staff; empty when nothing is kept, or its key is gone."""
    row = next((row for row in _staff(unit) if row.id == staff_id), None)
    column = _COLUMN[channel]
    sealed = getattr(row, f"{column}_sealed") if row is not None else None
    try:
        return unit.open(staff_id, "staff", staff_id, column, sealed)
    except NotFound:
        return ""


def addresses(unit: Unit, staff_ids: Iterable[str]) -> Mapping[str, Mapping[str, str]]:
    """staff -> channel -> where the bell rings for those of them who work here; both channels are always there."""
    known = {row.id for row in _staff(unit)} & set(staff_ids)
    return {one: {channel: address_of(unit, one, channel) for channel in _COLUMN} for one in known}


def keep_addresses(unit: Unit, staff_id: str, *, email: str, phone: str, by: str) -> None:
    """Seals what is given under the person's own key, which must be there (vault.have_key); empty removes it."""
    plain = {"email": email, "phone": phone}
    columns = {
        f"{name}_sealed": unit.seal(staff_id, "staff", staff_id, name, text) if text else None
        for name, text in plain.items()
    }
    _change(unit, staff_id, **columns, rings_by=by)
    waits = (*_to(unit, staff_id), is_in(_M.c.state, MessageState.WAITING))
    unit.connection.execute(update(_M).where(*waits).values(bytes_sealed=None))  # written anew for the new address


def message_ids_to(unit: Unit, staff_id: str) -> tuple[str, ...]:
    """The RFC 5322 Message-IDs of what was composed for one of the staff, to find kept copies by."""
    query = select(_M.c.message_id).where(*_to(unit, staff_id), _M.c.message_id.is_not(None))
    return tuple(unit.connection.execute(query).scalars())


def drop_addresses(unit: Unit, staff_id: str) -> int:
    """Empties what is kept of one of the staff, and the bytes of messages to them; how many messages."""
    _change(unit, staff_id, email_sealed=None, phone_sealed=None, rings_by="")
    return unit.connection.execute(update(_M).where(*_to(unit, staff_id)).values(bytes_sealed=None)).rowcount


def _to(unit: Unit, staff_id: str) -> tuple[ColumnElement[bool], ...]:
    return _M.c.shop_id == unit.shop_id, _M.c.person_id == "", _M.c.contact_id == staff_id


def _change(unit: Unit, staff_id: str, **columns: Any) -> None:
    t = s.staff
    unit.connection.execute(update(t).where(t.c.shop_id == unit.shop_id, t.c.id == staff_id).values(**columns))
