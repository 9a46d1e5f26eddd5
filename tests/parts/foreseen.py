"""Forecasts of a few instants chosen by a test, stored as the clock's job stores what the engine makes."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from notify.core.ready import LEVELS, Decides, Forecast, Without
from notify.store import forecasts
from notify.store.forecasts import Run


def evenly(low: datetime, high: datetime) -> tuple[datetime, ...]:
    """A grid whose 10 % quantile is `low` and whose 90 % quantile is `high`, even between them and beyond."""
    step = (high - low) / 16
    return tuple(low + (round(level * 20) - 2) * step for level in LEVELS)


def foretold(
    house: Any, ticket_id: str, low: datetime, high: datetime, *, promise_at: datetime | None = None,
    decides: Decides = Decides.WORK,
) -> Forecast:  # fmt: skip
    """One that is even between two instants; what is suggested is the late one unless named."""
    return Forecast(ticket_id=ticket_id, made_at=house.clock(), grid=evenly(low, high), level=0.9, quantile_at=high,
                    promise_at=promise_at or high, decides=decides)  # fmt: skip


def without(house: Any, ticket_id: str, why: Without) -> Forecast:
    """None, for a reason."""
    return Forecast(ticket_id=ticket_id, made_at=house.clock(), without=why)


def store(house: Any, found: Mapping[str, Forecast], *, ran_at: datetime | None = None) -> None:
    """Puts them in place of all that the shop has, as made from the facts of now."""
    with house.ctx.db.write(house.shop_id) as unit:
        forecasts.put_all(unit, tuple(found.values()))
        stamp, now = forecasts.state(unit).stamp, ran_at or house.clock()
        forecasts.note_run(unit, Run(now, stamp, now + timedelta(hours=6), len(found)))
