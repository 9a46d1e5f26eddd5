"""Hear a text message that somebody wrote back: in every shop that knows the number, else in the first one."""

from __future__ import annotations

from collections.abc import Sequence

from notify.flows.context import Context
from notify.flows.hear_reply import Heard, hear
from notify.flows.view_gateway import shops_that_know


def hear_text(ctx: Context, shop_ids: Sequence[str], heard: Heard) -> bool:
    """Whether it was news anywhere; each shop takes it once."""
    shops = shops_that_know(ctx, shop_ids, heard.sender) or tuple(shop_ids[:1])
    news = [hear(ctx, shop_id, heard) for shop_id in shops]  # all of them, also after the first that takes it
    return any(news)
