"""What the head of every page of the shop shows: its name, and how many deliveries and calls wait."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from notify.core.actors import Actor
from notify.core.messages import MessageState
from notify.core.shop import Shop
from notify.flows.check_in import token_hash
from notify.flows.context import Context
from notify.store import messages, parts, replies
from notify.store.claims import Claim, find_claim


@dataclass(frozen=True, slots=True)
class Desk:
    """The shop as it is set today; parts due by the end of today; calls to make; replies nobody has read."""

    shop: Shop
    deliveries: int
    calls: int
    replies: int


def view_desk(ctx: Context, actor: Actor) -> Desk:
    """Counts only; opens nothing about anybody."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
        tomorrow = ctx.today(shop) + timedelta(days=1)
        midnight = datetime(tomorrow.year, tomorrow.month, tomorrow.day, tzinfo=ZoneInfo(shop.zone))
        return Desk(shop, parts.count_due(unit, midnight), messages.count_in(unit, MessageState.TO_CALL),
                    replies.count_new_replies(unit))  # fmt: skip


def view_shop(ctx: Context, shop_id: str) -> Shop:
    """The shop's public face, for pages before anybody has signed in."""
    with ctx.db.read(shop_id) as unit:
        return ctx.shop(unit)


def claim_behind(ctx: Context, token: str) -> Claim | None:
    """Whose claim a secret opens, or None. A malformed token is looked up like any other."""
    return find_claim(ctx.db, token_hash(token))
