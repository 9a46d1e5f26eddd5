"""What stands on a shop's door: its name and where to reach it, and when it is open, in words."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.shop import Shop
from notify.flows.context import Context
from notify.render.moments import Moments
from notify.render.opening import say_hours
from notify.render.words import Language
from notify.store import shops
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class Door:
    """The shop, and the lines with its hours."""

    shop: Shop
    hours: tuple[str, ...]


def view_door(ctx: Context, shop_id: str, words: Language) -> Door:
    """The shop and the lines on its door, in the language of the page words given."""
    with ctx.db.read(shop_id) as unit:
        return door_within(ctx, unit, words)


def door_within(ctx: Context, unit: Unit, words: Language) -> Door:
    """Like view_door, inside the caller's transaction."""
    return Door(ctx.shop(unit), _hours(ctx, unit, words))


def _hours(ctx: Context, unit: Unit, words: Language) -> tuple[str, ...]:
    shop = ctx.shop(unit)
    return say_hours(shops.get_counter(unit, shop), words, Moments(words, shop.zone, ctx.clock()))
