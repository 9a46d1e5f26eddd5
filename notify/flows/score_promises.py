"""Score promises: what became of each, once its device is ready and once its time has passed; and what is learned.

Everything is told anew from the ticket's story, so that scoring twice, late or out of order comes to the same.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import datetime

from notify.core.actors import Actor
from notify.core.hours import Counter
from notify.core.open_time import open_times
from notify.core.promise_outcome import Ended, Told, outcomes
from notify.core.ready import LEVELS
from notify.core.shop import Shop
from notify.flows.context import Context
from notify.forecast import calibration
from notify.store import events, promises, shops, tickets
from notify.store.database import Unit
from notify.store.promises import Promise
from notify.store.tickets import Job


def settle_due(ctx: Context, actor: Actor) -> int:
    """Looks at every promise whose time has passed since the last time; how many tickets. Nothing due, nothing written.

    A device that is not ready by then broke its promise, and counts from now on.
    """
    with ctx.db.read(actor.shop_id) as unit:
        if not promises.due(unit, ctx.clock(), limit=1):
            return 0
    with ctx.db.write(actor.shop_id) as unit:
        due = promises.due(unit, ctx.clock())
        for ticket_id in due:
            settle_ticket(ctx, unit, tickets.get_job(unit, ticket_id))
    return len(due)


def settle_ticket(ctx: Context, unit: Unit, ticket: Job) -> None:
    """Writes what became of a ticket's promises so far, inside the caller's transaction."""
    made = promises.of_ticket(unit, ticket.id)
    if not made:
        return
    told = [Told(one.made_at, one.promise_at, one.made_by == "staff") for one in made]
    story = events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id)
    counter = shops.get_counter(unit, ctx.shop(unit))
    for one, ended in zip(made, outcomes(story, ticket.id, told), strict=True):
        promises.settle(unit, one, _after(one, ended, counter, ctx.clock()))


def _after(promise: Promise, ended: Ended, counter: Counter, now: datetime) -> Promise:
    passed = promise.settled_at if ended.ready_at else None  # a clock that was wrong may have seen it pass too soon
    passed = (promise.settled_at or now) if promise.promise_at <= now else passed
    pit = pit_of(promise, ended.ready_at, counter) if ended.ready_at else None
    return replace(
        promise, scored=ended.scored, ready_at=ended.ready_at, left_out=ended.left_out, pit=pit, settled_at=passed
    )


def pit_of(promise: Promise, ready_at: datetime, counter: Counter) -> float | None:
    """Where the ready time fell in the promise's forecast, 0 to 1; None when none was behind it.

    Measured in open time: a night in between would tear the forecast's tail apart. Where the forecast says only
    "exactly then" the place is drawn by the promise's own identifier, so that it is the same each time.
    """
    if not promise.grid:
        return None
    asked = [(promise.quantile_at, promise.level)] if promise.quantile_at and promise.level else []
    points = sorted([*zip(promise.grid, LEVELS, strict=True), *asked], key=lambda point: (point[1], point[0]))
    at = open_times([promise.made_at, ready_at, *(moment for moment, _ in points)], counter)
    start = at[promise.made_at]
    known = [(at[moment] - start, level) for moment, level in points]
    return calibration.pit(known, at[ready_at] - start, chance=_chance(promise.id))


def _chance(promise_id: str) -> float:
    return int.from_bytes(hashlib.sha256(promise_id.encode()).digest()[:6]) / 2**48


def level_for(unit: Unit, shop: Shop, *, now: datetime) -> float:
    """The level to ask of a forecast, so that of 100 promises as many are kept as the shop wants (0.5 to 0.99)."""
    return calibration.level_to_ask(pits_of(unit, now), shop.promise_level / 100)


def pits_of(unit: Unit, now: datetime) -> list[float]:
    """What level_for learns from, the newest first.

    A device that is not ready yet counts as the latest of all: all that is known of its place is that it lies above the
    level that was asked, and the correction only asks how many do. Leaving it out would flatter.
    """
    found = promises.newest_pits(unit, now, limit=calibration.WINDOW)
    return [1.0 if pit is None else pit for pit in found]
