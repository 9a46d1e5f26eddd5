"""Every time that was promised, with the forecast behind it, and what became of it. Codes and instants only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import bindparam, func, insert, select, update

from notify.core.ready import Forecast, chance_by, pack, unpack
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.prepared import Prepared
from notify.store.statements import given, where

_T, _K = s.promises, s.tickets
BY_THE_RULE = "rule"  # of `made_by`: the shop's own rule gave a new time; else the kind of who did (core/actors.KINDS)
# A forecast counts as behind a promise up to so long after it: a device that is just taken in has none yet.
SOON = timedelta(minutes=15)
_OF_TICKET = Prepared(select(_T).where(*where(_T, "ticket_id")).order_by(_T.c.turn))
_NEXT_TURN = select(func.coalesce(func.max(_T.c.turn), 0) + 1).where(*where(_T, "ticket_id")).scalar_subquery()
_ADD = insert(_T).values(turn=_NEXT_TURN)
_LATER = _T.alias()
_STANDING = (
    select(_T)
    .where(*where(_T), _T.c.settled_at.is_(None), _T.c.ready_at.is_(None))
    .where(
        ~select(_LATER.c.id)
        .where(_LATER.c.shop_id == _T.c.shop_id, _LATER.c.ticket_id == _T.c.ticket_id, _LATER.c.turn > _T.c.turn)
        .exists()
    )
)
_DUE = (
    select(_T.c.ticket_id)
    .where(*where(_T), _T.c.settled_at.is_(None), _T.c.promise_at <= bindparam("until"))
    .order_by(_T.c.promise_at)
    .limit(bindparam("most"))
)
# Seen to pass by a clock that was wrong: their time lies ahead.
_TOO_SOON = (
    select(_T.c.ticket_id)
    .where(*where(_T), _T.c.settled_at.is_not(None), _T.c.ready_at.is_(None), _T.c.promise_at > bindparam("until"))
    .order_by(_T.c.promise_at)
    .limit(bindparam("most"))
)
_PITS = (
    select(_T.c.pit)
    .where(*where(_T), _T.c.scored.is_(True), _T.c.settled_at.is_not(None), _T.c.left_out == "")
    .where(_T.c.promise_at <= bindparam("until"), _T.c.quantile_at <= bindparam("until"))
    .order_by(_T.c.promise_at.desc(), _T.c.id)
    .limit(bindparam("most"))
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """One promise. `turn` counts those of its ticket from 1; `scored` is the one of them that counts in the scores.

    With a forecast behind it `grid` holds the quantiles of core/ready.LEVELS, `level` is what was asked of it and
    `quantile_at` its answer before rounding; `chance` is that of being kept, as it seemed then. `ready_at` is when the
    device came to the shelf, `pit` where that fell in the forecast (0 to 1), `left_out` why it is not scored (a code,
    mostly empty), `settled_at` when the promised time was seen to have passed.
    """

    id: str
    ticket_id: str
    turn: int
    scored: bool
    made_at: datetime
    promise_at: datetime
    made_by: str
    why: str
    chance: float | None
    level: float | None
    quantile_at: datetime | None
    grid: tuple[datetime, ...]
    model: str
    ready_at: datetime | None
    left_out: str
    pit: float | None
    settled_at: datetime | None
    warned_at: datetime | None


@dataclass(frozen=True, slots=True)
class Past:
    """A scored promise whose time has passed, with its ticket's kind of repair and why its time was changed last."""

    promise: Promise
    kind_id: str | None
    changed_why: str


def add(
    unit: Unit, ticket_id: str, *, promise_at: datetime, made_at: datetime, made_by: str, why: str,
    forecast: Forecast | None,
) -> str:  # fmt: skip
    """Adds a ticket's next promise, with the forecast that stands then; its identifier.

    A first one counts in the scores; which one does when there are several, flows/score_promises says.
    """
    new = unit.new_id()
    values = {
        "shop_id": unit.shop_id, "id": new, "ticket_id": ticket_id, "scored": True, "made_at": made_at,
        "promise_at": promise_at, "made_by": made_by, "why": why, **_behind(forecast, promise_at),
    }  # fmt: skip
    unit.connection.execute(_ADD, {**given(unit, ticket_id=ticket_id), **values})
    return new


def of_ticket(unit: Unit, ticket_id: str) -> tuple[Promise, ...]:
    """Every promise of a ticket, the first one first."""
    rows = _OF_TICKET.rows(unit.connection, given(unit, ticket_id=ticket_id))
    return tuple(_promise(row) for row in rows)


def standing(unit: Unit) -> Mapping[str, Promise]:
    """ticket -> the promise that stands, for devices not yet ready whose promised time was not seen to pass."""
    return {row.ticket_id: _promise(row) for row in unit.connection.execute(_STANDING, given(unit))}


def note_warned(unit: Unit, promise_id: str, *, at: datetime) -> None:
    """Notes that the shop was warned of this promise."""
    unit.connection.execute(update(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == promise_id).values(warned_at=at))


def attach(unit: Unit, forecasts: Mapping[str, Forecast]) -> int:
    """Puts the first forecast of a ticket behind a promise that was made just before it (`SOON`); how many got one."""
    done = 0
    for ticket_id, promise in standing(unit).items():
        forecast = forecasts.get(ticket_id)
        if forecast is None or promise.grid or not forecast.grid:
            continue
        if timedelta(0) <= forecast.made_at - promise.made_at <= SOON:
            behind = _behind(forecast, promise.promise_at)
            unit.connection.execute(
                update(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == promise.id).values(**behind)
            )
            done += 1
    return done


def due(unit: Unit, now: datetime, *, limit: int = 500) -> tuple[str, ...]:
    """Tickets with a promise whose time has passed and that nobody has looked at since; the longest past first.

    Also those not ready with one that was seen to pass, although its time lies ahead: a clock was wrong then.
    """
    asked = {**given(unit), "until": now, "most": limit}
    rows = [*unit.connection.execute(_DUE, asked).scalars(), *unit.connection.execute(_TOO_SOON, asked).scalars()]
    return tuple(dict.fromkeys(rows))


def settle(unit: Unit, promise: Promise, settled: Promise) -> None:
    """Writes what became of a promise, where that is not what stands there already."""
    names = ("scored", "ready_at", "left_out", "pit", "settled_at")
    changed = {name: getattr(settled, name) for name in names if getattr(settled, name) != getattr(promise, name)}
    if changed:
        unit.connection.execute(update(_T).where(_T.c.shop_id == unit.shop_id, _T.c.id == promise.id).values(**changed))


def newest_pits(unit: Unit, now: datetime, *, limit: int) -> tuple[float | None, ...]:
    """Where the newest scored promises ended in their forecasts, the newest first; None: not ready yet.

    Only those whose promised time and whose asked quantile have both passed: when a device is ready must not decide
    whether it is counted.
    """
    rows = unit.connection.execute(_PITS, {**given(unit), "until": now, "most": limit})
    return tuple(row.pit for row in rows)


def past(unit: Unit, first: datetime, now: datetime, *, limit: int) -> tuple[Past, ...]:
    """The newest scored promises whose time fell into [first, now] and was seen to pass, the oldest first."""
    newest = (
        select(_LATER.c.why)
        .where(_LATER.c.shop_id == _T.c.shop_id, _LATER.c.ticket_id == _T.c.ticket_id, _LATER.c.turn > _T.c.turn)
        .order_by(_LATER.c.turn.desc())
        .limit(1)
        .scalar_subquery()
    )
    query = (
        select(_T, _K.c.kind_id, newest.label("changed_why"))
        .join(_K, (_K.c.shop_id == _T.c.shop_id) & (_K.c.id == _T.c.ticket_id))
        .where(_T.c.shop_id == unit.shop_id, _T.c.scored.is_(True), _T.c.settled_at.is_not(None))
        .where(_T.c.promise_at >= first, _T.c.promise_at <= now)
        .order_by(_T.c.promise_at.desc(), _T.c.id)
        .limit(limit)
    )
    rows = unit.connection.execute(query).all()
    return tuple(Past(_promise(row), row.kind_id, row.changed_why or "") for row in reversed(rows))


def count_undone(unit: Unit, first: datetime, now: datetime) -> int:
    """How many promises of that time staff took back at once."""
    these = (_T.c.shop_id == unit.shop_id, _T.c.promise_at >= first, _T.c.promise_at <= now, _T.c.left_out == "undone")
    return int(unit.connection.execute(select(func.count()).select_from(_T).where(*these)).scalar_one())


def _behind(forecast: Forecast | None, promise_at: datetime) -> dict[str, Any]:
    if forecast is None or not forecast.grid:
        return {"chance": None, "level": None, "quantile_at": None, "grid": [], "seed": None, "model": "", "inputs": ""}
    return {
        "chance": chance_by(forecast.grid, promise_at), "level": forecast.level, "quantile_at": forecast.quantile_at,
        "grid": pack(forecast.grid), "seed": forecast.seed, "model": forecast.model, "inputs": forecast.inputs,
    }  # fmt: skip


def _promise(row: Any) -> Promise:
    columns = {name: getattr(row, name) for name in Promise.__dataclass_fields__ if name != "grid"}
    return Promise(grid=unpack(row.grid), **columns)
