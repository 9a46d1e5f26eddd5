"""The shop's rules of keeping: dated rows, of which the newest whose day has come counts, else the table's own."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from sqlalchemy import bindparam, delete, insert, select

from notify.core.retention import DATA_CLASSES, Rule, default_rule, ruled
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.shops import note_change, remembered
from notify.store.statements import given, where

_T = s.retention_rules
_RULES = select(_T).where(*where(_T), _T.c.valid_from <= bindparam("today")).order_by(_T.c.data_class, _T.c.valid_from)
_WRITTEN = select(_T).where(*where(_T)).order_by(_T.c.data_class, _T.c.valid_from)


def rules(unit: Unit, today: date) -> Mapping[str, Rule]:
    """The rule of every kind of data that has one, as they count on that day."""
    return remembered(unit, "retention", lambda: _read(unit, today), on=today)


def rule(unit: Unit, data_class: str, today: date) -> Rule:
    """The rule of one kind of data on that day. Raises Invalid for a kind that has none."""
    ruled(data_class)
    return rules(unit, today)[data_class]


def read_rule(unit: Unit, data_class: str, day: date) -> Rule:
    """The same of another day than today's, as it is written by now."""
    ruled(data_class)
    return _read(unit, day)[data_class]


def _read(unit: Unit, today: date) -> Mapping[str, Rule]:
    own = {row.data_class: _rule(row) for row in unit.connection.execute(_RULES, {**given(unit), "today": today})}
    return {code: own.get(code) or default_rule(code) for code, one in DATA_CLASSES.items() if one.is_ruled}


def list_written(unit: Unit) -> tuple[Rule, ...]:
    """Every row the shop has written, also past ones and those still to come, by kind and day."""
    return tuple(_rule(row) for row in unit.connection.execute(_WRITTEN, given(unit)))


def put_rule(unit: Unit, new: Rule, *, at: datetime, staff_id: str | None) -> None:
    """Writes a row that counts from its `valid_from` on.

    What was written for that kind and this day, or a later one, is gone: writing what was there takes a slip back.
    """
    later = (_T.c.shop_id == unit.shop_id, _T.c.data_class == new.data_class, _T.c.valid_from >= new.valid_from)
    unit.connection.execute(delete(_T).where(*later))
    unit.connection.execute(
        insert(_T).values(
            shop_id=unit.shop_id, data_class=new.data_class, valid_from=new.valid_from, period=new.period,
            clock=new.clock, exceptions=list(new.exceptions), source=new.source, checked_on=new.checked_on,
            made_at=at, staff_id=staff_id,
        )
    )  # fmt: skip
    note_change(unit)


def _rule(row: Any) -> Rule:
    return Rule(
        row.data_class, row.period, row.clock, tuple(row.exceptions), row.source, row.checked_on, row.valid_from
    )
