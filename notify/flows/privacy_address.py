"""Where a shop's page of data protection information stands, for paper and for the page itself."""

from __future__ import annotations

from collections.abc import Sequence

from notify.flows.context import Context
from notify.store import shops

BEGINNING = 8  # least letters of a shop's identifier that tell it from the others; short, for it is typed from paper


def privacy_address(ctx: Context, shop_id: str, language: str) -> str:
    """The whole address, which names the shop only where there are several; "" without a public address.

    The language stands last, so that a printer of several languages may pass "" and write it behind.
    """
    if not ctx.public_url:
        return ""
    every = shops.shop_ids(ctx.db)
    asks = f"shop={_beginning(every, shop_id)}&" if len(every) > 1 else ""
    return f"{ctx.public_url.rstrip('/')}/privacy?{asks}language={language}"


def _beginning(every: Sequence[str], shop_id: str) -> str:
    enough = (length for length in range(BEGINNING, len(shop_id)) if shop_meant(every, shop_id[:length]))
    return shop_id[: next(enough, len(shop_id))]


def shop_meant(shop_ids: Sequence[str], asked: str) -> str:
    """The shop that an address names by the beginning of its identifier; "" for none, or more than one."""
    found = [one for one in shop_ids if len(asked) >= BEGINNING and one.startswith(asked)]
    return found[0] if len(found) == 1 else ""
