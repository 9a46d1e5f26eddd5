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


def keep(ctx: Context, actor: Actor, looked: Looked, order: tuple[str, ...], about: Suggested) -> str | None:
    """Keeps a suggestion in place of an older one; None if the bench has changed meanwhile, or staff refused it today.

    `order` holds the tickets in line; `about.inputs` is filled in here. The same suggestion again keeps its name.
    """
    with ctx.db.write(actor.shop_id) as unit:
        now, older = ctx.clock(), bench_orders.suggestion(unit)
        if older and older.order.tickets == order and older.about.inputs == looked.facts:
            return older.id
        bench_orders.drop_suggestion(unit)
        if look(ctx, unit).facts != looked.facts or about.moved_id in bench_orders.refused_since(unit, now - SILENT):
            return None
        standing = bench_orders.standing(unit)
        new = Standing(order, tuple(one for one in standing.by_hand if one in order))
        return bench_orders.add_order(unit, "suggested", new, at=now, about=_with_facts(about, looked.facts))


def _with_facts(about: Suggested, facts: str) -> Suggested:
    return Suggested(gain=about.gain, kept_before=about.kept_before, kept_after=about.kept_after,
                     moved_id=about.moved_id, why=about.why, inputs=facts)  # fmt: skip


def forget_suggestion(ctx: Context, actor: Actor) -> None:
    """No order is better than the one that stands: an older suggestion goes."""
    with ctx.db.write(actor.shop_id) as unit:
        bench_orders.drop_suggestion(unit)


def take(ctx: Context, actor: Actor, order_id: str) -> None:
    """Follows a suggestion from now on. A second tap changes nothing; raises Conflict when the bench has changed."""
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        order = bench_orders.get_order(unit, order_id)
        if order.state == "standing":
            return
        if order.state != "suggested":
            raise Conflict("This suggestion does not stand any more", _GONE)
        if order.about.inputs != look(ctx, unit).facts:
            raise Conflict("The bench has changed since this was worked out", _GONE)
        before = _end_standing(unit, ctx.clock())
        bench_orders.settle_order(unit, order_id, "standing", at=ctx.clock(), before_id=before, staff_id=actor.id)


def refuse(ctx: Context, actor: Actor, order_id: str) -> None:
    """Leaves the order as it is; the same ticket is not suggested again for SILENT. Refused twice is refused."""
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        order = bench_orders.get_order(unit, order_id)
        if order.state == "standing":
            raise Conflict("Somebody has taken this order meanwhile", "Look at the bench again.")
        if order.state == "suggested":
            bench_orders.settle_order(unit, order_id, "refused", at=ctx.clock(), staff_id=actor.id)


def take_next(ctx: Context, actor: Actor, ticket_id: str) -> None:
    """Puts one ticket before all others in line, by hand. Raises NotFound, or Conflict when it is not in line."""
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        ticket = tickets.get_job(unit, ticket_id)
        if ticket.phase in IN_HAND:
            raise Conflict("This device is on the bench already", "Look at its ticket again.")
        if ticket.phase not in IN_WORK:
            raise Conflict("This device is not in line for the bench", "Look at its ticket again.")
        standing = bench_orders.standing(unit)
        if standing.by_hand[:1] == (ticket_id,):
            return
        looked = look(ctx, unit)
        in_hand = {one.ticket_id for one in looked.places if one.in_hand}
        in_line = [one for one in looked.order if one not in in_hand]
        _stand(ctx, unit, actor, rules.put_first(in_line, ticket_id, standing))


def back_to_usual(ctx: Context, actor: Actor) -> None:
    """The usual order counts again."""
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        if bench_orders.standing(unit) != USUAL:
            _stand(ctx, unit, actor, USUAL)


def undo(ctx: Context, actor: Actor) -> None:
    """The order that stood before the present one counts again. Raises Conflict when none was changed."""
    actor.need("move")
    with ctx.db.write(actor.shop_id) as unit:
        now, present = ctx.clock(), bench_orders.standing_order(unit)
        if present is None:
            raise Conflict("The bench follows the usual order, as it did before", "There is nothing to undo.")
        bench_orders.drop_suggestion(unit)
        _end_standing(unit, now)
        if present.before_id and bench_orders.is_kept(unit, present.before_id):
            bench_orders.settle_order(unit, present.before_id, "standing", at=now)


def _stand(ctx: Context, unit: Unit, actor: Actor, order: Standing) -> None:
    bench_orders.drop_suggestion(unit)
    before = _end_standing(unit, ctx.clock())
    bench_orders.add_order(unit, "standing", order, at=ctx.clock(), before_id=before, staff_id=actor.id)


def _end_standing(unit: Unit, now: datetime) -> str | None:
    """Ends the order that stands; its identifier."""
    present = bench_orders.standing_order(unit)
    if present is not None:
        bench_orders.settle_order(unit, present.id, "old", at=now)
    return present.id if present else None
