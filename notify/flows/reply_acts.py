"""What a reply does by itself: stops, starts, help. Nothing that cannot be taken back, and never more than it says."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.consent import is_unheard
from notify.core.may_confirm import PRESUMED, may_confirm
from notify.core.notices import ANSWERS, PURPOSES
from notify.core.reply_limits import ANSWER_WINDOW, may_answer
from notify.core.reply_words import Wish
from notify.flows.context import Context
from notify.flows.reach import write_uses
from notify.flows.record import record
from notify.flows.reply_writer import Writer
from notify.store import messages, people, replies, suppressions, visits
from notify.store.database import Unit

HELP_AGAIN = timedelta(days=1)  # one help text a day: a forged sender must not become a flood (RFC 3834 2, 5)


@dataclass(frozen=True, slots=True)
class Asked:
    """One reply being acted on: over which channel, by whom, when it arrived, and under which identifier it is kept."""

    channel: str
    writer: Writer
    wish: Wish
    at: datetime
    reply_id: str

    def codes(self) -> dict[str, str | int]:
        """Identifiers for events and for the answer that goes back."""
        w = self.writer
        return {"person": w.person_id, "channel": self.channel, "contact": w.contact_id, "reply": self.reply_id}


def act(ctx: Context, unit: Unit, actor: Actor, asked: Asked) -> bool:
    """Does what the reply wishes and may do; whether it is done, so that nobody has to look at it."""
    if not asked.writer.person_id:
        return False
    if asked.wish.stop_this_number:
        _give_up_address(ctx, unit, asked)
        return False
    if asked.wish.cls == "stop" or asked.wish.kind == "erasure":
        _stop(ctx, unit, actor, asked)
        return asked.wish.kind == "stop"
    if asked.wish.kind == "start":
        return _start(ctx, unit, actor, asked)
    return asked.wish.kind == "help" and _help(ctx, unit, actor, asked)


def _give_up_address(ctx: Context, unit: Unit, asked: Asked) -> None:
    """It reaches the wrong person: never used again until corrected, whatever the right one allowed.

    A letter must name our message: this is confirmed to nobody, and a sender is easily forged.
    """
    if asked.channel == "email" and not asked.writer.is_sure:
        return
    for contact_id in asked.writer.owners.values():
        people.mark_undeliverable(unit, contact_id, at=ctx.clock(), why=people.WRONG_NUMBER)


def _stop(ctx: Context, unit: Unit, actor: Actor, asked: Asked) -> None:
    """Every purpose of this channel, for everybody who is reached at the address; confirmed once at most."""
    uses = people.allowed_uses(unit, asked.writer.owners)
    still = {one: allowed for one in asked.writer.owners if (allowed := uses.get(one, {}).get(asked.channel))}
    for person_id, purposes in still.items():
        _write(ctx, unit, actor, asked, person_id, purposes, allowed=False)
    suppressions.suppress(unit, asked.channel, asked.writer.address, how="reply", at=ctx.clock(), staff_id=None)
    _tell_visits(ctx, unit, actor, asked, still, "consent_withdrawn")
    confirmed_before = 0 if still else 1  # nothing was left to stop: this wish was confirmed, or needed no words
    if may_confirm(stopped_at=asked.at, now=ctx.clock(), confirmed_before=confirmed_before):
        _answer(ctx, unit, actor, asked, "stop_heard", ends={"stop_confirmed": asked.at + PRESUMED})


def _start(ctx: Context, unit: Unit, actor: Actor, asked: Asked) -> bool:
    """What they had allowed before is allowed again. A letter must name our message: a sender is easily forged.

    Not what needs a consent of its own: one word says nothing about the question some days later.
    """
    if (asked.channel == "email" and not asked.writer.is_sure) or _was_stopped_since(unit, asked):
        return False
    ended = suppressions.end(unit, asked.channel, asked.writer.address, how="reply", at=ctx.clock())
    stopped = _stopped(unit, asked, typed_anew=ended > 0)
    for person_id, purposes in stopped.items():
        _write(ctx, unit, actor, asked, person_id, purposes, allowed=True)
    _tell_visits(ctx, unit, actor, asked, stopped, "consent_given")
    if stopped:
        _answer(ctx, unit, actor, asked, "start_heard")
    return True


def _stopped(unit: Unit, asked: Asked, *, typed_anew: bool) -> dict[str, frozenset[str]]:
    """person -> what belongs to the repair that they stopped on this channel, or could not allow while it was stopped.

    `typed_anew`: the address was suppressed, so of whoever came in with it since nothing was noted.
    """
    withdrawn = people.withdrawn_uses(unit, asked.writer.owners, asked.channel)
    states = people.standings(unit, asked.writer.owners) if typed_anew else {}
    out = {}
    for one in asked.writer.owners:
        never_said = typed_anew and is_unheard(states.get(one, {}), asked.channel)
        if ours := frozenset(PURPOSES if never_said else withdrawn.get(one, frozenset()).intersection(PURPOSES)):
            out[one] = ours
    return out


def _was_stopped_since(unit: Unit, asked: Asked) -> bool:
    """Whether it was overtaken on its way, or is an old one sent anew: a stop that was said later holds.

    A stop that came as a reply counts from when that arrived, which its own row tells, not from when it was taken.
    """
    noted = suppressions.standing(unit, asked.channel, asked.writer.address)
    stopped = (
        noted.at if noted is not None and noted.reason != "reply" else None,
        replies.newest_stop(unit, asked.writer.owners, asked.channel),
        people.newest_withdrawal(unit, asked.writer.owners, asked.channel, but_not=("reply", "restore")),
    )
    return any(one is not None and one > asked.at for one in stopped)


def _help(ctx: Context, unit: Unit, actor: Actor, asked: Asked) -> bool:
    since = ctx.clock() - HELP_AGAIN
    if replies.heard_since(unit, asked.writer.owners, "help", since) <= 1:  # this one is counted
        _answer(ctx, unit, actor, asked, "help_heard")
    return True


def _write(
    ctx: Context, unit: Unit, actor: Actor, asked: Asked, person_id: str, purposes: Iterable[str], *, allowed: bool
) -> None:
    write_uses(
        ctx, unit, actor, person_id, asked.channel, sorted(purposes), allowed=allowed, how="reply",
        evidence=asked.reply_id, replied=True,
    )  # fmt: skip


def _tell_visits(ctx: Context, unit: Unit, actor: Actor, asked: Asked, person_ids: Iterable[str], kind: str) -> None:
    """One event in the newest visit of each person, the answered one for the writer."""
    newest = {**visits.newest_visits(unit, person_ids)}
    if asked.writer.person_id in newest:
        newest[asked.writer.person_id] = asked.writer.visit_id
    for visit_id in dict.fromkeys(newest.values()):
        record(ctx, unit, actor, kind, visit_id=visit_id, codes={"channel": asked.channel, "how": "reply"})


def _answer(
    ctx: Context, unit: Unit, actor: Actor, asked: Asked, kind: str, *, ends: dict[str, datetime] | None = None
) -> None:
    since = ctx.clock() - ANSWER_WINDOW
    answered = messages.told_since(unit, asked.writer.visit_id, asked.channel, ANSWERS, since)
    record(ctx, unit, actor, kind, visit_id=asked.writer.visit_id, codes=asked.codes(), expires=ends or {},
           silent=not may_answer(answered))  # fmt: skip
