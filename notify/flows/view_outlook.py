"""What could be promised for a device that is being taken in: without a part, and with one ordered now."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.errors import NotFound
from notify.core.ready import Forecast, Without
from notify.flows.context import Context
from notify.flows.forecast_made import outlook_of_new
from notify.store import repair_kinds, shops
from notify.store.database import Unit

MOST = 4  # suppliers in one answer: whoever stands at the counter reads no longer list


@dataclass(frozen=True, slots=True)
class Outlook:
    """By when it would be ready; None when nobody can say, and then `without` says why. `supplier` is empty without."""

    supplier: str
    at: datetime | None
    without: Without | None


def outlook(ctx: Context, actor: Actor, *, kind: str = "") -> tuple[Outlook, ...]:
    """Without a part first, then by supplier, the soonest on top.

    `kind` is a repair kind's name or identifier; an unknown one counts as none.
    """
    actor.need("check_in")
    with ctx.db.read(actor.shop_id) as unit:
        kind_id = _kind(unit, kind)
        known = shops.list_suppliers(unit)[:MOST]
        plain = _outlook("", outlook_of_new(ctx, unit, kind_id=kind_id))
        by = [_outlook(s.name, outlook_of_new(ctx, unit, kind_id=kind_id, supplier_id=s.id)) for s in known]
        return (plain, *sorted(by, key=lambda one: (one.at is None, one.at or ctx.clock(), one.supplier)))


def _kind(unit: Unit, kind: str) -> str | None:
    with suppress(NotFound):
        return repair_kinds.find_kind(unit, kind).id if kind else None
    return None


def _outlook(supplier: str, forecast: Forecast) -> Outlook:
    return Outlook(supplier, forecast.promise_at, forecast.without)
