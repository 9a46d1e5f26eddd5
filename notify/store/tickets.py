"""Tickets: rows in, opened tickets out, changes guarded by a version. A little long: one table, one room."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, TypeVar

from sqlalchemy import bindparam, func, insert, select, update

from notify.core.errors import Conflict, NotFound
from notify.core.tickets import OPEN_PHASES, Phase
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.prepared import Prepared
from notify.store.statements import among, given, rows_among, where

_TEXTS = ("device", "fault", "condition", "accessories", "token")
_T = s.tickets
_TICKET = select(_T).where(*where(_T, "id"))
_TICKET_LOCKED = _TICKET.with_for_update()
_JOBS = {
    name: select(_T).where(*where(_T), among(_T, name)).order_by(_T.c.id).with_for_update() for name in ("id", "number")
}
_BY_TOKEN = select(_T).where(*where(_T, "token_hash"))
_OF_VISIT = select(_T).where(*where(_T, "visit_id")).order_by(_T.c.created_at, _T.c.number)
_BY_ID = select(_T).where(*where(_T), among(_T, "id"))
_OF_VISITS = select(_T).where(*where(_T), among(_T, "visit_id")).order_by(_T.c.created_at, _T.c.number)
_IN_PHASES = (
    select(_T).where(*where(_T), among(_T, "phase")).order_by(_T.c.phase_since, _T.c.number).limit(bindparam("so_many"))
)
_PHASES = Prepared(select(_T.c.id, _T.c.phase).where(*where(_T, "visit_id")))
_CHANGE = Prepared(update(_T).where(*where(_T, "id", "version")))


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A ticket whose texts stay sealed: all that a move needs. Amounts are in minor units."""

    id: str
    visit_id: str
    person_id: str
    number: str
    phase: Phase
    outcome: str
    reason: str
    device_class: str
    price_agreed: int | None
    price_limit: int | None
    deposit: int | None
    paid: bool
    shelf: str
    safety: tuple[str, ...]
    follows_id: str | None
    technician_id: str | None
    kind_id: str | None
    worked_seconds: int
    promise_at: datetime | None
    created_at: datetime
    phase_since: datetime
    version: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Ticket(Job):
    """One ticket, its texts opened; `token` is the claim secret."""

    device: str
    fault: str
    condition: str
    accessories: str
    token: str


J = TypeVar("J", bound=Job)


def add_ticket(
    unit: Unit,
    *,
    visit_id: str,
    person_id: str,
    number: str,
    token_hash: str,
    texts: Mapping[str, str],
    at: datetime,
    **columns: Any,
) -> str:
    """Adds a ticket; `texts` (device, fault, condition, accessories, token) are sealed, `columns` are not."""
    new = unit.new_id()
    unit.connection.execute(
        insert(s.tickets).values(
            shop_id=unit.shop_id,
            id=new,
            visit_id=visit_id,
            person_id=person_id,
            number=number,
            token_hash=token_hash,
            phase=Phase.TAKEN_IN,
            created_at=at,
            phase_since=at,
            version=1,
            **columns,
            **_sealed(unit, person_id, new, texts),
        )
    )
    return new


def number_taken(unit: Unit, number: str) -> bool:
    """Whether a claim number is already in use in this shop, or printed on one of its pads."""
    same = (
        select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.number == number).limit(1)
        for t in (s.tickets, s.pad_tickets)
    )
    return any(unit.connection.execute(query).first() is not None for query in same)


def get_ticket(unit: Unit, ticket_id: str, *, lock: bool = False) -> Ticket:
    """The ticket; raises NotFound. With `lock` nobody else can change it until the transaction ends."""

    if lock:
        return _opened(unit, _locked(unit, ticket_id))
    row = unit.once(("ticket", ticket_id), lambda: unit.connection.execute(_TICKET, given(unit, id=ticket_id)).first())
    return _opened(unit, _found(row))


def get_job(unit: Unit, ticket_id: str) -> Job:
    """The ticket, locked, with its texts left sealed, so that no key is fetched; raises NotFound."""
    return _job(_locked(unit, ticket_id), Job)


def jobs_by(unit: Unit, *, ids: Iterable[str] = (), numbers: Iterable[str] = ()) -> tuple[Job, ...]:
    """The tickets with one of these identifiers or claim numbers, locked, their texts left sealed."""
    found: dict[str, Job] = {}
    for name, values in (("id", sorted(set(ids))), ("number", sorted(set(numbers)))):
        query, wanted = _JOBS[name], {f"any_{name}": values}
        rows = unit.connection.execute(query, {**given(unit), **wanted}).all() if values else ()
        found |= {row.id: _job(row, Job) for row in rows}
    return tuple(found.values())


def _locked(unit: Unit, ticket_id: str) -> Any:
    return _found(unit.connection.execute(_TICKET_LOCKED, given(unit, id=ticket_id)).first())


def _found(row: Any) -> Any:
    if row is None:
        raise NotFound("There is no such ticket here", "Check the claim number.")
    return row


def find_by_number(unit: Unit, number: str) -> Ticket:
    """The ticket with this claim number; raises NotFound."""
    t = s.tickets
    row = unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id, t.c.number == number)).first()
    if row is None:
        raise NotFound("No ticket has this claim number", "Read the number once more from the stub.", field="number")
    return _opened(unit, row)


def find_by_token_hash(unit: Unit, token_hash: str) -> Ticket:
    """The ticket whose claim secret has this hash; raises NotFound."""
    row = unit.connection.execute(_BY_TOKEN, given(unit, token_hash=token_hash)).first()
    if row is None:
        raise NotFound("This claim link is not known here", "It may have been replaced; ask the shop for a new one.")
    return _opened(unit, row)


def tickets_of_visit(unit: Unit, visit_id: str) -> tuple[Ticket, ...]:
    """Every ticket of a visit in the order of check-in."""
    return unit.once(
        ("opened_tickets", visit_id), lambda: tuple(_opened(unit, row) for row in _rows_of_visit(unit, visit_id))
    )


def tickets_by_id(unit: Unit, ids: Iterable[str]) -> Mapping[str, Ticket]:
    """identifier -> ticket, for those that exist."""
    wanted = sorted(set(ids))
    rows = rows_among(unit, _BY_ID, "id", wanted) if wanted else ()
    return {ticket.id: ticket for ticket in _all_opened(unit, rows)}


def tickets_of_visits(unit: Unit, visit_ids: Iterable[str]) -> Mapping[str, tuple[Ticket, ...]]:
    """visit -> its tickets in the order of check-in."""
    wanted = sorted(set(visit_ids))
    rows = rows_among(unit, _OF_VISITS, "visit_id", wanted) if wanted else ()
    out: dict[str, tuple[Ticket, ...]] = {}
    for ticket in _all_opened(unit, rows):
        out[ticket.visit_id] = (*out.get(ticket.visit_id, ()), ticket)
    return out


def tickets_in(unit: Unit, phases: Iterable[Phase], *, limit: int = 500) -> tuple[Ticket, ...]:
    """Tickets in any of `phases`, the longest waiting first."""
    given_now = {**given(unit), "any_phase": list(phases), "so_many": limit}
    return _all_opened(unit, unit.connection.execute(_IN_PHASES, given_now).all())


def tickets_after(
    unit: Unit, after: str, *, phase: Phase | None = None, number: str = "", limit: int
) -> tuple[Ticket, ...]:  # fmt: skip
    """Tickets behind identifier `after` in the order of identifiers, by the primary key."""
    query = select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id > after)
    query = query.where(_T.c.phase == phase) if phase else query
    query = query.where(_T.c.number == number) if number else query
    return _all_opened(unit, unit.connection.execute(query.order_by(_T.c.id).limit(limit)).all())


def _all_opened(unit: Unit, rows: Sequence[Any]) -> tuple[Ticket, ...]:
    """Many tickets with one look at the keys; one key at a time cost more than the rest of a page (measured)."""
    unit.opener.fetch({row.person_id for row in rows})
    return tuple(_opened(unit, row) for row in rows)


def phases_of_visit(unit: Unit, visit_id: str) -> Mapping[str, Phase]:
    """ticket identifier -> phase, without opening anything."""
    if unit.known is not None:
        return {row.id: Phase(row.phase) for row in _rows_of_visit(unit, visit_id)}
    rows = _PHASES.rows(unit.connection, given(unit, visit_id=visit_id))
    return {row.id: Phase(row.phase) for row in rows}


def shelved_since(unit: Unit, visit_id: str) -> Mapping[str, datetime]:
    """ticket identifier -> since when it is on the shelf, for those that are; opens nothing."""
    rows = _rows_of_visit(unit, visit_id)
    return {row.id: row.phase_since for row in rows if row.phase == Phase.ON_SHELF}


def visits_on_shelf(unit: Unit) -> Mapping[str, datetime]:
    """visit -> since when the newest of its ready devices is on the shelf, the oldest first; opens nothing."""
    newest = func.max(_T.c.phase_since)
    rows = unit.connection.execute(
        select(_T.c.visit_id, newest.label("since"))
        .where(_T.c.shop_id == unit.shop_id, _T.c.phase == Phase.ON_SHELF)
        .group_by(_T.c.visit_id)
        .order_by(newest, _T.c.visit_id)
    )
    return {row.visit_id: row.since for row in rows}


def _rows_of_visit(unit: Unit, visit_id: str) -> Sequence[Any]:
    return unit.once(
        ("tickets_of_visit", visit_id),
        lambda: unit.connection.execute(_OF_VISIT, given(unit, visit_id=visit_id)).all(),
    )


def change_ticket(unit: Unit, ticket: J, *, texts: Mapping[str, str] | None = None, **columns: Any) -> J:
    """Writes changed columns and texts, raises the version; raises Conflict when somebody was faster."""
    sealed = _sealed(unit, ticket.person_id, ticket.id, texts or {})
    same = given(unit, id=ticket.id, version=ticket.version)
    done = _CHANGE.later(unit.connection, {**same, "version": ticket.version + 1, **columns, **sealed})
    if done != 1:
        raise Conflict("Somebody changed this ticket meanwhile", "Look at it again, then decide.")
    new = {name: _as_read(value) for name, value in columns.items()} | dict(texts or {})
    known: dict[str, Any] = {name: new[name] for name in new.keys() & ticket.__dataclass_fields__}
    return replace(ticket, version=ticket.version + 1, **known)


def _as_read(value: Any) -> Any:
    """A value as the database would give it back."""
    if isinstance(value, datetime):
        return value.astimezone(UTC)
    return tuple(value) if isinstance(value, list) else value


def is_device_with_us(unit: Unit, visit_id: str) -> bool:
    """Whether at least one device of the visit has not gone home."""
    return any(phase in OPEN_PHASES for phase in phases_of_visit(unit, visit_id).values())


def _sealed(unit: Unit, person_id: str, ticket_id: str, texts: Mapping[str, str]) -> dict[str, bytes | None]:
    return {
        f"{name}_sealed": unit.seal(person_id, "tickets", ticket_id, name, value) if value else None
        for name, value in texts.items()
    }


def _opened(unit: Unit, row: Any) -> Ticket:
    texts = {name: unit.open(row.person_id, "tickets", row.id, name, getattr(row, f"{name}_sealed")) for name in _TEXTS}
    return _job(row, Ticket, **texts)


def _job(row: Any, kind: type[J], **texts: str) -> J:
    return kind(
        id=row.id,
        visit_id=row.visit_id,
        person_id=row.person_id,
        number=row.number,
        phase=Phase(row.phase),
        outcome=row.outcome,
        reason=row.reason,
        device_class=row.device_class,
        price_agreed=row.price_agreed,
        price_limit=row.price_limit,
        deposit=row.deposit,
        paid=row.paid,
        shelf=row.shelf,
        safety=tuple(row.safety),
        follows_id=row.follows_id,
        technician_id=row.technician_id,
        kind_id=row.kind_id,
        worked_seconds=row.worked_seconds,
        promise_at=row.promise_at,
        created_at=row.created_at,
        phase_since=row.phase_since,
        version=row.version,
        **texts,
    )
