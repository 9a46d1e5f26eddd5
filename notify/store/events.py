"""The append-only story: events in, events out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, func, insert, select

from notify.core.events import Event
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.prepared import Prepared
from notify.store.statements import among, given, is_in, where

_T = s.events
# The next number is found in the same statement that uses it; writers of one shop follow each other.
_NEXT = select(func.coalesce(func.max(_T.c.seq), 0) + 1).where(*where(_T)).scalar_subquery()
_OF_VISIT = select(_T).where(*where(_T, "visit_id")).order_by(_T.c.seq)
_OF_TICKET = _OF_VISIT.where((_T.c.ticket_id == bindparam("ticket")) | _T.c.ticket_id.is_(None))
_OWN = (
    select(_T.c.id, _T.c.kind, _T.c.at, _T.c.visit_id, _T.c.ticket_id, _T.c.codes)
    .where(*where(_T), among(_T, "ticket_id"))
    .order_by(_T.c.ticket_id, _T.c.seq)
)
_NEWEST = select(_T).where(
    *where(_T),
    _T.c.seq.in_(
        select(func.max(_T.c.seq))
        .where(*where(_T), among(_T, "ticket_id"), among(_T, "kind"))
        .group_by(_T.c.ticket_id)
        .correlate(None)
    ),
)
_APPEND = Prepared(insert(_T).values(seq=_NEXT).inline())


def append(unit: Unit, event: Event, *, recorded_at: datetime) -> None:
    """Adds one event at the end of the shop's story."""
    _APPEND.later(unit.connection, _values(unit, event, recorded_at))


def append_alike(unit: Unit, event: Event, visit_ids: Iterable[str], *, recorded_at: datetime) -> None:
    """Adds the same event of many visits, each with an identifier of its own, in their order."""
    same = _values(unit, event, recorded_at)
    rows = [{"id": unit.new_id(), "visit_id": visit_id} for visit_id in visit_ids]
    if rows:
        _APPEND.write_all(unit.connection, rows, same=same)


def _values(unit: Unit, event: Event, recorded_at: datetime) -> dict[str, Any]:
    return {
        **given(unit), "shop_id": unit.shop_id, "id": event.id, "visit_id": event.visit_id,
        "ticket_id": event.ticket_id or None, "kind": event.kind, "at": event.at, "recorded_at": recorded_at,
        "actor_kind": event.actor_kind, "actor_id": event.actor_id or None, "codes": dict(event.codes),
    }  # fmt: skip


def get_event(unit: Unit, event_id: str) -> Event | None:
    """One event, or None."""
    t = s.events
    row = unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id, t.c.id == event_id)).first()
    return as_event(row) if row else None


def newest_of(unit: Unit, ticket_ids: Iterable[str], kinds: Iterable[str]) -> Mapping[str, tuple[Event, datetime]]:
    """ticket -> its newest event of these kinds, and when that was written down."""
    ids = sorted(set(ticket_ids))
    if not ids:
        return {}
    values = {**given(unit), "any_ticket_id": ids, "any_kind": sorted(kinds)}
    rows = unit.connection.execute(_NEWEST, values).all()
    return {row.ticket_id: (as_event(row), row.recorded_at) for row in rows}


def recorded_at(unit: Unit, event: Event) -> datetime:
    """When an event was written down, which may be long after it happened."""
    t = s.events
    same = (t.c.shop_id == unit.shop_id, t.c.id == event.id)
    found: datetime | None = unit.connection.execute(select(t.c.recorded_at).where(*same)).scalar()
    return found or event.at


def story_of(unit: Unit, *, visit_id: str, ticket_id: str = "") -> tuple[Event, ...]:
    """The events of a visit, or of one of its tickets with those of the whole visit, in order."""
    query, values = (_OF_TICKET, {"ticket": ticket_id}) if ticket_id else (_OF_VISIT, {})
    rows = unit.connection.execute(query, {**given(unit, visit_id=visit_id), **values})
    return tuple(as_event(row) for row in rows)


def stories_of(unit: Unit, ticket_ids: Iterable[str]) -> Mapping[str, tuple[Event, ...]]:
    """ticket -> its own events in order, without those of its whole visit and without who did it; for many at once."""
    ids = sorted(set(ticket_ids))
    rows = unit.connection.execute(_OWN, {**given(unit), "any_ticket_id": ids}).all() if ids else ()
    stories: dict[str, list[Event]] = {}
    for new, kind, at, visit_id, ticket_id, codes in rows:
        stories.setdefault(ticket_id, []).append(Event(new, kind, at, visit_id, ticket_id, codes=codes))
    return {ticket_id: tuple(story) for ticket_id, story in stories.items()}


def refused_since(unit: Unit, moment: datetime) -> tuple[tuple[str, datetime], ...]:
    """(visit, when last) of the visits for which a wrong secret was shown at the desk since then, the newest first."""
    last = func.max(_T.c.at)
    rows = unit.connection.execute(
        select(_T.c.visit_id, last)
        .where(_T.c.shop_id == unit.shop_id, is_in(_T.c.kind, "handover_refused"), _T.c.at > moment)
        .group_by(_T.c.visit_id)
        .order_by(last.desc(), _T.c.visit_id)
    )
    return tuple((row[0], row[1]) for row in rows)


def since(unit: Unit, moment: datetime, *, limit: int = 200) -> tuple[Event, ...]:
    """The newest events recorded since `moment`, newest first."""
    t = s.events
    rows = unit.connection.execute(
        select(t).where(t.c.shop_id == unit.shop_id, t.c.recorded_at >= moment).order_by(t.c.seq.desc()).limit(limit)
    )
    return tuple(as_event(row) for row in rows)


def after(unit: Unit, seq: int, *, limit: int) -> tuple[tuple[int, Event], ...]:
    """(number, event) of the shop's story behind number `seq`, in order.

    Writers of one shop follow each other, so no lower number can appear later.
    """
    query = select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.seq > seq).order_by(_T.c.seq).limit(limit)
    return tuple((row.seq, as_event(row)) for row in unit.connection.execute(query))


def as_event(row: Any) -> Event:
    """The event that a row of the table is."""
    return Event(
        id=row.id,
        kind=row.kind,
        at=row.at,
        visit_id=row.visit_id,
        ticket_id=row.ticket_id or "",
        actor_kind=row.actor_kind,
        actor_id=row.actor_id or "",
        codes=row.codes,
    )
