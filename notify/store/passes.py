"""Passes: who may collect once for a customer, kept apart from the visit's people because they are forgotten sooner."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import insert, select, update

from notify.core.errors import NotFound
from notify.store import schema as s
from notify.store.database import Database, Unit
from notify.store.statements import given, where

PASS_INDEX = "pass"  # noqa: S105 - names the blind index of pass codes
_T = s.passes
_LIVE = ("asked", "open")
_OF_VISIT = select(_T).where(*where(_T, "visit_id")).order_by(_T.c.made_at, _T.c.id)
_PASS = select(_T).where(*where(_T, "id"))


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass. `person_id` is who may collect, `given_by` the customer; `ended_at` is None while it may be used."""

    id: str
    visit_id: str
    person_id: str
    given_by: str
    state: str
    made_at: datetime
    confirmed_at: datetime | None
    expires_at: datetime
    ended_at: datetime | None
    staff_id: str | None


@dataclass(frozen=True, slots=True)
class Found:
    """Where a pass code leads, over all shops, without opening anything that is sealed."""

    shop_id: str
    visit_id: str
    state: str
    expires_at: datetime


def add_pass(
    unit: Unit, *, visit_id: str, person_id: str, given_by: str, state: str, code: str, at: datetime,
    expires_at: datetime, staff_id: str | None,
) -> str:  # fmt: skip
    """A new pass, asked for (then without a code) or open at once; its identifier."""
    new = unit.new_id()
    unit.connection.execute(
        insert(_T).values(
            shop_id=unit.shop_id, id=new, visit_id=visit_id, person_id=person_id, given_by=given_by, state=state,
            hash=_hash(unit, code) if code else None, made_at=at, confirmed_at=at if state == "open" else None,
            expires_at=expires_at, staff_id=staff_id,
        )
    )  # fmt: skip
    return new


def open_pass(unit: Unit, found: Pass, *, code: str, at: datetime, expires_at: datetime) -> None:
    """What was asked for can be used from now on, with this code."""
    _change(unit, found, state="open", hash=_hash(unit, code), confirmed_at=at, expires_at=expires_at)


def end_pass(unit: Unit, found: Pass, state: str, *, at: datetime) -> None:
    """Ends a pass as used, revoked or expired."""
    _change(unit, found, state=state, ended_at=at)


def get_pass(unit: Unit, pass_id: str) -> Pass:
    """The pass; raises NotFound."""
    row = unit.connection.execute(_PASS, given(unit, id=pass_id)).first()
    if row is None:
        raise NotFound("There is no such pass", "Open the page again.")
    return _pass(row)


def passes_of(unit: Unit, visit_id: str) -> tuple[Pass, ...]:
    """Every pass of a visit, oldest first."""
    rows = unit.once(
        ("passes", visit_id), lambda: unit.connection.execute(_OF_VISIT, given(unit, visit_id=visit_id)).all()
    )
    return tuple(_pass(row) for row in rows)


def find_by_code(unit: Unit, code: str) -> Pass | None:
    """The pass with this code in this shop, whatever its state."""
    query = select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.hash.in_(unit.opener.lookups(PASS_INDEX, code)))
    row = unit.connection.execute(query).first()
    return _pass(row) if row else None


def find_pass(db: Database, code: str) -> Found | None:
    """One look at one unique index, over all shops."""
    query = select(_T.c.shop_id, _T.c.visit_id, _T.c.state, _T.c.expires_at)
    with db.glance.connect() as connection:
        row = connection.execute(query.where(_T.c.hash.in_(db.vault.lookups(PASS_INDEX, code)))).first()
    return Found(row.shop_id, row.visit_id, row.state, row.expires_at) if row else None


def passes_over(unit: Unit, now: datetime) -> tuple[Pass, ...]:
    """Those asked for or open whose time has run out."""
    rows = unit.connection.execute(
        select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.state.in_(_LIVE), _T.c.expires_at <= now).order_by(_T.c.id)
    )
    return tuple(_pass(row) for row in rows.all())


def _change(unit: Unit, found: Pass, **columns: Any) -> None:
    same = (_T.c.shop_id == unit.shop_id, _T.c.id == found.id)
    unit.connection.execute(update(_T).where(*same).values(**columns))


def _hash(unit: Unit, code: str) -> str:
    """Keyed, so that a stolen file cannot be searched for 64 bits."""
    return unit.opener.lookup(PASS_INDEX, code)


def _pass(row: Any) -> Pass:
    return Pass(**{name: getattr(row, name) for name in Pass.__dataclass_fields__})
