"""The order of the bench: a better one is worked out beside the desk, staff take it or not, or put one ticket first.

Whoever takes a suggestion takes what they saw: if the bench has changed since it was worked out, it is refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from notify.core import bench_order as rules
from notify.core.actors import Actor
from notify.core.bench_order import IN_HAND, IN_WORK, USUAL, Place, Standing
from notify.core.errors import Conflict
from notify.flows.context import Context
from notify.flows.forecast_inputs import Inputs, prepare
from notify.flows.shop_facts import gather
from notify.forecast.order import CHECKED, PATHS, Suggestion
from notify.forecast.order import suggest as search
from notify.store import bench_orders, tickets
from notify.store.bench_orders import Order, Suggested
from notify.store.database import Unit

# What staff refused is not suggested again in the same working day. Common practice, no source.
SILENT = timedelta(hours=12)
_GONE = "Look at the bench again; a new suggestion comes by itself if there is a better order."


@dataclass(frozen=True, slots=True)
class Looked:
    """The bench as one transaction sees it: its tickets in order, those that keep their place, a hash of the facts."""

    places: tuple[Place, ...]
    order: tuple[str, ...]
    held: frozenset[str]
    facts: str


def look(ctx: Context, unit: Unit) -> Looked:
    """The bench now: every ticket in work, also those that wait for something."""
    places, standing, now = bench_orders.places(unit), bench_orders.standing_order(unit), ctx.clock()
    followed = standing.order if standing else USUAL
    return Looked(
        places,
        rules.rank(places, followed, now=now),
        rules.held(places, followed, now=now),
        _facts(unit, places, standing),
    )


def _facts(unit: Unit, places: tuple[Place, ...], standing: Order | None) -> str:
    """Changes with whatever would lead to another suggestion, but not with time alone."""
    known = (places, bench_orders.waits(unit), standing.id if standing else "")
    return sha256(repr(known).encode()).hexdigest()


def suggest_due(ctx: Context, actor: Actor) -> str | None:
    """Looks for a better order once after each time the forecasts were made; the suggestion, if there is one now."""
    ran_at = bench_orders.forecasts_without_order(ctx.db, actor.shop_id)
    return suggest(ctx, actor, ran_at=ran_at) if ran_at else None


def suggest(ctx: Context, actor: Actor, *, ran_at: datetime | None = None) -> str | None:
    """Looks for a better order of the bench as it is now: the suggestion that staff are asked about, None without one.

    It takes a second of a core with a long line, so no page waits for it, and no transaction is open meanwhile.
    """
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        looked, inputs = look(ctx, unit), prepare(gather(ctx, unit))
    found = _found(looked, inputs)
    with ctx.db.write(actor.shop_id) as unit:
        if ran_at is not None:
            bench_orders.note_looked(unit, ran_at)
        return _kept(ctx, unit, looked, found)


def _found(looked: Looked, inputs: Inputs) -> Suggestion | None:
    goals = {one.ticket_id: (rules.due(one).timestamp(), one.promise_at is not None) for one in looked.places}
    waiting = [job.id for job in inputs.jobs if job.by is None]
    held = sum(1 for one in waiting if one in looked.held)
    if len(waiting) - held < 2:
        return None
    kinds = inputs.kinds(PATHS + CHECKED)
    return search(inputs.bench, inputs.jobs, tuple(inputs.parcels.values()), kinds, goals, held=held, seed=inputs.seed)


def _kept(ctx: Context, unit: Unit, looked: Looked, found: Suggestion | None) -> str | None:
    """Keeps it in place of an older one, unless the bench has changed meanwhile or staff refused the same today."""
    now, older = ctx.clock(), bench_orders.suggestion(unit)
    if found and older and (older.order.tickets, older.about.inputs) == (found.order, looked.facts):
        return older.id
    bench_orders.end_suggestion(unit, at=now)
    if found is None or look(ctx, unit).facts != looked.facts:
        return None
    if found.moved in bench_orders.refused_since(unit, now - SILENT):
        return None
    by_hand = tuple(one for one in bench_orders.standing(unit).by_hand if one in found.order)
    about = Suggested(gain=found.gain, kept_before=found.kept_before, kept_after=found.kept_after,
                      moved_id=found.moved, why=found.why, inputs=looked.facts)  # fmt: skip
    return bench_orders.add_order(unit, "suggested", Standing(found.order, by_hand), at=now, about=about)


def take(ctx: Context, actor: Actor, order_id: str) -> str:
    """Follows a suggestion from now on; the order that stands. A second tap changes nothing.

    Raises NotFound, or Conflict when the bench has changed since, or somebody answered otherwise.
    """
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        order = bench_orders.get_order(unit, order_id)
        if order.state == "standing":
            return order.id
        if order.state != "suggested":
            raise Conflict("This suggestion does not stand any more", _GONE)
        if order.about.inputs != look(ctx, unit).facts:
            raise Conflict("The bench has changed since this was worked out", _GONE)
        before = _end_standing(unit, ctx.clock())
        bench_orders.settle_order(unit, order_id, "standing", at=ctx.clock(), before_id=before, staff_id=actor.id)
        return order_id


def refuse(ctx: Context, actor: Actor, order_id: str) -> None:
    """Leaves the order as it is; the same ticket is not suggested again for SILENT. Refused twice is refused."""
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        order = bench_orders.get_order(unit, order_id)
        if order.state == "standing":
            raise Conflict("Somebody has taken this order meanwhile", "Look at the bench again.")
        if order.state == "suggested":
            bench_orders.settle_order(unit, order_id, "refused", at=ctx.clock(), staff_id=actor.id)


def take_next(ctx: Context, actor: Actor, ticket_id: str) -> str:
    """Puts one ticket before all others in line, by hand; the order that stands. Raises NotFound, or Conflict when it
    is not in line.
    """
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        ticket = tickets.get_job(unit, ticket_id)
        if ticket.phase in IN_HAND:
            raise Conflict("This device is on the bench already", "Look at its ticket again.")
        if ticket.phase not in IN_WORK:
            raise Conflict("This device is not in line for the bench", "Look at its ticket again.")
        present = bench_orders.standing_order(unit)
        standing = present.order if present else USUAL
        if present and standing.by_hand[:1] == (ticket_id,):
            return present.id
        looked = look(ctx, unit)
        in_hand = {one.ticket_id for one in looked.places if one.in_hand}
        in_line = [one for one in looked.order if one not in in_hand]
        return _stand(ctx, unit, actor, rules.put_first(in_line, ticket_id, standing))


def back_to_usual(ctx: Context, actor: Actor) -> str:
    """The usual order counts again; the name of this change for `undo`, empty when it counted already."""
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        return _stand(ctx, unit, actor, USUAL) if bench_orders.standing(unit) != USUAL else ""


def undo(ctx: Context, actor: Actor, order_id: str = "") -> None:
    """The order that stood before the present one counts again. `order_id` is the one that is meant to be undone.

    Raises Conflict when nothing was changed, or something else since.
    """
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        now, present = ctx.clock(), bench_orders.standing_order(unit)
        if present is None:
            raise Conflict("The bench follows the usual order, as it did before", "There is nothing to undo.")
        if order_id and present.id != order_id:
            raise Conflict("The order of the bench was changed again meanwhile", "Look at the bench again.")
        bench_orders.end_suggestion(unit, at=now)
        _end_standing(unit, now)
        if present.before_id and bench_orders.is_kept(unit, present.before_id):
            bench_orders.settle_order(unit, present.before_id, "standing", at=now)


def _stand(ctx: Context, unit: Unit, actor: Actor, order: Standing) -> str:
    bench_orders.end_suggestion(unit, at=ctx.clock())
    before = _end_standing(unit, ctx.clock())
    return bench_orders.add_order(unit, "standing", order, at=ctx.clock(), before_id=before, staff_id=actor.id)


def _end_standing(unit: Unit, now: datetime) -> str | None:
    """Ends the order that stands; its identifier."""
    present = bench_orders.standing_order(unit)
    if present is not None:
        bench_orders.settle_order(unit, present.id, "old", at=now)
    return present.id if present else None
