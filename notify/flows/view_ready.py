"""When devices will be ready, as far as a sheet shows it: the stored forecasts and the line that they are drawn on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.hours import is_open
from notify.core.ready import Forecast
from notify.core.ruler import MOST_DAYS, Ruler, ruler
from notify.core.shop import Shop
from notify.flows.context import Context
from notify.flows.forecast_made import now_of
from notify.flows.view_lines import TicketLine
from notify.store import forecasts, shops
from notify.store.database import Unit

# While the shop is open forecasts are made again every ten minutes; three of those left out are worth a word.
OLD = timedelta(minutes=30)
WAITING_DAYS = 8  # a part may be further off than the bench's next days
# A sheet's lines begin at the last whole ten minutes, as forecasts are made: else every look would draw them anew.
BEGINS = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class Foreseen:
    """One ticket's forecast beside its promise; `on` is the line of open time on which it is drawn."""

    forecast: Forecast | None
    promise_at: datetime | None
    on: Ruler


class Readiness:
    """Reads the forecasts of all tickets once, within one transaction."""

    def __init__(self, ctx: Context, unit: Unit) -> None:
        self._shop: Shop = ctx.shop(unit)
        self._counter = shops.get_counter(unit, self._shop)
        self._now = ctx.clock()
        self.by_ticket: Mapping[str, Forecast] = forecasts.of_tickets(unit)
        self.old = _old(unit, self._now) if is_open(self._counter, self._now) else None

    def of(self, lines: Iterable[TicketLine], *, most_days: int = MOST_DAYS) -> dict[str, Foreseen]:
        """What is known of each of these, all drawn on the same line."""
        whole = tuple(lines)
        on = ruler(self._counter, _whole(self._now), _reach(whole, self.by_ticket), most_days=most_days)
        return {one.ticket_id: Foreseen(self.by_ticket.get(one.ticket_id), one.promise_at, on) for one in whole}


def foreseen_within(ctx: Context, unit: Unit, line: TicketLine) -> Foreseen:
    """What is known of one ticket with the facts of now, on a line of its own."""
    found = now_of(ctx, unit).get(line.ticket_id)
    counter = shops.get_counter(unit, ctx.shop(unit))
    on = ruler(counter, ctx.clock(), _reach((line,), {line.ticket_id: found} if found else {}), most_days=WAITING_DAYS)
    return Foreseen(found, line.promise_at, on)


def _whole(now: datetime) -> datetime:
    return now - timedelta(seconds=now.timestamp() % BEGINS.total_seconds())


def _old(unit: Unit, now: datetime) -> datetime | None:
    """When the forecasts were made, if that is too long ago to be relied on."""
    run = forecasts.state(unit).run
    return run.ran_at if run is not None and now - run.ran_at > OLD else None


def _reach(lines: Iterable[TicketLine], known: Mapping[str, Forecast]) -> list[datetime]:
    """The instants that a line should hold: the 90 % quantiles, and the promises."""
    found: list[datetime] = []
    for line in lines:
        late = known[line.ticket_id].at(0.9) if line.ticket_id in known else None
        found += [at for at in (late, line.promise_at) if at is not None]
    return found
