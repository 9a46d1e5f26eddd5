"""The newest forecast of each ticket in work, when they were made, and whether the facts have changed since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, delete, func, insert, select, update

from notify.core.ready import Decides, Forecast, Without, pack, unpack
from notify.store import schema as s
from notify.store.database import Database, Unit
from notify.store.statements import given, is_in, where

_T, _R, _E, _B = s.forecasts, s.forecast_runs, s.events, s.bench_orders
_ALL = select(_T).where(*where(_T))
_NONE = delete(_T).where(*where(_T))
_ONE = select(_T).where(*where(_T, "ticket_id"))
_RUN = select(_R).where(_R.c.shop_id == bindparam("the_shop_id"))
# What a forecast hangs on, apart from time itself: what happened, what was set, and the order that staff took.
_NEWEST = select(func.max(_E.c.seq)).where(_E.c.shop_id == s.shops.c.id).scalar_subquery()
_ORDER = select(func.max(_B.c.id)).where(_B.c.shop_id == s.shops.c.id, is_in(_B.c.state, "standing")).scalar_subquery()
_STATE = (
    select(
        _NEWEST.label("seq"), s.shops.c.changed, _ORDER.label("standing"), _R.c.ran_at, _R.c.stamp, _R.c.next_at,
        _R.c.tickets,
    )
    .select_from(s.shops.outerjoin(_R, _R.c.shop_id == s.shops.c.id))
    .where(s.shops.c.id == bindparam("the_shop_id"))
)  # fmt: skip
_SINCE = select(func.min(_E.c.recorded_at), func.max(_E.c.recorded_at)).where(
    *where(_E), _E.c.seq > bindparam("after_seq")
)


@dataclass(frozen=True, slots=True)
class Run:
    """When the shop's forecasts were made, from which state of its facts (`stamp`), for how many tickets.

    `next_at` is when time alone changes them; None if it does not.
    """

    ran_at: datetime
    stamp: str
    next_at: datetime | None
    tickets: int


@dataclass(frozen=True, slots=True)
class State:
    """The shop's facts now, as a stamp, and the run that its forecasts come from; None before the first."""

    stamp: str
    run: Run | None

    @property
    def is_changed(self) -> bool:
        """Whether the forecasts come from other facts than these."""
        return self.run is None or self.run.stamp != self.stamp


def of_tickets(unit: Unit) -> Mapping[str, Forecast]:
    """ticket identifier -> its newest forecast, for every ticket that has one."""
    return {row.ticket_id: _forecast(row) for row in unit.connection.execute(_ALL, given(unit))}


def of_ticket(unit: Unit, ticket_id: str) -> Forecast | None:
    """The newest forecast of one ticket; None before the first, and once it is out of work."""
    row = unit.connection.execute(_ONE, given(unit, ticket_id=ticket_id)).first()
    return _forecast(row) if row is not None else None


def put_all(unit: Unit, made: Sequence[Forecast]) -> None:
    """Writes these in place of all that the shop has: whoever is not among them is out of work."""
    unit.connection.execute(_NONE, given(unit))
    if made:
        unit.connection.execute(insert(_T), [_row(unit, one) for one in made])


def note_run(unit: Unit, run: Run) -> None:
    """Notes that the forecasts were made."""
    values = {"ran_at": run.ran_at, "stamp": run.stamp, "next_at": run.next_at, "tickets": run.tickets}
    there = update(_R).where(_R.c.shop_id == unit.shop_id).values(**values)
    if unit.connection.execute(there).rowcount == 0:
        unit.connection.execute(insert(_R).values(shop_id=unit.shop_id, **values))


def state(unit: Unit) -> State:
    """The shop's facts as a stamp and its last run, as this transaction sees them."""
    return _state(unit.connection.execute(_STATE, given(unit)).first())


def state_now(db: Database, shop_id: str) -> State:
    """The same in a statement of its own, for whoever looks every few seconds."""
    with db.glance.connect() as connection:
        return _state(connection.execute(_STATE, {"the_shop_id": shop_id}).first())


def changed_since(unit: Unit, run_stamp: str) -> tuple[datetime, datetime] | None:
    """When the first and the last event since that stamp were written down; None when there is none."""
    seq = run_stamp.partition(":")[0]
    asked = {**given(unit), "after_seq": int(seq) if seq.isdigit() else 0}
    first, last = unit.connection.execute(_SINCE, asked).one()
    return (first, last) if first is not None else None


def _state(row: Any) -> State:
    if row is None:
        return State("", None)
    run = None if row.ran_at is None else Run(row.ran_at, row.stamp, row.next_at, row.tickets)
    return State(f"{row.seq or 0}:{row.changed}:{row.standing or ''}", run)


def _row(unit: Unit, one: Forecast) -> dict[str, Any]:
    return {
        "shop_id": unit.shop_id, "ticket_id": one.ticket_id, "made_at": one.made_at, "without": one.without or "",
        "grid": pack(one.grid), "level": one.level, "quantile_at": one.quantile_at, "promise_at": one.promise_at,
        "chance": one.chance, "decides": one.decides or "", "seed": one.seed, "model": one.model,
        "inputs": one.inputs,
    }  # fmt: skip


def _forecast(row: Any) -> Forecast:
    return Forecast(
        ticket_id=row.ticket_id, made_at=row.made_at, without=Without(row.without) if row.without else None,
        grid=unpack(row.grid), level=row.level, quantile_at=row.quantile_at, promise_at=row.promise_at,
        chance=row.chance, decides=Decides(row.decides) if row.decides else None, seed=row.seed, model=row.model,
        inputs=row.inputs,
    )  # fmt: skip
