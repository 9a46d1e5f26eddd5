"""What the report of promises counts: why broken ones were changed, which forecasts are scored, what is not ready yet.

Figures are reckoned by hand. The shop is open from 9 to 18 from Monday to Saturday (London, on UTC in November).
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from notify.flows import promises
from notify.flows.score_promises import settle_due
from notify.flows.view_promises import Report, view
from tests.parts.promised import lognormal, put_forecasts, shelve_at, take_in

NINE = datetime(2026, 11, 25, 9, tzinfo=UTC)
HOUR = timedelta(hours=1)
pytestmark = pytest.mark.long


def report(house: Any, at: datetime) -> Report:
    house.clock.set(at)
    settle_due(house.ctx, house.system())
    return view(house.ctx, house.actor())


def test_only_broken_promises_say_why_another_time_was_told(house: Any) -> None:
    house.clock.set(NINE)
    kept, broken, untold = (take_in(house, NINE + 2 * HOUR) for _ in range(3))
    house.clock.set(NINE + HOUR)
    promises.promise(house.ctx, house.actor(), kept, NINE + 5 * HOUR, why="other_job")
    promises.promise(house.ctx, house.actor(), broken, NINE + 5 * HOUR, why="part_late")
    shelve_at(house, kept, NINE + HOUR)
    for ticket_id in (broken, untold):
        shelve_at(house, ticket_id, NINE + 4 * HOUR)
    seen = report(house, NINE + 6 * HOUR)
    assert (seen.due, seen.kept, dict(seen.changed)) == (3, 1, {"part_late": 1, "": 1})


def test_a_forecast_is_scored_once_the_time_that_was_asked_of_it_has_passed_too(house: Any) -> None:
    """Promised for 10:00 against a forecast whose 90 % quantile lies at 12:00; not ready counts as ready now."""
    house.clock.set(NINE)
    ticket_id = take_in(house, NINE + HOUR)
    put_forecasts(house, forecast := lognormal(house, ticket_id, minutes=180 / 2.718281828**0.640775783, sigma=0.5))
    assert forecast.quantile_at is not None
    assert abs(forecast.quantile_at - (NINE + 3 * HOUR)) <= timedelta(seconds=1)  # exp(.5 x 1.28155) = exp(.640775)
    assert report(house, NINE + 2 * HOUR).losses is None
    losses = report(house, NINE + 5 * HOUR).losses
    assert losses is not None and (losses.of, losses.quantile_kept) == (1, 0)
    assert losses.pinball == pytest.approx(0.9 * 120, abs=0.1)  # two hours after it, and still not ready
