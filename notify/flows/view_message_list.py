"""The owner's look at all messages: what failed and what waits longest first, then a filtered list page by page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.claim_number import parse_number
from notify.core.errors import Invalid
from notify.core.message_groups import FAILURE_IS_NEWS, GROUPS, check_group, late_since
from notify.core.messages import MessageState
from notify.core.notices import NOTICES
from notify.flows.context import Context
from notify.flows.view_messages import MessageLine, message_lines
from notify.store import message_lists, messages, tickets
from notify.store.database import Unit
from notify.store.message_lists import Wanted
from notify.store.messages import Message

CHANNELS = ("email", "sms", "call")
MOST_FAILURES = 20


@dataclass(frozen=True, slots=True)
class Filter:
    """What to show: a group of core/message_groups, a notice, a channel, a claim number as typed; empty is all."""

    group: str = ""
    notice: str = ""
    channel: str = ""
    number: str = ""

    def is_empty(self) -> bool:
        """Whether nothing is filtered."""
        return self == Filter()


@dataclass(frozen=True, slots=True)
class Oldest:
    """The message that has waited longest, and since when. `due_at` is when it is tried next."""

    line: MessageLine
    since: datetime
    due_at: datetime


@dataclass(frozen=True, slots=True)
class MessageList:
    """A page of the list, newest first. `failed` stands before it on the unfiltered first page, else it is empty.

    `waiting` counts all that wait; `oldest` is the one of them that has waited longest. `late` are those that might
    have left for longer than the shop's alarm, counted; `late_for` is the longest. `last_sent` is when one left last.
    """

    lines: tuple[MessageLine, ...]
    failed: tuple[MessageLine, ...]
    has_older: bool
    waiting: int
    oldest: Oldest | None
    late: int
    late_for: timedelta
    last_sent: datetime | None


def view(ctx: Context, actor: Actor, *, page: int = 1, size: int = 50, only: Filter | None = None) -> MessageList:
    """One page, the skipped and dropped ones too: they answer "why no message?".

    Raises Invalid for a filter that is none, NotFound for a claim number that nobody has.
    """
    actor.need("look")
    chosen, now = _checked(only or Filter()), ctx.clock()
    with ctx.db.read(actor.shop_id) as unit:
        failed = _failed(unit, now) if chosen.is_empty() else ()
        wanted = _wanted(unit, chosen, but_not=tuple(m.id for m in failed))
        found = message_lists.find(unit, wanted, limit=size + 1, skip=(max(1, page) - 1) * size)
        waits = message_lists.waiting(unit)
        late = late_ones(waits, now, alarm=timedelta(minutes=ctx.shop(unit).alarm_minutes))
        sent = messages.list_messages(unit, states=(MessageState.SENT,), limit=1)
        return MessageList(
            lines=message_lines(unit, found[:size]), failed=message_lines(unit, failed if page <= 1 else ()),
            has_older=len(found) > size, waiting=message_lists.count_waiting(unit), oldest=_oldest(unit, waits),
            late=len(late), late_for=max(late, default=timedelta(0)), last_sent=sent[0].ended_at if sent else None,
        )  # fmt: skip


def _checked(only: Filter) -> Filter:
    check_group(only.group)
    if only.notice and only.notice not in NOTICES:
        raise Invalid("There is no such kind of message", f"Use one of: {', '.join(NOTICES)}.", field="notice")
    if only.channel and only.channel not in CHANNELS:
        raise Invalid("There is no such channel", f"Use one of: {', '.join(CHANNELS)}.", field="channel")
    return only


def _wanted(unit: Unit, only: Filter, *, but_not: tuple[str, ...]) -> Wanted:
    states = tuple(GROUPS[only.group]) if only.group else ()
    if not only.number:
        return Wanted(states, only.notice, only.channel, but_not=but_not)
    ticket = tickets.find_by_number(unit, parse_number(only.number))
    about = (f"ticket:{ticket.id}", f"visit:{ticket.visit_id}")
    return Wanted(states, only.notice, only.channel, ticket.visit_id, about)


def _failed(unit: Unit, now: datetime) -> tuple[Message, ...]:
    calls = message_lists.to_call(unit, limit=MOST_FAILURES)
    news = message_lists.given_up_since(unit, now - FAILURE_IS_NEWS, limit=3 * MOST_FAILURES)
    given_up = (m for m in news if not messages.said_another_way(unit, m))  # told by now: nobody needs to act
    return tuple(sorted((*calls, *given_up), key=lambda m: -m.seq))[:MOST_FAILURES]


def _oldest(unit: Unit, waits: tuple[Message, ...]) -> Oldest | None:
    if not waits:
        return None
    message = min(waits, key=lambda m: (m.created_at, m.seq))
    (line,) = message_lines(unit, [message])
    return Oldest(line, message.created_at, message.due_at)


def late_ones(waits: tuple[Message, ...], now: datetime, *, alarm: timedelta) -> list[timedelta]:
    """For how long those might have left that might have for longer than the alarm."""
    since = [
        late_since(reason=m.reason, due_at=m.due_at, created_at=m.free_at or m.created_at, now=now) for m in waits
    ]  # a night that it slept through is not counted
    return [now - moment for moment in since if moment is not None and now - moment > alarm]
