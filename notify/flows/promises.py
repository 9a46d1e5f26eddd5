"""Tell a ready time, or another one; suggest a first one from the part's delivery and the bench queue."""

from __future__ import annotations

from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.core.hours import open_spans
from notify.core.instants import need_near
from notify.core.messages import MessageState
from notify.core.tickets import OPEN_PHASES, Phase
from notify.flows.context import Context
from notify.flows.record import record
from notify.flows.score_promises import settle_ticket
from notify.store import forecasts, messages, outbox, parts, questions, shops, tickets
from notify.store import promises as promised
from notify.store.database import Unit
from notify.store.tickets import Ticket

WHY = ("part_late", "part_dead", "part_missing", "question", "other_job", "bench_busy", "earlier", "other")
TICK = timedelta(minutes=30)  # promises are told in half hours: no false precision (common practice, no source)


def promise(ctx: Context, actor: Actor, ticket_id: str, at: datetime, *, why: str = "other") -> None:
    """Sets the time told to the customer; a changed one is told with its reason, an unsent older one is withdrawn.

    Only a person does this, or the shop's own rule (`promise_rule`): no forecast moves a promise by itself.
    """
    if actor.kind != "system":
        actor.need("move")
    if why not in WHY:
        raise Invalid(f"{why[:40]!r} is no reason for another time", f"Use one of: {', '.join(WHY)}.", field="why")
    with ctx.db.write(actor.shop_id) as unit:
        if actor.kind == "system" and ctx.shop(unit).promise_rule != "tell":
            raise NotAllowed("In this shop staff decide about another time", "Set promise_rule to tell to change that.")
        ticket = tickets.get_ticket(unit, ticket_id, lock=True)
        at = need_near(at, now=ctx.clock(), field="promise")
        if at <= ctx.clock():
            raise Invalid("The promised time is past", "Name a later one.", field="promise")
        if ticket.phase not in OPEN_PHASES or ticket.phase is Phase.ON_SHELF:
            raise Conflict("This device is ready or gone; there is nothing to promise", "Look at the ticket again.")
        old = ticket.promise_at
        if old == at:
            return
        tickets.change_ticket(unit, ticket, promise_at=at)
        note_promise(ctx, unit, actor, ticket_id, at, why=why if old is not None else "")
        settle_ticket(ctx, unit, ticket)
        codes: dict[str, str | int] = {"new": at.isoformat(), "why": why}
        if old is not None:
            codes["old"] = _withdraw_unheard(ctx, unit, ticket) or old.isoformat()
        # Back to what the customer last heard: there is nothing to tell.
        news = old is not None and datetime.fromisoformat(str(codes["old"])) != at
        kind = "promise_changed" if news else "promise_made"
        # Once that time has gone by, the news of it is wrong.
        record(ctx, unit, actor, kind, visit_id=ticket.visit_id, ticket_id=ticket_id, codes=codes,
               expires={"promise_changed": at})  # fmt: skip


def note_promise(ctx: Context, unit: Unit, actor: Actor, ticket_id: str, at: datetime, *, why: str = "") -> None:
    """Keeps a time that is told, with the forecast that stands, so that it can be scored once it has passed."""
    promised.add(
        unit, ticket_id, promise_at=at, made_at=ctx.clock(), why=why, forecast=forecasts.of_ticket(unit, ticket_id),
        made_by=promised.BY_THE_RULE if actor.kind == "system" else actor.kind,
    )  # fmt: skip


def _withdraw_unheard(ctx: Context, unit: Unit, ticket: Ticket) -> str:
    """Withdraws changes that were not told yet; the time that the customer last heard, empty when it stands."""
    unheard = [
        m for m in messages.messages_of_visit(unit, ticket.visit_id)
        if m.notice == "promise_changed" and m.about == f"ticket:{ticket.id}"
        and m.state in (MessageState.WAITING, MessageState.TO_CALL) and not m.leased and not m.attempts
    ]  # fmt: skip
    outbox.withdraw(unit, causes=[m.cause for m in unheard], now=ctx.clock(), reason="newer_promise")
    return str(unheard[0].refs["old"]) if unheard else ""


def suggest(ctx: Context, actor: Actor, ticket_id: str) -> datetime | None:
    """A ready time from the last part's due date, the queue before it and the opening hours; None if not foreseeable.

    Deterministic: every queued job takes the shop's usual bench time; the forecast with its confidence
    comes later. None while a question is open or a part has no due date: no promise is better than a far one.
    """
    with ctx.db.read(actor.shop_id) as unit:
        return suggest_within(ctx, unit, ticket_id)


def suggest_within(ctx: Context, unit: Unit, ticket_id: str) -> datetime | None:
    """Like suggest, inside the caller's transaction."""
    shop, now = ctx.shop(unit), ctx.clock()
    ticket = tickets.get_ticket(unit, ticket_id)
    missing = [p for p in parts.parts_of(unit, ticket_id) if p.state in ("needed", "ordered")]
    asked = any(q.state == "open" for q in questions.questions_of(unit, ticket_id))
    if asked or any(p.due_at is None for p in missing):
        return None
    queue = tickets.tickets_in(unit, (Phase.IN_LINE, Phase.ON_BENCH))
    before = sum(1 for other in queue if other.created_at < ticket.created_at and other.id != ticket.id)
    start = max([now, *(p.due_at for p in missing if p.due_at)])
    counter = shops.get_counter(unit, shop)
    need = timedelta(minutes=shop.bench_minutes) * (before + 1)
    day = start.date()
    for span in open_spans(counter, day - timedelta(days=1), day + timedelta(days=30)):
        begin = max(span.start_utc, start)
        room = span.end_utc - begin
        if room <= timedelta(0):
            continue
        if need <= room:
            return _round_up(begin + need)
        need -= room
    return None


def _round_up(moment: datetime) -> datetime:
    over = timedelta(minutes=moment.minute % 30, seconds=moment.second, microseconds=moment.microsecond)
    return moment if not over else moment + TICK - over
