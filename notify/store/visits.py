"""Visits: one person at the counter, the people it is about, by role."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import exists, insert, select

from notify.core.errors import NotFound
from notify.core.tickets import OPEN_PHASES
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import among, given, one_of, rows_among, where

_VISIT = select(s.visits).where(*where(s.visits, "id"))
_V, _P, _T = s.visits, s.visit_people, s.tickets
_IN_ROLE = (
    select(_P.c.visit_id, _P.c.person_id)
    .where(*where(_P, "role"), among(_P, "visit_id"))
    .order_by(_P.c.person_id.desc())
)
_WITH_US = exists().where(
    _T.c.shop_id == _V.c.shop_id, _T.c.visit_id == _V.c.id, one_of(_T.c.phase, sorted(OPEN_PHASES))
)
COMPANY = (
    select(_V.c.waits_here, _WITH_US.label("device_with_us"), _P.c.visit_id, _P.c.role, _P.c.person_id)
    .join(_P, (_P.c.shop_id == _V.c.shop_id) & (_P.c.visit_id == _V.c.id))
    .where(*where(_V), among(_V, "id"))
    .order_by(_P.c.person_id)
)


@dataclass(frozen=True, slots=True)
class Company:
    """Who is in a visit: role -> person identifiers; whether they wait in the shop, and a device is still there."""

    waits_here: bool
    device_with_us: bool
    roles: Mapping[str, tuple[str, ...]]


def add_visit(
    unit: Unit,
    *,
    waits_here: bool,
    people: Mapping[str, Iterable[str]],
    at: datetime,
    idempotency: str | None = None,
) -> str:
    """Opens a visit with its people by role (bringer, tell, payer, collector); its identifier."""
    new = unit.new_id()
    unit.connection.execute(
        insert(s.visits).values(
            shop_id=unit.shop_id, id=new, waits_here=waits_here, opened_at=at, idempotency=idempotency
        )
    )
    for role, ids in people.items():
        for person_id in dict.fromkeys(ids):
            unit.connection.execute(
                insert(s.visit_people).values(shop_id=unit.shop_id, visit_id=new, person_id=person_id, role=role)
            )
    return new


def get_visit(unit: Unit, visit_id: str) -> Any:
    """The visit's row (id, waits_here, opened_at); raises NotFound."""
    row = unit.once(("visit", visit_id), lambda: unit.connection.execute(_VISIT, given(unit, id=visit_id)).first())
    if row is None:
        raise NotFound("There is no such visit", "Look the ticket up by its claim number.")
    return row


def company(unit: Unit, visit_id: str) -> Company:
    """Who is in a visit; nobody, and nothing with us, when there is no such visit."""
    rows = unit.once(("company", visit_id), lambda: list(rows_among(unit, COMPANY, "id", [visit_id])))
    roles: dict[str, tuple[str, ...]] = {}
    for row in rows:
        roles[row.role] = (*roles.get(row.role, ()), row.person_id)
    waits, there = bool(rows) and rows[0].waits_here, bool(rows) and rows[0].device_with_us
    return Company(waits_here=waits, device_with_us=there, roles=roles)


def visit_people(unit: Unit, visit_id: str) -> Mapping[str, tuple[str, ...]]:
    """role -> person identifiers of a visit."""
    return company(unit, visit_id).roles


def people_of_visits(unit: Unit, visit_ids: Iterable[str], role: str) -> Mapping[str, str]:
    """visit -> identifier of the first person in that role."""
    wanted = sorted(set(visit_ids))
    rows = unit.connection.execute(_IN_ROLE, {**given(unit, role=role), "any_visit_id": wanted}) if wanted else ()
    return {row.visit_id: row.person_id for row in rows}


def newest_visits(unit: Unit, person_ids: Iterable[str]) -> Mapping[str, str]:
    """person -> their newest visit, one with a device still with us before any other; the best of all stands first."""
    ids = list(person_ids)
    query = (
        select(_P.c.person_id, _P.c.visit_id)
        .join(_V, (_V.c.shop_id == _P.c.shop_id) & (_V.c.id == _P.c.visit_id))
        .where(_P.c.shop_id == unit.shop_id, _P.c.person_id.in_(ids))
        .order_by(_WITH_US.desc(), _V.c.opened_at.desc(), _V.c.id)
    )
    out: dict[str, str] = {}
    for row in unit.connection.execute(query):
        out.setdefault(row.person_id, row.visit_id)
    return out


def broken_contacts(unit: Unit) -> tuple[Any, ...]:
    """(visit_id, person_id, contact_id, channel, undeliverable_why, undeliverable_at) of every current contact that
    does not work, of people who are told about a visit with a device still with us; the oldest trouble first."""
    c = s.contacts
    query = (
        select(_P.c.visit_id, _P.c.person_id, c.c.id.label("contact_id"), c.c.channel, c.c.undeliverable_why,
               c.c.undeliverable_at)
        .join(c, (c.c.shop_id == _P.c.shop_id) & (c.c.person_id == _P.c.person_id))
        .join(_V, (_V.c.shop_id == _P.c.shop_id) & (_V.c.id == _P.c.visit_id))
        .where(_P.c.shop_id == unit.shop_id, _P.c.role == "tell", c.c.undeliverable_at.is_not(None),
               c.c.replaced_at.is_(None), c.c.address_sealed.is_not(None), _WITH_US)
        .order_by(c.c.undeliverable_at, c.c.id)
    )  # fmt: skip
    return tuple(unit.connection.execute(query))
