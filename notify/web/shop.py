"""Which shop somebody signs in to: the only one, or the one they choose."""

from __future__ import annotations

from collections.abc import Sequence

from notify.core.errors import Invalid, NotFound
from notify.flows.context import Context
from notify.flows.view_desk import view_shop


def choices(ctx: Context, shop_ids: Sequence[str]) -> list[dict[str, str]]:
    """What the sign-in page offers: [] for one shop, else each with its name."""
    if len(shop_ids) < 2:
        return []
    return [{"code": shop_id, "label": view_shop(ctx, shop_id).name} for shop_id in shop_ids]


def chosen(shop_ids: Sequence[str], typed: str) -> str:
    """The shop to sign in to: the only one, or the one picked. Raises Invalid, NotFound when there is none at all."""
    if not shop_ids:
        raise NotFound("There is no shop yet", "Make one with `shelfbell init`.")
    if len(shop_ids) == 1:
        return shop_ids[0]
    if typed not in shop_ids:
        raise Invalid("No shop was chosen", "Choose the shop you are in.", field="shop")
    return typed
