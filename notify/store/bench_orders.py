"""Orders of the bench: the one suggestion at most that waits for a word, the one that stands, and those before."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import bindparam, delete, insert, or_, select, update

from notify.core.bench_order import IN_HAND, IN_WORK, USUAL, Place, Standing
from notify.core.errors import NotFound
from notify.store import schema as s
from notify.store.database import Database, Unit
from notify.store.statements import given, is_in, one_of, where

KEPT = timedelta(days=7)
_O = s.bench_orders
_STANDING = select(_O).where(*where(_O), is_in(_O.c.state, "standing"))
_SUGGESTED = select(_O).where(*where(_O), is_in(_O.c.state, "suggested"))
_ONE = select(_O).where(*where(_O, "id"))
_T, _P, _Q, _R = s.tickets, s.parts, s.questions, s.forecast_runs
_PLACES = (
    select(_T.c.id, _T.c.phase, _T.c.promise_at, _T.c.created_at, _T.c.number)
    .where(*where(_T), one_of(_T.c.phase, IN_WORK))
    .order_by(_T.c.id)
)
_PARTS = (
    select(_P.c.ticket_id, _P.c.state, _P.c.due_at)
    .where(*where(_P), one_of(_P.c.state, ("needed", "ordered")))
    .order_by(_P.c.ticket_id, _P.c.id)
)
_QUESTIONS = select(_Q.c.ticket_id).where(*where(_Q), is_in(_Q.c.state, "open")).order_by(_Q.c.ticket_id)
_RAN = select(_R.c.ran_at).where(
    _R.c.shop_id == bindparam("the_shop_id"), or_(_R.c.ordered_at.is_(None), _R.c.ordered_at < _R.c.ran_at)
)
_LOOKED = update(_R).where(_R.c.shop_id == bindparam("the_shop_id"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggested:
    """What is known of a suggestion besides its order.

    `gain` is how many promises more would be kept on average, `kept_before` and `kept_after` how many of those that
    stand. `moved_id` is the ticket to move, `why` a code (forecast/order_search.WHYS), `inputs` a hash of the facts.
    """

    gain: float = 0.0
    kept_before: float = 0.0
    kept_after: float = 0.0
    moved_id: str | None = None
    why: str = ""
    inputs: str = ""


@dataclass(frozen=True, slots=True)
class Order:
    """One order: its tickets, how it came about, and the one that stood before it (None: the usual one)."""

    id: str
    made_at: datetime
    state: str
    order: Standing
    about: Suggested
    before_id: str | None
    settled_at: datetime | None
    staff_id: str | None


def places(unit: Unit) -> tuple[Place, ...]:
    """Every ticket in work, as core/bench_order looks at it; opens nothing."""
    rows = unit.connection.execute(_PLACES, given(unit))
    return tuple(Place(row.id, row.phase in IN_HAND, row.promise_at, row.created_at, row.number) for row in rows)


def waits(unit: Unit) -> tuple[tuple[str, str, datetime | None], ...]:
    """What tickets wait for: ticket, state of the part or "question", when the part is due. In a steady order."""
    missing = tuple((row.ticket_id, row.state, row.due_at) for row in unit.connection.execute(_PARTS, given(unit)))
    asked = unit.connection.execute(_QUESTIONS, given(unit)).scalars()
    return (*missing, *((ticket_id, "question", None) for ticket_id in asked))


def standing(unit: Unit) -> Standing:
    """The order that staff took, as core/bench_order.rank wants it; the usual one when none stands."""
    found = standing_order(unit)
    return found.order if found else USUAL


def standing_order(unit: Unit) -> Order | None:
    """The whole row of the order that stands."""
    return unit.once(("standing_order", ""), lambda: _order(unit.connection.execute(_STANDING, given(unit)).first()))


def suggestion(unit: Unit) -> Order | None:
    """The suggestion that nobody has answered yet."""
    return _order(unit.connection.execute(_SUGGESTED, given(unit)).first())


def get_order(unit: Unit, order_id: str) -> Order:
    """One order, whatever became of it; raises NotFound."""
    found = _order(unit.connection.execute(_ONE, given(unit, id=order_id)).first())
    if found is None:
        raise NotFound("There is no such bench order here", "Look at the bench again.")
    return found


def is_kept(unit: Unit, order_id: str) -> bool:
    """Whether an order that ended is still there to go back to."""
    return unit.connection.execute(_ONE, given(unit, id=order_id)).first() is not None


def add_order(
    unit: Unit, state: str, order: Standing, *, at: datetime, about: Suggested | None = None,
    before_id: str | None = None, staff_id: str | None = None,
) -> str:  # fmt: skip
    """Adds an order in that state, of which there must be none; its identifier. What ended long ago goes."""
    unit.connection.execute(
        delete(_O).where(
            _O.c.shop_id == unit.shop_id, one_of(_O.c.state, ("old", "refused")), _O.c.settled_at < at - KEPT
        )
    )
    known, new = about or Suggested(), unit.new_id()
    unit.connection.execute(
        insert(_O).values(
            shop_id=unit.shop_id, id=new, made_at=at, state=state, tickets=list(order.tickets),
            by_hand=list(order.by_hand), gain=known.gain, kept_before=known.kept_before, kept_after=known.kept_after,
            moved_id=known.moved_id, why=known.why, inputs=known.inputs, before_id=before_id, staff_id=staff_id,
            settled_at=at if state == "standing" else None,
        )
    )  # fmt: skip
    return new


def settle_order(unit: Unit, order_id: str, state: str, *, at: datetime, **columns: Any) -> None:
    """Gives an order another state; whoever did it and what stood before may be noted with it."""
    mine = (_O.c.shop_id == unit.shop_id, _O.c.id == order_id)
    unit.connection.execute(update(_O).where(*mine).values(state=state, settled_at=at, **columns))


def end_suggestion(unit: Unit, *, at: datetime) -> None:
    """The suggestion that waits for a word is old: the facts it was made from are gone."""
    mine = (_O.c.shop_id == unit.shop_id, is_in(_O.c.state, "suggested"))
    unit.connection.execute(update(_O).where(*mine).values(state="old", settled_at=at))


def refused_since(unit: Unit, first: datetime) -> frozenset[str]:
    """The tickets that staff refused to do sooner since then."""
    mine = (_O.c.shop_id == unit.shop_id, is_in(_O.c.state, "refused"), _O.c.settled_at >= first)
    found = unit.connection.execute(select(_O.c.moved_id).where(*mine, _O.c.moved_id.is_not(None))).scalars()
    return frozenset(found)


def _order(row: Any) -> Order | None:
    if row is None:
        return None
    about = Suggested(**{name: getattr(row, name) for name in Suggested.__dataclass_fields__})
    order = Standing(tuple(row.tickets), tuple(row.by_hand))
    return Order(row.id, row.made_at, row.state, order, about, row.before_id, row.settled_at, row.staff_id)


def forecasts_without_order(db: Database, shop_id: str) -> datetime | None:
    """When the forecasts were made, if no better order was looked for since; in a statement of its own."""
    with db.glance.connect() as connection:
        return connection.execute(_RAN, {"the_shop_id": shop_id}).scalar()


def note_looked(unit: Unit, ran_at: datetime) -> None:
    """A better order was looked for with the forecasts of then."""
    unit.connection.execute(_LOOKED, {**given(unit), "ordered_at": ran_at})
