"""Promises in a test: forecasts put behind them by hand, devices shelved at a given instant, rows read back."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from statistics import NormalDist
from typing import Any

from notify.core.ready import LEVELS, Forecast
from notify.flows import moves
from notify.flows.check_in_form import DeviceForm
from notify.store import forecasts, promises
from notify.store.promises import Promise

_Z = NormalDist()


def take_in(house: Any, promise: datetime | None = None) -> str:
    """One device taken in, with a promise or without; its ticket."""
    typed = promise.strftime("%Y-%m-%dT%H:%M") if promise else ""  # London in winter: the wall shows UTC
    return str(house.check_in(DeviceForm("Kestrel pocket radio", promise=typed)).ticket_ids[0])


def lognormal(house: Any, ticket_id: str, *, minutes: float, sigma: float, level: float = 0.9) -> Forecast:
    """A forecast of a device that is worked on from now on, in open time without a break."""
    now = house.clock()

    def at(share: float) -> datetime:
        done: datetime = now + timedelta(minutes=minutes * math.exp(sigma * _Z.inv_cdf(share)))
        return done.replace(microsecond=0)

    return Forecast(
        ticket_id=ticket_id, made_at=now, grid=tuple(at(share) for share in LEVELS), level=level,
        quantile_at=at(level), promise_at=at(level), seed=1, inputs="by hand",
    )  # fmt: skip


def put_forecasts(house: Any, *found: Forecast) -> None:
    """Makes them the shop's forecasts, and puts them behind the promises that were just made."""
    with house.ctx.db.write(house.shop_id) as unit:
        forecasts.put_all(unit, found)
        promises.attach(unit, {one.ticket_id: one for one in found})


def shelve_at(house: Any, ticket_id: str, at: datetime, *, outcome: str = "", reason: str = "") -> Any:
    """Works on the device so that it comes to the shelf at that instant; the move."""
    if house.clock() < at:
        house.clock.set(at)
    if not outcome:
        for phase in ("in_line", "on_bench"):
            moves.move(house.ctx, house.actor(), ticket_id, phase, anyway=True, note="it can be done")
    return moves.move(house.ctx, house.actor(), ticket_id, "on_shelf", outcome=outcome, reason=reason)


def rows(house: Any, ticket_id: str) -> tuple[Promise, ...]:
    """The promises of a ticket as they are kept."""
    with house.read() as unit:
        return promises.of_ticket(unit, ticket_id)


def scored(house: Any, ticket_id: str) -> Promise:
    """The one of them that is scored."""
    (found,) = [one for one in rows(house, ticket_id) if one.scored]
    return found
