"""How long the longest waiting message waits: what a watcher of the machine and `shelfbell check` ask."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from notify.flows.context import Context
from notify.flows.view_message_list import late_ones
from notify.store import message_lists


@dataclass(frozen=True, slots=True)
class Late:
    """Of one shop: how many messages wait, how long the oldest has (0 for none), and how many wait past the alarm."""

    waiting: int
    oldest: timedelta
    late: int
    late_for: timedelta


def view(ctx: Context, shop_id: str) -> Late:
    """Counts and times only, nothing about anybody: so it needs nobody to be signed in."""
    with ctx.db.read(shop_id) as unit:
        waits, now = message_lists.waiting(unit), ctx.clock()
        late = late_ones(waits, now, alarm=timedelta(minutes=ctx.shop(unit).alarm_minutes))
        oldest = max((now - message.created_at for message in waits), default=timedelta(0))
        return Late(len(waits), oldest, len(late), max(late, default=timedelta(0)))
