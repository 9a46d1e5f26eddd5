"""Messages as the owner looks at them: filtered and paged, the failures, what waits, and what texts were paid for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement, Select, case, func, or_, select

from notify.core.messages import Delivery, MessageState
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.messages import Message, as_message
from notify.store.statements import is_in

_T = s.messages


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which messages: in any of `states`, of a notice, by a channel, about any of `about`; empty means all."""

    states: tuple[str, ...] = ()
    notice: str = ""
    channel: str = ""
    visit_id: str = ""
    about: tuple[str, ...] = ()
    but_not: tuple[str, ...] = ()


def find(unit: Unit, wanted: Wanted, *, limit: int, skip: int = 0) -> tuple[Message, ...]:
    """The newest messages that fit, after the first `skip` of them."""
    query = select(_T).where(*_fits(unit, wanted)).order_by(_T.c.seq.desc()).limit(limit).offset(skip)
    return _read(unit, query)


def _fits(unit: Unit, wanted: Wanted) -> Iterable[ColumnElement[bool]]:
    yield _T.c.shop_id == unit.shop_id
    if wanted.states:
        yield _among(wanted.states)
    for name in ("notice", "channel", "visit_id"):
        if getattr(wanted, name):
            yield _T.c[name] == getattr(wanted, name)
    if wanted.about:
        yield _T.c.about.in_(wanted.about)
    if wanted.but_not:
        yield _T.c.id.not_in(wanted.but_not)


def _among(states: Sequence[str]) -> ColumnElement[bool]:
    """With each state in the statement itself, so that the small indexes of waiting and failed ones are used."""
    return or_(*(is_in(_T.c.state, state) for state in states))


def given_up_since(unit: Unit, moment: datetime, *, limit: int) -> tuple[Message, ...]:
    """What was given up since then, the newest first."""
    return _read(unit, _in(unit, MessageState.GIVEN_UP).where(_T.c.ended_at > moment).limit(limit))


def to_call(unit: Unit, *, limit: int) -> tuple[Message, ...]:
    """What somebody has to phone about, the newest first."""
    return _read(unit, _in(unit, MessageState.TO_CALL).limit(limit))


def waiting(unit: Unit, *, limit: int = 500) -> tuple[Message, ...]:
    """What waits to leave, the oldest first; enough of it to say what has waited longest."""
    query = select(_T).where(_T.c.shop_id == unit.shop_id, is_in(_T.c.state, MessageState.WAITING))
    return _read(unit, query.order_by(_T.c.seq).limit(limit))


def _in(unit: Unit, state: MessageState) -> Select[tuple[Message]]:
    query = select(_T).where(_T.c.shop_id == unit.shop_id, is_in(_T.c.state, state))
    return query.order_by(_T.c.seq.desc())


def _read(unit: Unit, query: Select[tuple[Message]]) -> tuple[Message, ...]:
    return tuple(as_message(row) for row in unit.connection.execute(query))


def count_waiting(unit: Unit) -> int:
    """How many wait to leave, by the small index of those only."""
    where = (_T.c.shop_id == unit.shop_id, is_in(_T.c.state, MessageState.WAITING))
    return int(unit.connection.execute(select(func.count()).select_from(_T).where(*where)).scalar_one())


@dataclass(frozen=True, slots=True)
class Paid:
    """The text messages of one notice within one span: how many left, and how many parts they were paid for as."""

    span: int
    notice: str
    messages: int
    parts: int


def paid_in(unit: Unit, bounds: Sequence[datetime]) -> tuple[Paid, ...]:
    """What was sent between each two of `bounds` (ascending), by notice. Span 0 lies between the first two.

    A message counts when it was written, just before its first try. A try whose end nobody knows may have been
    charged as well, so it counts.
    """
    when = _T.c.composed_at
    span = case(*((when < bound, at) for at, bound in enumerate(bounds[1:])), else_=-1).label("span")
    times = case((_T.c.delivery.in_([*Delivery]), 1), else_=0) + _T.c.ambiguous
    query = (
        select(span, _T.c.notice, func.count().label("messages"), func.sum(_T.c.parts * times).label("parts"))
        .where(_T.c.shop_id == unit.shop_id, _T.c.parts > 0, times > 0, when >= bounds[0], when < bounds[-1])
        .group_by(span, _T.c.notice)
    )
    return tuple(Paid(r.span, r.notice, r.messages, int(r.parts)) for r in unit.connection.execute(query))
