"""What keeps a shop from naming any ready time: nobody at the bench, never open, suppliers that never work."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

from notify.core.errors import Invalid
from notify.core.hours import next_opening
from notify.core.working_days import nearest
from notify.flows.at_bench import all_away
from notify.flows.context import Context
from notify.store import forecast_facts, shops
from notify.store.database import Unit
from notify.store.suppliers import habits_of

SOON = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Trouble:
    """`nobody`: none of those who work here repairs. `all_away`: whoever does is away on every open day of a week.

    `never_open`: no opening within 400 days. `idle_suppliers`: names of those without a working day to come.
    """

    nobody: bool
    all_away: bool
    never_open: bool
    idle_suppliers: tuple[str, ...]


def view(ctx: Context, shop_id: str) -> Trouble:
    """What `shelfbell check` says of the bench. It needs nobody to be signed in."""
    with ctx.db.read(shop_id) as unit:
        shop, now = ctx.shop(unit), ctx.clock()
        nobody = not forecast_facts.at_bench(unit)
        opens = next_opening(shops.get_counter(unit, shop), now)
        away = not nobody and all_away(ctx, unit, until=now + SOON)
        return Trouble(nobody, away, opens is None, tuple(_idle(ctx, unit)))


def _idle(ctx: Context, unit: Unit) -> Iterator[str]:
    shop = ctx.shop(unit)
    for row in shops.list_suppliers(unit):
        try:
            nearest(habits_of(unit, row, zone=shop.zone).working, ctx.today(shop))
        except Invalid:
            yield row.name
