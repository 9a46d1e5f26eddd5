"""Some days after a device went home: ask those who agreed to it, once, whether all is well."""

from __future__ import annotations

from datetime import timedelta

from notify.core.actors import Actor
from notify.core.notices import NOTICES
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import gone_home, idempotent, people, visits
from notify.store.database import Unit
from notify.store.gone_home import GoneHome

PURPOSE, NOTICE = "afterwards", "all_well"


def ask_due(ctx: Context, actor: Actor) -> int:
    """Plans the question for every visit whose day has come; each once, late ones never. How many."""
    with ctx.db.write(actor.shop_id) as unit:
        days = ctx.shop(unit).all_well_days
        if not days:
            return 0
        last = ctx.clock() - timedelta(days=days)
        gone = gone_home.gone_between(unit, last - NOTICES[NOTICE].life, last)
        return sum(_ask_once(ctx, unit, actor, one, days) for one in gone)


def _ask_once(ctx: Context, unit: Unit, actor: Actor, gone: GoneHome, days: int) -> int:
    """Whoever agreed to nothing is no event: nothing about them is written."""
    cause = f"{NOTICE}:{gone.visit_id}"
    if not _agreed(unit, gone.visit_id) or idempotent.recall(unit, cause):
        return 0
    idempotent.keep(unit, cause, {"days": days}, at=ctx.clock())
    ends = gone.since + timedelta(days=days) + NOTICES[NOTICE].life
    record(ctx, unit, actor, "time_to_ask", visit_id=gone.visit_id, cause=cause, expires={NOTICE: ends},
           codes={"days": days, "tickets": ",".join(gone.repaired)})  # fmt: skip
    return 1


def _agreed(unit: Unit, visit_id: str) -> bool:
    """Whether anybody who is told about the visit agreed, on any channel."""
    told = people.recipients(unit, visits.visit_people(unit, visit_id).get("tell", ()))
    return any(PURPOSE in reach.purposes for one in told if not one.forgotten for reach in one.reaches)
