"""Tell a ready time, or another one, with its reason; what could be told says flows/forecast.py."""

from __future__ import annotations

from datetime import datetime

from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.core.instants import need_near
from notify.core.messages import MessageState
from notify.core.tickets import OPEN_PHASES, Phase, check_version
from notify.flows.context import Context
from notify.flows.record import record
from notify.flows.score_promises import settle_ticket
from notify.store import forecasts, messages, outbox, tickets
from notify.store import promises as promised
from notify.store.database import Unit
from notify.store.tickets import Ticket

WHY = ("part_late", "part_dead", "part_missing", "question", "other_job", "bench_busy", "earlier", "other")


def promise(
    ctx: Context, actor: Actor, ticket_id: str, at: datetime, *, why: str = "other",
    instead_of: datetime | None = None, seen_version: int | None = None,
) -> None:  # fmt: skip
    """Sets the time told to the customer; a changed one is told with its reason, an unsent older one is withdrawn.

    Only a person does this, or the shop's own rule (`promise_rule`): no forecast moves a promise by itself. Raises
    Conflict when `instead_of` is given and does not stand any more, Changed when the ticket is not as it was seen.
    """
    if actor.kind != "system":
        actor.need("move")
    if why not in WHY:
        raise Invalid(f"{why[:40]!r} is no reason for another time", f"Use one of: {', '.join(WHY)}.", field="why")
    with ctx.db.write(actor.shop_id) as unit:
        if actor.kind == "system" and ctx.shop(unit).promise_rule != "tell":
            raise NotAllowed("In this shop staff decide about another time", "Set promise_rule to tell to change that.")
        ticket = tickets.get_ticket(unit, ticket_id, lock=True)
        check_version(seen_version, ticket.version)
        at = need_near(at, now=ctx.clock(), field="promise")
        if at <= ctx.clock():
            raise Invalid("The promised time is past", "Name a later one.", field="promise")
        if ticket.phase not in OPEN_PHASES or ticket.phase is Phase.ON_SHELF:
            raise Conflict("This device is ready or gone; there is nothing to promise", "Look at the ticket again.")
        old = ticket.promise_at
        if instead_of is not None and old != instead_of:
            raise Conflict("Another time was promised meanwhile", "Look at the ticket again.")
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


def note_promise(
    ctx: Context,
    unit: Unit,
    actor: Actor,
    ticket_id: str,
    at: datetime,
    *,
    why: str = "",
    made_at: datetime | None = None,
) -> None:
    """Keeps a time that is told, with the forecast that stands, so that it can be scored once it has passed.

    `made_at` is when it was told, where that was not now.
    """
    promised.add(
        unit, ticket_id, promise_at=at, made_at=made_at or ctx.clock(), why=why,
        forecast=forecasts.of_ticket(unit, ticket_id),
        made_by=promised.BY_THE_RULE if actor.kind == "system" else actor.kind,
    )  # fmt: skip


def heard(ctx: Context, actor: Actor, ticket_id: str) -> datetime | None:
    """The time that the customer last heard: the promise, or the one before while its change was not told yet."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        ticket = tickets.get_ticket(unit, ticket_id)
        unheard = _unheard(unit, ticket)
        return datetime.fromisoformat(str(unheard[0].refs["old"])) if unheard else ticket.promise_at


def _unheard(unit: Unit, ticket: Ticket) -> list[messages.Message]:
    return [
        m for m in messages.messages_of_visit(unit, ticket.visit_id)
        if m.notice == "promise_changed" and m.about == f"ticket:{ticket.id}"
        and m.state in (MessageState.WAITING, MessageState.TO_CALL) and not m.leased and not m.attempts
    ]  # fmt: skip


def _withdraw_unheard(ctx: Context, unit: Unit, ticket: Ticket) -> str:
    """Withdraws changes that were not told yet; the time that the customer last heard, empty when it stands."""
    unheard = _unheard(unit, ticket)
    outbox.withdraw(unit, causes=[m.cause for m in unheard], now=ctx.clock(), reason="newer_promise")
    return str(unheard[0].refs["old"]) if unheard else ""
