"""Feeds: secret addresses under which the shop's own calendar reads its pickups; made, listed, revoked by an owner."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.claim_number import new_token
from notify.core.errors import Invalid, NotFound
from notify.core.text import clean_line
from notify.flows.check_in import token_hash
from notify.flows.context import Context
from notify.store import feeds, staff
from notify.store.database import Unit

LONGEST_NAME = 80
LONGEST_SECRET = 200


@dataclass(frozen=True, slots=True)
class Feed:
    """A feed that answers: what it was made for, when and by whom ("" for somebody who is not on the list)."""

    id: str
    name: str
    made_at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class Made:
    """A feed just made. `path` holds its secret, which is shown this once and kept as a hash only.

    `link` and `webcal` are the same with the public address before it, for a calendar to subscribe to; both are empty
    without one.
    """

    id: str
    name: str
    path: str
    link: str
    webcal: str


def make_feed(ctx: Context, actor: Actor, name: str) -> Made:
    """A new secret address, 128 bits like a claim link's. Raises Invalid for no name or a long one."""
    actor.need("settings")
    name = clean_line(name, field="name", limit=LONGEST_NAME)
    if not name:
        raise Invalid("The address has no name", "Say for whom or which device it is.", field="name")
    secret = new_token(ctx.pick)
    with ctx.db.write(actor.shop_id) as unit:
        made = feeds.add_feed(unit, name=name, token_hash=token_hash(secret), by=actor.id, at=ctx.clock())
    path = f"/feeds/{secret}.ics"
    link = f"{ctx.public_url.rstrip('/')}{path}" if ctx.public_url else ""
    return Made(made, name, path, link, f"webcal:{link.partition(':')[2]}" if link else "")


def list_feeds(ctx: Context, actor: Actor) -> tuple[Feed, ...]:
    """Those that still answer, the newest first; never their secrets, which nobody has any more."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return feeds_within(unit)


def feeds_within(unit: Unit) -> tuple[Feed, ...]:
    """Like list_feeds, inside the caller's transaction."""
    names = {row.id: str(row.name) for row in staff.list_staff(unit)}
    return tuple(
        Feed(one.id, one.name, one.made_at, names.get(one.staff_id or "", "")) for one in feeds.live_feeds(unit)
    )


def revoke_feed(ctx: Context, actor: Actor, feed_id: str) -> None:
    """From now on its address answers like one that never was. Raises NotFound when there is none that answers."""
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        if not feeds.end_feed(unit, feed_id, at=ctx.clock()):
            raise NotFound("There is no such calendar address", "Look at the list: it may be revoked already.")


def find_feed(ctx: Context, secret: str) -> tuple[str, str] | None:
    """(shop, feed) behind a secret; None for an unknown, malformed or revoked one, after the same work."""
    return feeds.find_feed(ctx.db, token_hash(secret[:LONGEST_SECRET]))
