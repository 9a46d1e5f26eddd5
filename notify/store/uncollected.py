"""Devices that nobody collects: the shop's rows of law, the steps noted, and who was really told by what."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select, update

from notify.core.messages import Delivery, MessageState
from notify.core.uncollected import Rule
from notify.store import schema as s
from notify.store.database import Unit

_R, _E, _M = s.uncollected_rules, s.events, s.messages
# Each of them says that something is ready to be collected.
_TELLS = ("ready", "collection_reminder", "pickup_confirmed", "pickup_moved", "pickup_reminder", "pickup_missed_note")
_LEFT = (MessageState.SENT, MessageState.CALLED)


@dataclass(frozen=True, slots=True)
class Told:
    """One message to the customer that really left (or was said on the phone): its notice, when, by which channel."""

    notice: str
    at: datetime
    channel: str


@dataclass(frozen=True, slots=True)
class Noted:
    """One step as it was noted: its code, day and way (codes of core/uncollected), when it was noted and by whom."""

    step: str
    on: str
    how: str
    at: datetime
    staff_id: str


def list_rules(unit: Unit) -> tuple[Rule, ...]:
    """The shop's own rows, by code."""
    rows = unit.connection.execute(select(_R).where(_R.c.shop_id == unit.shop_id).order_by(_R.c.code))
    return tuple(Rule(**{name: getattr(row, name) for name in Rule.__dataclass_fields__}) for row in rows)


def active_rule(unit: Unit) -> Rule | None:
    """The one that is switched on, or None."""
    return next((rule for rule in list_rules(unit) if rule.active and rule.verified), None)


def put_rule(unit: Unit, rule: Rule) -> None:
    """Writes the row of that code; one that is switched on switches the others off."""
    mine = _R.c.shop_id == unit.shop_id
    if rule.active:
        unit.connection.execute(update(_R).where(mine).values(active=False))
    values = asdict(rule)
    changed = unit.connection.execute(update(_R).where(mine, _R.c.code == rule.code).values(**values)).rowcount
    if not changed:
        unit.connection.execute(insert(_R).values(shop_id=unit.shop_id, id=unit.new_id(), **values))


def told_of_visits(unit: Unit, visit_ids: Iterable[str]) -> Mapping[str, tuple[Told, ...]]:
    """visit -> what really left to its customers about collecting, in order; what came back did not."""
    query = (
        select(_M.c.visit_id, _M.c.notice, _M.c.channel, _M.c.ended_at)
        .where(_M.c.shop_id == unit.shop_id, _M.c.visit_id.in_(set(visit_ids)), _M.c.notice.in_(_TELLS),
               _M.c.state.in_(_LEFT), _M.c.person_id != "", _M.c.delivery != Delivery.FAILED)
        .order_by(_M.c.ended_at, _M.c.seq)
    )  # fmt: skip
    out: dict[str, tuple[Told, ...]] = {}
    for row in unit.connection.execute(query):
        out[row.visit_id] = (*out.get(row.visit_id, ()), Told(row.notice, row.ended_at, row.channel))
    return out


def steps_of_tickets(unit: Unit, ticket_ids: Iterable[str]) -> Mapping[str, tuple[Noted, ...]]:
    """ticket -> the steps noted about it, in the order noted."""
    query = (
        select(_E.c.ticket_id, _E.c.codes, _E.c.at, _E.c.actor_id)
        .where(_E.c.shop_id == unit.shop_id, _E.c.ticket_id.in_(set(ticket_ids)), _E.c.kind == "uncollected_step")
        .order_by(_E.c.seq)
    )
    out: dict[str, tuple[Noted, ...]] = {}
    for row in unit.connection.execute(query):
        out[row.ticket_id] = (*out.get(row.ticket_id, ()), _noted(row))
    return out


def _noted(row: Any) -> Noted:
    codes = row.codes
    return Noted(str(codes["step"]), str(codes["on"]), str(codes.get("how", "")), row.at, row.actor_id or "")
