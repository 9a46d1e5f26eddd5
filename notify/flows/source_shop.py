"""Which shop a source belongs to: the one that the settings name, or the only one."""

from __future__ import annotations

from collections.abc import Sequence

from notify.config.settings import Watch
from notify.core.errors import Misconfigured
from notify.flows.context import Context
from notify.flows.view_desk import view_shop


def shop_of(ctx: Context, shop_ids: Sequence[str], name: str, *, source: str) -> str:
    """The identifier of the shop that is called `name`; "" is right only where there is one.

    Raises Misconfigured when the name is nobody's, or two shops have it.
    """
    field = f"watch.{source}.shop"
    if not name and len(shop_ids) == 1:
        return shop_ids[0]
    if not name:
        raise Misconfigured(f"{field} is empty and there are several shops", "Write the name of one.", field=field)
    wanted = name.strip().casefold()
    found = [one for one in shop_ids if view_shop(ctx, one).name.strip().casefold() == wanted]
    if len(found) != 1:
        what = "names no shop here" if not found else "is the name of several shops"
        raise Misconfigured(f"{field} {what}", "Write the name as it stands in the shop's settings.", field=field)
    return found[0]


def watches_of(ctx: Context, shop_ids: Sequence[str], watches: Sequence[Watch], shop_id: str) -> tuple[Watch, ...]:
    """The sources of the settings that belong to this shop; one that belongs to none is nobody's."""
    return tuple(watch for watch in watches if _owner(ctx, shop_ids, watch) == shop_id)


def _owner(ctx: Context, shop_ids: Sequence[str], watch: Watch) -> str:
    try:
        return shop_of(ctx, shop_ids, watch.shop, source=watch.name)
    except Misconfigured:
        return ""
