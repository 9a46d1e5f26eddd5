"""Proofs go too: consents, requests, erasure records and the log of looks, each by its own rule, in batches."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta

from notify.core.actors import Actor
from notify.core.retention import over_by
from notify.flows.context import Context
from notify.flows.keeping import midnight
from notify.store import old_proofs, retention

BATCH = 500  # rows in one transaction, so that nobody waits


def forget_proofs(ctx: Context, actor: Actor) -> Mapping[str, int]:
    """Deletes every proof whose own time is over; how many rows of each kind. The caller has looked at the clock."""
    actor.need("forget")
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
        rules, today = retention.rules(unit, ctx.today(shop)), ctx.today(shop)
    gone = dict.fromkeys(old_proofs.KINDS, 0)
    for kind in old_proofs.KINDS:
        last = over_by(rules[kind], today)
        if last == date.min:
            continue
        before = midnight(last + timedelta(days=1), shop)
        while some := _batch(ctx, actor, kind, before):
            gone[kind] += some
    return gone


def _batch(ctx: Context, actor: Actor, kind: str, before: datetime) -> int:
    with ctx.db.write(actor.shop_id) as unit:
        return old_proofs.drop_some(unit, kind, before=before, most=BATCH)
