"""Whether somebody repairs here at all: without, no ready time can be named."""

from __future__ import annotations

from notify.flows.context import Context
from notify.store import forecast_facts


def is_nobody_at_bench(ctx: Context, shop_id: str) -> bool:
    """Whether nobody who works here repairs, as far as the shop has said. It needs nobody to be signed in."""
    with ctx.db.read(shop_id) as unit:
        return not forecast_facts.at_bench(unit)
