"""Send a message once more, if somebody says why and it is still true: a row and a Message-ID of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotFound
from notify.core.messages import ENDED, MessageState
from notify.core.notices import AT_ONCE, NOTICES
from notify.core.planner import Planned
from notify.core.second_look import Drop, Send, Verdict, Wait
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import messages, outbox
from notify.store.database import Unit
from notify.store.messages import Message

# Why somebody wants it sent again; codes, as the story holds no free text.
REASONS = ("not_seen", "lost", "address_corrected", "asked", "other")
_NEWEST = 2**31 - 1
_ON_THE_LIST = "It stands on the list of calls. Log it there as no longer needed, if they can be written to by now."
Look = Callable[[Unit, Message], Verdict]


@dataclass(frozen=True, slots=True)
class Resent:
    """The new message, by what way it will go, and until when it waits for a decent hour (None: it leaves now)."""

    message_id: str
    channel: str
    until: datetime | None


def resend(ctx: Context, actor: Actor, message_id: str, *, reason: str, look: Look) -> Resent:
    """Plans the same message anew. `look` is the dispatcher's second look; the words are written anew as well.

    Raises Invalid without a reason, NotFound, and Conflict while it waits, when it is no longer true (with the
    reason's code), or when it is being sent again already.
    """
    actor.need("resend")
    if reason not in REASONS:
        raise Invalid("Why is it to be sent again?", f"Choose one of: {', '.join(REASONS)}.", field="reason")
    with ctx.db.write(actor.shop_id) as unit:
        message = messages.get_message(unit, message_id)
        if message is None:
            raise NotFound("There is no such message", "Look at the list of messages.")
        if message.notice in AT_ONCE:  # 47 CFR 64.1200(a)(12): a stop is confirmed one time only
            raise Conflict("An answer, a code or a warning goes out once only", "Write to them yourself, or call.")
        again = _again(ctx, unit, message)
        verdict = look(unit, again)
        if isinstance(verdict, Drop):
            raise Conflict(f"It is not sent again: {verdict.reason}", "Look at the ticket for how things stand now.")
        return _write(ctx, unit, actor, again, verdict, before=message, reason=reason)


def _again(ctx: Context, unit: Unit, message: Message) -> Message:
    """The message as it would be sent now: alive again, unless the time it is about has gone by."""
    if message.state not in ENDED:
        waits = message.state == MessageState.TO_CALL
        advice = _ON_THE_LIST if waits else "It leaves by itself; look at what it waits for."
        raise Conflict("This message has not left yet", advice)
    same = [m for m in messages.messages_of_visit(unit, message.visit_id) if _identity(m) == _identity(message)]
    if any(m.state not in ENDED for m in same):
        raise Conflict("It is being sent again already", "Wait until that one has left.")
    now = ctx.clock()
    ends = message.expires_at if message.refs.get("booking") else now + NOTICES[message.notice].life
    number = max(m.resend for m in same) + 1
    # One that was never planned has no channel; and whoever had to be called may be written to by now.
    channel = message.channel if message.channel not in ("", "call") else NOTICES[message.notice].channels[0]
    # Looked at as what it will be: the newest message of all, so that no other one says it later.
    return replace(message, resend=number, seq=_NEWEST, expires_at=max(ends, message.expires_at), channel=channel)


def _identity(message: Message) -> tuple[str, ...]:
    return message.about, message.cause, message.notice, message.person_id


def _write(
    ctx: Context, unit: Unit, actor: Actor, again: Message, verdict: Send | Wait, *, before: Message, reason: str
) -> Resent:
    now = ctx.clock()
    way = verdict if isinstance(verdict, Send) else Send(again.channel, again.contact_id)
    planned = Planned(again.notice, again.person_id, way.channel, way.contact_id, again.about, again.cause, now,
                      again.expires_at)  # fmt: skip
    (new,) = outbox.add(unit, (planned,), visit_id=again.visit_id, sealed_for=again.sealed_for, refs=again.refs,
                        now=now, resend=again.resend)  # fmt: skip
    kind, _, thing = again.about.partition(":")
    record(ctx, unit, actor, "message_resent", visit_id=again.visit_id, ticket_id=thing if kind == "ticket" else "",
           codes={"message": new, "before": before.id, "notice": again.notice, "reason": reason})  # fmt: skip
    return Resent(new, way.channel, verdict.until if isinstance(verdict, Wait) else None)
