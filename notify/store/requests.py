"""What people asked about their own data: one row a request, its words sealed under the person's key."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import func, insert, select, update

from notify.core.errors import NotFound
from notify.core.requests import DONE, OPEN, Kind, erased_from
from notify.store import schema as s
from notify.store import statements
from notify.store.database import Unit
from notify.store.people import SET_ASIDE
from notify.store.statements import given, is_in, where

_T = s.requests
_NEXT = select(func.coalesce(func.max(_T.c.seq), 0) + 1).where(*where(_T)).scalar_subquery()
ADD = insert(_T).values(seq=_NEXT)


@dataclass(frozen=True, slots=True)
class Request:
    """One request. `note` holds what was asked and said about it, a line each; empty once they are forgotten."""

    id: str
    seq: int
    person_id: str
    visit_id: str
    kind: Kind
    state: str
    how: str
    received_at: datetime
    proved_at: datetime | None
    due_on: date
    extended_to: date | None
    note: str
    reason: str
    ended_at: datetime | None
    staff_id: str
    lifted_at: datetime | None = None

    @property
    def in_force(self) -> bool:
        """Whether the person's data are set aside by it: a restriction that was done, and not lifted since."""
        return self.kind is Kind.RESTRICTION and self.state == DONE and self.lifted_at is None

    @property
    def last_day(self) -> date:
        """The day by which it must be answered as it stands."""
        return self.extended_to or self.due_on

    @property
    def asked_at(self) -> datetime:
        """Since when it is known that it is them: before, no rest begins."""
        return max(self.received_at, self.proved_at or self.received_at)

    @property
    def rests_until(self) -> datetime | None:
        """Until when an erasure can be taken back for sure.

        None for other kinds, and while nobody made sure who asks.
        """
        if self.kind is not Kind.ERASURE or self.proved_at is None:
            return None
        return erased_from(self.asked_at)

    @property
    def will_erase(self) -> bool:
        """Whether it ends in forgetting by itself: an erasure that is open, of somebody known to be who they are."""
        return self.kind is Kind.ERASURE and self.state == OPEN and self.proved_at is not None


def add_request(
    unit: Unit, *, person_id: str, visit_id: str, kind: Kind, how: str, received_at: datetime,
    proved_at: datetime | None, due_on: date, note: str, staff_id: str | None, ended_at: datetime | None = None,
) -> str:  # fmt: skip
    """Keeps a new request, open unless it `ended_at` once; its identifier."""
    new = unit.new_id()
    sealed = unit.seal(person_id, "requests", new, "note", note) if note else None
    values = {
        "shop_id": unit.shop_id, "id": new, "person_id": person_id, "visit_id": visit_id, "kind": kind.value,
        "state": DONE if ended_at else OPEN, "how": how, "received_at": received_at, "proved_at": proved_at,
        "due_on": due_on, "note_sealed": sealed, "reason": "", "ended_at": ended_at, "staff_id": staff_id,
    }  # fmt: skip
    unit.connection.execute(ADD, {**given(unit), **values})
    return new


def get_request(unit: Unit, request_id: str) -> Request:
    """One request; raises NotFound."""
    row = unit.connection.execute(select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == request_id)).first()
    if row is None:
        raise NotFound("There is no such request", "Look at the list of requests.")
    return _request(unit, row)


def hold_person(unit: Unit, person_id: str) -> None:
    """Until the transaction ends nobody else takes a request of this person: the second of two waits for the first."""
    p = s.people
    query = select(p.c.id).where(p.c.shop_id == unit.shop_id, p.c.id == person_id).with_for_update()
    unit.connection.execute(query).first()


def requests_of(unit: Unit, person_id: str) -> tuple[Request, ...]:
    """Every request of a person, the newest first."""
    query = select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.person_id == person_id).order_by(_T.c.seq.desc())
    return tuple(_request(unit, row) for row in unit.connection.execute(query).all())


def open_requests(unit: Unit) -> tuple[Request, ...]:
    """Those that wait for an answer, whose day comes first on top."""
    last = func.coalesce(_T.c.extended_to, _T.c.due_on)
    query = select(_T).where(_T.c.shop_id == unit.shop_id, is_in(_T.c.state, OPEN)).order_by(last, _T.c.seq)
    return tuple(_request(unit, row) for row in unit.connection.execute(query).all())


def asked_to_erase(unit: Unit) -> Mapping[str, datetime]:
    """person -> from when on they are forgotten because they asked, of those known to be who they are."""
    return {one.person_id: one.rests_until for one in open_requests(unit) if one.rests_until is not None}


def ended_requests(unit: Unit, *, limit: int) -> tuple[Request, ...]:
    """The newest that are over."""
    query = select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.state != OPEN).order_by(_T.c.seq.desc()).limit(limit)
    return tuple(_request(unit, row) for row in unit.connection.execute(query).all())


def in_force(unit: Unit) -> tuple[Request, ...]:
    """Those by which somebody's data are set aside, the newest first."""
    query = select(_T).where(_T.c.shop_id == unit.shop_id, *SET_ASIDE).order_by(_T.c.seq.desc())
    return tuple(_request(unit, row) for row in unit.connection.execute(query).all())


def set_aside_among(unit: Unit, person_ids: Iterable[str]) -> frozenset[str]:
    """Those of these people whose data are set aside."""
    query = select(_T.c.person_id).where(_T.c.shop_id == unit.shop_id, _T.c.person_id.in_(list(person_ids)), *SET_ASIDE)
    return frozenset(unit.connection.execute(query).scalars())


def lift(unit: Unit, person_id: str, *, at: datetime) -> None:
    """Ends every restriction of a person."""
    mine = (_T.c.shop_id == unit.shop_id, _T.c.person_id == person_id, *SET_ASIDE)
    unit.connection.execute(update(_T).where(*mine).values(lifted_at=at))


def ids_beginning(unit: Unit, beginning: str) -> tuple[str, ...]:
    """The identifiers that begin so (statements.ids_beginning)."""
    return statements.ids_beginning(unit, _T, beginning)


def mark_proved(unit: Unit, request_id: str, *, at: datetime) -> None:
    """Notes that it is known who asks."""
    _change(unit, request_id, proved_at=at)


def extend(unit: Unit, request_id: str, until: date) -> None:
    """Notes the later day."""
    _change(unit, request_id, extended_to=until)


def end(unit: Unit, request_id: str, state: str, *, at: datetime, reason: str, staff_id: str | None) -> None:
    """It is done, refused (with its `reason`) or withdrawn."""
    _change(unit, request_id, state=state, ended_at=at, reason=reason, staff_id=staff_id)


def write_note(unit: Unit, request: Request, note: str) -> None:
    """Puts another note in place of the one it has."""
    _change(unit, request.id, note_sealed=unit.seal(request.person_id, "requests", request.id, "note", note))


def _change(unit: Unit, request_id: str, **columns: Any) -> None:
    unit.connection.execute(update(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == request_id).values(**columns))


def _request(unit: Unit, row: Any) -> Request:
    return Request(
        row.id, row.seq, row.person_id, row.visit_id, Kind(row.kind), row.state, row.how, row.received_at,
        row.proved_at, row.due_on, row.extended_to, _note(unit, row), row.reason, row.ended_at, row.staff_id or "",
        row.lifted_at,
    )  # fmt: skip


def _note(unit: Unit, row: Any) -> str:
    """Empty for somebody whose key is gone."""
    try:
        return unit.open(row.person_id, "requests", row.id, "note", row.note_sealed)
    except NotFound:
        return ""
