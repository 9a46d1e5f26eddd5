"""What the shop does with replies: looks at them, and lets strangers' letters go when their time is over."""

from __future__ import annotations

from datetime import timedelta

from notify.core.actors import Actor
from notify.core.errors import Conflict
from notify.flows.context import Context
from notify.store import erasing, letters, replies

LETTERS = ("reply", "report")  # kinds of notes that tell of letters; signed calls have their own time (take_call)


def mark_seen(ctx: Context, actor: Actor, reply_id: str) -> None:
    """Notes that somebody has read a reply. Raises NotFound, or Conflict when somebody had before."""
    actor.need("see_contact")
    with ctx.db.write(actor.shop_id) as unit:
        replies.get_reply(unit, reply_id)
        if not replies.mark_seen(unit, reply_id, at=ctx.clock(), staff_id=actor.id):
            raise Conflict("This reply has been looked at already", "Nothing is left to do.")


def forget_strangers(ctx: Context, actor: Actor, *, keep_days: int) -> int:
    """Erases what strangers wrote longer ago than `keep_days`: keys first, then the rows; how many.

    The erasure is proved by the next run of `forget.confirm`. Replies of customers go with the customer.
    The notes of letters taken go as well, long after no copy can lie in the mailbox or at a gateway any more.
    """
    actor.need("forget")
    now = ctx.clock()
    with ctx.db.read(actor.shop_id) as unit:
        due = replies.strangers_before(unit, now - timedelta(days=keep_days))
    if due:
        ctx.db.vault.destroy_keys(due, at=now)
    with ctx.db.write(actor.shop_id) as unit:
        letters.forget_taken(unit, before=now - timedelta(days=2 * keep_days + 7), kinds=LETTERS)
        gone = replies.drop_replies(unit, due)
        if gone:
            erasing.add_erasure(unit, at=now, reason="strangers_letters", counts={"replies": gone})
    return gone
