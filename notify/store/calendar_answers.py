"""What customers' calendars said about bookings, what was decided, and which of it waits for staff."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, insert, or_, select, update

from notify.core.errors import NotFound
from notify.core.itip import Decision
from notify.store import schema as s
from notify.store import statements
from notify.store.database import Unit
from notify.store.statements import given, is_in, where

NOTED, OPEN, SETTLED = "noted", "open", "settled"
LARGEST_SEQUENCE = 2**31 - 1  # what the column holds
_T = s.calendar_answers
_NEXT = select(func.coalesce(func.max(_T.c.seq), 0) + 1).where(*where(_T)).scalar_subquery()
_ADD = insert(_T).values(seq=_NEXT)


@dataclass(frozen=True, slots=True)
class CalendarAnswer:
    """One answer. `decision`, `partstat` and `settled_how` are codes of core/itip and core/calendar_choices.

    `wants_start` and `wants_end` (UTC) are the time that a proposal asks for, None where it could not be read.
    """

    id: str
    seq: int
    booking_id: str
    visit_id: str
    reply_id: str | None
    method: str
    partstat: str
    sequence: int
    stamp: datetime | None
    decision: str
    wants_start: datetime | None
    wants_end: datetime | None
    state: str
    at: datetime
    settled_at: datetime | None
    settled_how: str
    staff_id: str | None


@dataclass(frozen=True, slots=True)
class Said:
    """The content of a new row, as CalendarAnswer."""

    method: str
    partstat: str
    sequence: int
    stamp: datetime | None
    decision: Decision
    wants_start: datetime | None = None
    wants_end: datetime | None = None


def add_answer(
    unit: Unit, *, booking_id: str, visit_id: str, reply_id: str, said: Said, state: str, how: str, at: datetime
) -> str:
    """Keeps an answer; its identifier."""
    new = unit.new_id()
    values = {
        "shop_id": unit.shop_id, "id": new, "booking_id": booking_id, "visit_id": visit_id, "reply_id": reply_id,
        "method": said.method, "partstat": said.partstat, "sequence": min(said.sequence, LARGEST_SEQUENCE),
        "stamp": said.stamp, "decision": said.decision, "wants_start": said.wants_start, "wants_end": said.wants_end,
        "state": state, "at": at, "settled_how": how,
    }  # fmt: skip
    unit.connection.execute(_ADD, {**given(unit), **values})
    return new


def get_answer(unit: Unit, answer_id: str) -> CalendarAnswer:
    """One answer; raises NotFound."""
    row = unit.connection.execute(select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == answer_id)).first()
    if row is None:
        raise NotFound("There is no such calendar answer", "Look at the list of pickups.", field="answer")
    return _answer(row)


def open_answers(unit: Unit, *, limit: int = 200) -> tuple[CalendarAnswer, ...]:
    """What waits for staff, the oldest first."""
    query = select(_T).where(_T.c.shop_id == unit.shop_id, is_in(_T.c.state, OPEN)).order_by(_T.c.seq).limit(limit)
    return tuple(_answer(row) for row in unit.connection.execute(query))


def answers_of(unit: Unit, booking_id: str) -> tuple[CalendarAnswer, ...]:
    """Everything that was said about a booking, the oldest first."""
    query = select(_T).where(_T.c.shop_id == unit.shop_id, _T.c.booking_id == booking_id).order_by(_T.c.seq)
    return tuple(_answer(row) for row in unit.connection.execute(query))


def proved_among(unit: Unit, booking_ids: Iterable[str]) -> Mapping[str, bool]:
    """Booking -> whether the newest answer that counted for it was proved; none for a booking without any."""
    counted = (Decision.APPLY, Decision.APPLY_UNVERIFIED)
    query = select(_T.c.booking_id, _T.c.decision).where(
        _T.c.shop_id == unit.shop_id, _T.c.booking_id.in_(list(booking_ids)), _T.c.decision.in_(counted)
    ).order_by(_T.c.seq)  # fmt: skip
    return {row.booking_id: row.decision == Decision.APPLY for row in unit.connection.execute(query)}


def settle_answer(unit: Unit, answer_id: str, *, how: str, staff_id: str | None, at: datetime) -> bool:
    """Ends an open question; False when it had ended before."""
    same = (_T.c.shop_id == unit.shop_id, _T.c.id == answer_id, _T.c.state == OPEN)
    changed = update(_T).where(*same).values(state=SETTLED, settled_at=at, settled_how=how, staff_id=staff_id)
    return bool(unit.connection.execute(changed).rowcount)


def end_questions(
    unit: Unit, booking_id: str, *, among: Collection[Decision], sequence: int, stamp: datetime | None, how: str,
    at: datetime,
) -> int:  # fmt: skip
    """Ends the open questions of a booking with these decisions that are no newer than the answer given; how many.

    By SEQUENCE, then DTSTAMP (RFC 5546 2.1.5); what has no stamp is as old as anything.
    """
    older = _T.c.sequence < sequence
    if stamp is not None:
        older = or_(older, (_T.c.sequence == sequence) & or_(_T.c.stamp.is_(None), _T.c.stamp <= stamp))
    same = (_T.c.shop_id == unit.shop_id, _T.c.booking_id == booking_id, _T.c.state == OPEN)
    these = (*same, _T.c.decision.in_(list(among)), older)
    return unit.connection.execute(
        update(_T).where(*these).values(state=SETTLED, settled_at=at, settled_how=how)
    ).rowcount


def count_settled_so(unit: Unit, booking_id: str, *, how: str, since: datetime) -> int:
    """How many answers about a booking ended so from that instant on."""
    query = select(func.count()).select_from(_T).where(
        _T.c.shop_id == unit.shop_id, _T.c.booking_id == booking_id, _T.c.settled_how == how, _T.c.at >= since
    )  # fmt: skip
    return int(unit.connection.execute(query).scalar_one())


def count_waiting(unit: Unit, booking_id: str, decision: Decision) -> int:
    """How many open questions a booking has with this decision."""
    same = (_T.c.shop_id == unit.shop_id, _T.c.booking_id == booking_id, _T.c.state == OPEN, _T.c.decision == decision)
    return int(unit.connection.execute(select(func.count()).select_from(_T).where(*same)).scalar_one())


def count_asked(unit: Unit, booking_id: str, *, since: datetime) -> int:
    """How many questions about a booking came from that instant on, whatever became of them."""
    same = (_T.c.shop_id == unit.shop_id, _T.c.booking_id == booking_id, _T.c.state != NOTED, _T.c.at >= since)
    return int(unit.connection.execute(select(func.count()).select_from(_T).where(*same)).scalar_one())


def answer_ids_beginning(unit: Unit, beginning: str) -> tuple[str, ...]:
    """The identifiers that begin so (statements.ids_beginning)."""
    return statements.ids_beginning(unit, _T, beginning)


def _answer(row: Any) -> CalendarAnswer:
    names = list(CalendarAnswer.__dataclass_fields__)
    return CalendarAnswer(**{name: getattr(row, name) for name in names})
