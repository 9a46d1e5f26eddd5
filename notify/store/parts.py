"""Parts that tickets wait for: rows in, opened parts out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, insert, or_, select, update

from notify.core.errors import NotFound
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.statements import among, given, one_of, rows_among, where

_T = s.parts
_OF_TICKET = select(_T).where(*where(_T, "ticket_id")).order_by(_T.c.needed_at, _T.c.id)
_BY_ID = select(_T).where(*where(_T), among(_T, "id"))
_STATE = select(_T.c.state).where(*where(_T, "id"))
_LINE = ("id", "ticket_id", "state", "supplier_id", "needed_at", "due_at", "article", "order_ref", "slip", "changes")
_WAITING = select(*(_T.c[name] for name in _LINE)).where(*where(_T), one_of(_T.c.state, ("needed", "ordered")))


@dataclass(frozen=True, slots=True)
class Part:
    """One part, opened. `label` is the short code on its bag; `cost` in the shop's minor unit.

    `instead_of` is the part in whose place it is needed. `changes` counts every change of its row.
    """

    id: str
    ticket_id: str
    person_id: str
    name: str
    label: str
    state: str
    supplier_id: str | None
    needed_at: datetime
    ordered_at: datetime | None
    due_at: datetime | None
    arrived_at: datetime | None
    article: str = ""
    order_ref: str = ""
    slip: str = ""
    cost: int | None = None
    ended_at: datetime | None = None
    instead_of: str | None = None
    late_days: int | None = None
    told_late_at: datetime | None = None
    changes: int = 0


@dataclass(frozen=True, slots=True)
class OrderLine:
    """A part that is missing, as its order line says it; its name stays sealed."""

    id: str
    ticket_id: str
    state: str
    supplier_id: str | None
    needed_at: datetime
    due_at: datetime | None
    article: str
    order_ref: str
    slip: str
    changes: int


def add_part(
    unit: Unit, *, ticket_id: str, person_id: str, name: str, label: str, at: datetime, article: str = "",
    instead_of: str | None = None,
) -> str:  # fmt: skip
    """Adds a needed part; its identifier."""
    new = unit.new_id()
    unit.connection.execute(
        insert(s.parts).values(
            shop_id=unit.shop_id,
            id=new,
            ticket_id=ticket_id,
            person_id=person_id,
            label=label,
            state="needed",
            name_sealed=unit.seal(person_id, "parts", new, "name", name),
            needed_at=at,
            article=article,
            instead_of=instead_of,
        )
    )
    return new


def label_taken(unit: Unit, label: str) -> bool:
    """Whether a part label is already in use in this shop."""
    t = s.parts
    return (
        unit.connection.execute(select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.label == label)).first()
        is not None
    )


def get_part(unit: Unit, part_id: str, *, lock: bool = False) -> Part:
    """The part with this identifier or label; raises NotFound."""
    t = s.parts
    query = select(t).where(t.c.shop_id == unit.shop_id, (t.c.id == part_id) | (t.c.label == part_id))
    row = unit.connection.execute(query.with_for_update() if lock else query).first()
    if row is None:
        raise NotFound(f"There is no part {part_id[:20]!r}", "Look at the deliveries list.", field="part")
    return _opened(unit, row)


def parts_by_id(unit: Unit, part_ids: Sequence[str]) -> dict[str, Part]:
    """identifier -> part, for those of these that are there."""
    rows = rows_among(unit, _BY_ID, "id", list(part_ids)) if part_ids else ()
    return {row.id: _opened(unit, row) for row in rows}


def state_of(unit: Unit, part_id: str) -> str:
    """Where a part stands; empty when there is no such part. Opens nothing."""
    return str(unit.connection.execute(_STATE, given(unit, id=part_id)).scalar() or "")


def waiting_lines(unit: Unit) -> tuple[OrderLine, ...]:
    """Every part that is needed or ordered and not here; no name is opened."""
    return tuple(OrderLine(*row) for row in unit.connection.execute(_WAITING, given(unit)))


def lines_in(unit: Unit, states: Sequence[str]) -> tuple[OrderLine, ...]:
    """Every part in one of these states (words of the code's own); no name is opened."""
    found = select(*(_T.c[name] for name in _LINE)).where(_T.c.shop_id == unit.shop_id, _T.c.state.in_(states))
    return tuple(OrderLine(*row) for row in unit.connection.execute(found))


def parts_of(unit: Unit, ticket_id: str) -> tuple[Part, ...]:
    """Every part of a ticket, oldest first."""
    rows = unit.connection.execute(_OF_TICKET, given(unit, ticket_id=ticket_id))
    return tuple(_opened(unit, row) for row in rows.all())


def parts_in(unit: Unit, states: Iterable[str]) -> tuple[Part, ...]:
    """Parts in any of `states`, the earliest due first."""
    wanted = tuple(states)
    return unit.once(("parts_in", " ".join(wanted)), lambda: _parts_in(unit, wanted))


def _parts_in(unit: Unit, states: Sequence[str]) -> tuple[Part, ...]:
    t = s.parts
    rows = unit.connection.execute(
        select(t).where(t.c.shop_id == unit.shop_id, t.c.state.in_(states)).order_by(t.c.due_at, t.c.needed_at)
    )
    return _all_opened(unit, rows.all())


def parts_after(unit: Unit, after: str, states: Iterable[str], *, limit: int) -> tuple[Part, ...]:
    """Parts in any of `states` behind identifier `after`, in the order of identifiers, by the primary key."""
    wanted = (_T.c.shop_id == unit.shop_id, _T.c.id > after, _T.c.state.in_(list(states)))
    rows = unit.connection.execute(select(_T).where(*wanted).order_by(_T.c.id).limit(limit))
    return tuple(_opened(unit, row) for row in rows.all())


def to_send_back(unit: Unit) -> tuple[Part, ...]:
    """Parts that lie here and go back to their suppliers (core/parts.goes_back), the one that ended first on top."""
    here = or_(_T.c.state.in_(("dead", "wrong")), (_T.c.state == "not_needed") & _T.c.arrived_at.is_not(None))
    rows = unit.connection.execute(
        select(_T).where(_T.c.shop_id == unit.shop_id, here).order_by(_T.c.ended_at, _T.c.id)
    )
    return tuple(_opened(unit, row) for row in rows.all())


def replacement_of(unit: Unit, part_id: str) -> Part | None:
    """The newest part that is needed in place of this one."""
    rows = unit.connection.execute(
        select(_T)
        .where(_T.c.shop_id == unit.shop_id, _T.c.instead_of == part_id)
        .order_by(_T.c.needed_at.desc(), _T.c.id)
    )
    row = rows.first()
    return _opened(unit, row) if row is not None else None


def overdue(unit: Unit, before: datetime) -> tuple[OrderLine, ...]:
    """Ordered parts that were due before that instant and of which the shop was not told; the earliest first."""
    due = (_T.c.shop_id == unit.shop_id, _T.c.state == "ordered", _T.c.due_at < before, _T.c.told_late_at.is_(None))
    found = select(*(_T.c[name] for name in _LINE)).where(*due).order_by(_T.c.due_at, _T.c.id)
    return tuple(OrderLine(*row) for row in unit.connection.execute(found))


def told_late_since(unit: Unit, moment: datetime) -> tuple[datetime, ...]:
    """When the shop was told of late parcels since `moment`; once for each."""
    told = (_T.c.shop_id == unit.shop_id, _T.c.told_late_at >= moment)
    return tuple(unit.connection.execute(select(_T.c.told_late_at, _T.c.supplier_id).where(*told).distinct()).scalars())


def came_with(unit: Unit, lines: Iterable[Part | OrderLine]) -> dict[str, datetime]:
    """part -> when others of its parcel came (one packing slip, or due from one supplier at one instant)."""
    whole = list(lines)
    suppliers = {one.supplier_id for one in whole if one.supplier_id}
    if not suppliers:
        return {}
    oldest = min(one.needed_at for one in whole)
    here = (_T.c.shop_id == unit.shop_id, _T.c.supplier_id.in_(suppliers), _T.c.arrived_at >= oldest)
    rows = unit.connection.execute(select(_T.c.supplier_id, _T.c.due_at, _T.c.slip, _T.c.arrived_at).where(*here)).all()
    first: dict[tuple[str, object], datetime] = {}
    for row in rows:
        for key in ((row.supplier_id, row.due_at), (row.supplier_id, row.slip)):
            first[key] = min(row.arrived_at, first.get(key, row.arrived_at))
    known = [one for one in whole if one.slip or one.due_at]
    found = {one.id: first.get((one.supplier_id or "", one.slip or one.due_at)) for one in known}
    return {one: at for one, at in found.items() if at is not None}


def count_due(unit: Unit, before: datetime) -> int:
    """How many ordered parts should be here before that instant; opens nothing."""
    t = s.parts
    due = (t.c.shop_id == unit.shop_id, t.c.state == "ordered", t.c.due_at < before)
    return int(unit.connection.execute(select(func.count()).select_from(t).where(*due)).scalar_one())


def arrived_since(unit: Unit, moment: datetime) -> tuple[Part, ...]:
    """Parts that came in since `moment`, the newest first."""
    t = s.parts
    rows = unit.connection.execute(
        select(t).where(t.c.shop_id == unit.shop_id, t.c.arrived_at >= moment).order_by(t.c.arrived_at.desc(), t.c.id)
    )
    return _all_opened(unit, rows.all())


def change_part(unit: Unit, part: Part | OrderLine, **columns: Any) -> None:
    """Writes changed columns of a part."""
    changed = {**columns, "changes": _T.c.changes + 1}
    unit.connection.execute(update(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == part.id).values(**changed))


def _all_opened(unit: Unit, rows: Sequence[Any]) -> tuple[Part, ...]:
    """Many parts with one look at the keys."""
    unit.opener.fetch({row.person_id for row in rows})
    return tuple(_opened(unit, row) for row in rows)


def _opened(unit: Unit, row: Any) -> Part:
    known = row._mapping
    name = unit.open(row.person_id, "parts", row.id, "name", row.name_sealed)
    return Part(**{key: known[key] for key in Part.__dataclass_fields__ if key != "name"}, name=name)
