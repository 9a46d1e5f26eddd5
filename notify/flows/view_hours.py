"""When a shop is open, in words."""

from __future__ import annotations

from notify.flows.context import Context
from notify.render.moments import Moments
from notify.render.opening import say_hours
from notify.render.words import Language
from notify.store import shops


def view_hours(ctx: Context, shop_id: str, words: Language) -> tuple[str, ...]:
    """The lines on the shop's door, in the language of the page words given."""
    with ctx.db.read(shop_id) as unit:
        shop = ctx.shop(unit)
        return say_hours(shops.get_counter(unit, shop), words, Moments(words, shop.zone, ctx.clock()))
