"""Messages as the owner looks at them: filtered and paged, the failures, what waits, and what texts were paid for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, case, func, select, union_all

from notify.core.messages import Delivery, MessageState
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.messages import Message, as_message
from notify.store.statements import is_in

_T = s.messages
# The states of which there are few, each with the second column of the partial index that holds nothing else. SQLite
# thinks all indexes of a shop alike; so it is asked for a span of that column, and to sort by a sum (_SORTED), which
# is in no index: else it would read the whole archive for the one that is in the right order.
_FEW = {
    MessageState.WAITING: _T.c.due_at,
    MessageState.GIVEN_UP: _T.c.ended_at,
    MessageState.TO_CALL: _T.c.seq,
}
_BEFORE_ALL = datetime(2000, 1, 1, tzinfo=UTC)
_SORTED = _T.c.seq + 0


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which messages: in any of `states`, of a notice, by a channel, about any of `about`, with a number below
    `before`; empty (or 0) means all.
    """

    states: tuple[str, ...] = ()
    notice: str = ""
    channel: str = ""
    visit_id: str = ""
    about: tuple[str, ...] = ()
    but_not: tuple[str, ...] = ()
    before: int = 0


def find(unit: Unit, wanted: Wanted, *, limit: int, skip: int = 0) -> tuple[Message, ...]:
    """The newest messages that fit, after the first `skip` of them."""
    few = bool(wanted.states) and all(state in _FEW for state in wanted.states)
    order = _SORTED if few else _T.c.seq
    query = select(_T).where(*_fits(unit, wanted)).order_by(order.desc()).limit(limit).offset(skip)
    return _read(unit, query)


def _fits(unit: Unit, wanted: Wanted) -> Iterable[ColumnElement[bool]]:
    yield _T.c.shop_id == unit.shop_id
    if wanted.states:
        yield _among(unit, wanted.states)
    for name in ("notice", "channel", "visit_id"):
        if getattr(wanted, name):
            yield _T.c[name] == getattr(wanted, name)
    if wanted.about:
        yield _T.c.about.in_(wanted.about)
    if wanted.before:
        yield _T.c.seq < wanted.before
    if wanted.but_not:
        yield _T.c.id.not_in(wanted.but_not)


def _among(unit: Unit, states: Sequence[str]) -> ColumnElement[bool]:
    if all(state in _FEW for state in states):
        return _T.c.id.in_(union_all(*(_in(unit, MessageState(state), _T.c.id) for state in states)))
    return _T.c.state.in_(states)


def given_up_since(unit: Unit, moment: datetime, *, limit: int) -> tuple[Message, ...]:
    """What was given up since then, the newest first."""
    query = _in(unit, MessageState.GIVEN_UP, _T).where(_T.c.ended_at > moment)
    return _read(unit, query.order_by(_SORTED.desc()).limit(limit))


def to_call(unit: Unit, *, limit: int) -> tuple[Message, ...]:
    """What somebody has to phone about, the newest first."""
    return _read(unit, _in(unit, MessageState.TO_CALL, _T).order_by(_SORTED.desc()).limit(limit))


def waiting(unit: Unit, *, limit: int = 500) -> tuple[Message, ...]:
    """What waits to leave, the oldest first; enough of it to say what has waited longest."""
    return _read(unit, _in(unit, MessageState.WAITING, _T).order_by(_SORTED).limit(limit))


def _in(unit: Unit, state: MessageState, *what: Any) -> Select[Any]:
    column = _FEW[state]
    least = 0 if column is _T.c.seq else _BEFORE_ALL
    return select(*what).where(_T.c.shop_id == unit.shop_id, is_in(_T.c.state, state), column > least)


def _read(unit: Unit, query: Select[Any]) -> tuple[Message, ...]:
    return tuple(as_message(row) for row in unit.connection.execute(query))


def count_waiting(unit: Unit) -> int:
    """How many wait to leave, by the small index of those only."""
    query = _in(unit, MessageState.WAITING, func.count()).select_from(_T)
    return int(unit.connection.execute(query).scalar_one())


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
