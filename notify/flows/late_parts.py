"""Parcels that have not come by their usual hour: the shop's bell rings once for each, before a customer asks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta

from notify.core.actors import Actor
from notify.core.bench_order import IN_WORK
from notify.flows.context import Context
from notify.flows.part_lines import tell
from notify.forecast.lead_times import BELATED
from notify.store import parts, tickets
from notify.store.database import Unit
from notify.store.parts import OrderLine

# So many rings an hour, as for promises in danger: after a day without power, or a wrong clock, all are late at once.
# The deliveries list shows them all. Common practice, no source.
MOST_AN_HOUR = 10
_HOUR = timedelta(hours=1)
_NEVER = datetime.max.replace(tzinfo=UTC)


def ring_late(ctx: Context, actor: Actor) -> int:
    """Tells the shop of each parcel whose hour is well past; how many were told. One look while nothing is late.

    A parcel of which other parts came is none that is late: whoever unpacked it knows what was missing.
    """
    before = ctx.clock() - BELATED
    with ctx.db.read(actor.shop_id) as unit:
        if not parts.overdue(unit, before):
            return 0
    with ctx.db.write(actor.shop_id) as unit:
        now, found = ctx.clock(), parts.overdue(unit, before)
        short = parts.came_with(unit, found)
        left = MOST_AN_HOUR - sum(1 for at in parts.told_late_since(unit, now - _HOUR) if at <= now)
        rung = 0
        for lines in _parcels(found).values():
            first = _most_urgent(unit, [one for one in lines if one.id not in short])
            if first is not None:
                tell(ctx, unit, actor, "part_late", first, parts=len(lines), silent=rung >= left)
                rung += 1
            for line in lines:
                parts.change_part(unit, line, told_late_at=now)
        return rung


def _parcels(found: Iterable[OrderLine]) -> Mapping[tuple[str, datetime | None], list[OrderLine]]:
    parcels: dict[tuple[str, datetime | None], list[OrderLine]] = {}
    for one in found:
        parcels.setdefault((one.supplier_id or "", one.due_at), []).append(one)
    return parcels


def _most_urgent(unit: Unit, lines: Iterable[OrderLine]) -> OrderLine | None:
    """The part of the ticket with the earliest promise, of those that are still in work."""
    about = {one.id: tickets.get_job(unit, one.ticket_id) for one in lines}
    waiting = [one for one in lines if about[one.id].phase in IN_WORK]
    return min(waiting, key=lambda one: (about[one.id].promise_at or _NEVER, one.needed_at, one.id), default=None)
