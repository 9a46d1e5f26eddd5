"""The stories of many devices at once: of all that were here since some day, only the events that are asked for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import Subquery, func, select

from notify.core.events import Event
from notify.core.tickets import OPEN_PHASES
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import one_of

_T, _E = s.tickets, s.events


@dataclass(frozen=True, slots=True)
class Story:
    """One device's events, in the order of recording, and the kind of its repair; None where it names none."""

    ticket_id: str
    kind_id: str | None
    events: tuple[Event, ...]


def count_here(unit: Unit, first: datetime) -> int:
    """How many devices were here at some time since that instant."""
    here = _here(unit, first)
    return int(unit.connection.execute(select(func.count()).select_from(_T).where(*here)).scalar_one())


def here_since(unit: Unit, first: datetime, kinds: Iterable[str], *, limit: int) -> Iterator[Story]:
    """The story of each device that was here since that instant, in events of these kinds.

    The `limit` that moved last, where there are more. One statement, read as it comes.
    """
    those = _newest(unit, first, limit)
    query = (
        select(_E.c.id, _E.c.ticket_id, _E.c.visit_id, _E.c.kind, _E.c.at, _E.c.codes, those.c.kind_id)
        .join(those, _E.c.ticket_id == those.c.id)
        .where(_E.c.shop_id == unit.shop_id, one_of(_E.c.kind, sorted(kinds)))
        .order_by(_E.c.ticket_id, _E.c.seq)
    )
    rows = unit.connection.execute(query)
    for (ticket_id, kind_id), mine in groupby(rows, key=lambda row: (row.ticket_id, row.kind_id)):
        yield Story(ticket_id, kind_id, tuple(_event(row) for row in mine))


def _here(unit: Unit, first: datetime) -> tuple[Any, ...]:
    return _T.c.shop_id == unit.shop_id, one_of(_T.c.phase, OPEN_PHASES) | (_T.c.phase_since >= first)


def _newest(unit: Unit, first: datetime, limit: int) -> Subquery:
    return (
        select(_T.c.id, _T.c.kind_id)
        .where(*_here(unit, first))
        .order_by(_T.c.phase_since.desc(), _T.c.id)
        .limit(limit)
        .subquery()
    )


def _event(row: Any) -> Event:
    return Event(row.id, row.kind, row.at, row.visit_id, row.ticket_id, codes=row.codes)
