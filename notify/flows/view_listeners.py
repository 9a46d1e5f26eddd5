"""Which listeners staff have to look at: paused because they were silent or gone, or with events that they refused."""

from __future__ import annotations

from notify.core.actors import Actor
from notify.flows.context import Context
from notify.flows.listeners import Shown, shown_within
from notify.store import listeners


def on_sheet(ctx: Context, actor: Actor) -> tuple[Shown, ...]:
    """Those that need somebody, by name. One that was paused by hand needs nobody."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        if not listeners.needs_somebody(unit):
            return ()
        return tuple(
            one for one in shown_within(unit) if one.refused or (one.state == listeners.PAUSED and one.trouble)
        )
