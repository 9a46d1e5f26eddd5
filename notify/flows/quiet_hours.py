"""When nobody minds that writing stands still for some seconds: no shop of the installation is open."""

from __future__ import annotations

from collections.abc import Iterable

from notify.core.hours import is_open
from notify.flows.context import Context
from notify.store import shops


def is_quiet(ctx: Context, shop_ids: Iterable[str]) -> bool:
    """Whether every shop's counter is closed just now, by its own hours and closed days."""
    return not any(_is_open(ctx, shop_id) for shop_id in shop_ids)


def _is_open(ctx: Context, shop_id: str) -> bool:
    with ctx.db.read(shop_id) as unit:
        return is_open(shops.get_counter(unit, ctx.shop(unit)), ctx.clock())
