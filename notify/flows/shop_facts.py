"""The facts of a whole shop that a forecast hangs on, from one look."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from notify.core.bench_order import IN_HAND, Place, rank
from notify.core.hours import Counter
from notify.core.instants import zone
from notify.core.shop import Shop
from notify.core.working_days import Supplier
from notify.flows.context import Context
from notify.flows.score_promises import level_for
from notify.forecast.ready import MOST_PEOPLE
from notify.store import bench_orders, forecast_facts, forecasts, promises, repair_kinds, shops, suppliers
from notify.store.database import Unit
from notify.store.forecast_facts import Away, Missing
from notify.store.promises import Promise
from notify.store.repair_kinds import KindRow
from notify.store.tickets import Job


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """One look at everything a forecast hangs on. `stamp` is the state of the facts, `level` the share to ask for.

    `order` holds every ticket in work, the one to be done first on top; `technicians` are identifiers of staff.
    """

    now: datetime
    shop: Shop
    counter: Counter
    level: float
    jobs: Mapping[str, Job]
    order: tuple[str, ...]
    missing: Mapping[str, tuple[Missing, ...]]
    asked: frozenset[str]
    kinds: tuple[KindRow, ...]
    technicians: tuple[str, ...]
    away: tuple[Away, ...]
    suppliers: Mapping[str, tuple[Supplier, tuple[int, ...]]]
    promises: Mapping[str, Promise]
    stamp: str

    @property
    def today(self) -> date:
        """The date on the shop's wall."""
        return self.now.astimezone(zone(self.shop.zone)).date()


def gather(ctx: Context, unit: Unit, *, also: Job | None = None) -> Facts:
    """Reads all of it in one snapshot, with a statement for each kind of thing and not for each ticket.

    `also` is a device that nobody has taken in yet.
    """
    shop, now = ctx.shop(unit), ctx.clock()
    counter = shops.get_counter(unit, shop)
    found = {job.id: job for job in (*forecast_facts.jobs(unit), *((also,) if also else ()))}
    missing: dict[str, tuple[Missing, ...]] = {}
    for part in forecast_facts.missing_parts(unit):
        missing[part.ticket_id] = (*missing.get(part.ticket_id, ()), part)
    places = (Place(j.id, j.phase in IN_HAND, j.promise_at, j.created_at, j.number) for j in found.values())
    return Facts(
        now=now, shop=shop, counter=counter, level=level_for(unit, shop, now=now), jobs=found,
        order=rank(places, bench_orders.standing(unit), now=now), missing=missing,
        asked=forecast_facts.asked(unit, found), kinds=repair_kinds.list_kinds(unit),
        technicians=forecast_facts.at_bench(unit)[:MOST_PEOPLE], away=forecast_facts.away_after(unit, now),
        suppliers={
            row.id: (suppliers.habits_of(unit, row, zone=shop.zone), tuple(row.delays))
            for row in shops.list_suppliers(unit)
        },
        promises=promises.standing(unit), stamp=forecasts.state(unit).stamp,
    )  # fmt: skip
