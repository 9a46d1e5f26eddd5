"""Move a ticket, undo a fresh move, correct an old one. A little long: a move and its undoing are one story."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from notify.core import tickets as rules
from notify.core.actors import Actor
from notify.core.errors import Conflict, NotAllowed
from notify.core.events import Event
from notify.core.late_entry import CLOCKS_DIFFER, need_after, need_past
from notify.core.parts import count_missing
from notify.core.text import clean_block
from notify.core.tickets import Move, Phase, WaitsOn
from notify.flows.context import Context
from notify.flows.learn import hands_on_seconds, settle
from notify.flows.record import record
from notify.flows.score_promises import settle_ticket
from notify.flows.stand_again import stand_again
from notify.flows.uncollected import check_may_leave
from notify.store import bookings, events, messages, notes, outbox, parts, questions, tickets
from notify.store.database import Unit
from notify.store.tickets import Job

UNDO_WITHIN = rules.UNDO_WITHIN


@dataclass(frozen=True, slots=True)
class Moved:
    """The ticket after the move and the event that tells it: identifier and kind."""

    ticket: Job
    event_id: str
    kind: str


def move(
    ctx: Context,
    actor: Actor,
    ticket_id: str,
    to: str,
    *,
    reason: str = "",
    outcome: str = "",
    note: str = "",
    anyway: bool = False,
    seen_version: int | None = None,
    at: datetime | None = None,
) -> Moved:
    """One step of core/tickets.MOVES. Raises NotAllowed (naming what is), Invalid (reason) or Conflict.

    `anyway` confirms the note's reason once more: for a start that still waits, and for closing a device as never
    collected before a rule's day. `at` is when it happened, for what is entered later: not ahead, and not before what
    happened to this device before.
    """
    actor.need("move")
    target = rules.parse_phase(to)
    if at is not None:
        at = need_past(at, now=ctx.clock(), field="at")
    words = clean_block(note, field="note")
    with ctx.db.write(actor.shop_id) as unit:
        ticket = tickets.get_job(unit, ticket_id)
        rules.check_version(seen_version, ticket.version)
        step = rules.find_move(ticket.phase, target, outcome=outcome)
        if step.event in rules.DESK_ONLY:
            raise NotAllowed(f"{step.event} is done at the handover desk", "Scan the customer's claim ticket.")
        if step.event == "left_behind":
            actor.need("leave_behind")
        rules.check_reason(step, reason)
        if at is not None:
            story = events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id)
            need_after(at, story, ticket.id, field="at")
        if step.event == "left_behind":
            check_may_leave(ctx, unit, ticket, reason=reason, note=words, confirmed=anyway)
        if target is Phase.ON_BENCH and ticket.phase is Phase.IN_LINE:
            _check_start(unit, actor, ticket, anyway=anyway, note=words)
        return take_step(ctx, unit, actor, ticket, step, reason=reason, note=words, anyway=anyway, at=at)


def take_step(
    ctx: Context, unit: Unit, actor: Actor, ticket: Job, step: Move, *, reason: str = "", note: str = "",
    anyway: bool = False, at: datetime | None = None, codes: dict[str, str | int] | None = None,
    story: Sequence[Event] | None = None,
) -> Moved:  # fmt: skip
    """Carries an allowed step out inside the caller's transaction: row, event, messages, note, side effects.

    `story` holds the device's own events so far where the caller has read them already.
    """
    when = at or ctx.clock()
    technician = actor.id if actor.kind == "staff" and step.target is Phase.ON_BENCH else ticket.technician_id
    outcome, why = _outcome_after(step, ticket, reason)
    stint = step.source is Phase.ON_BENCH
    changed = tickets.change_ticket(
        unit, ticket, phase=step.target, phase_since=when, technician_id=technician, outcome=outcome, reason=why,
        worked_seconds=(
            hands_on_seconds(ctx, unit, ticket, until=when, story=story) if stint else ticket.worked_seconds
        ),
    )  # fmt: skip
    settle(unit, ticket, changed)
    told: dict[str, str | int] = {"from": step.source.value, "to": step.target.value, **(codes or {})}
    if reason:
        told["reason"] = reason
    if anyway:
        told["anyway"] = 1
    event = record(ctx, unit, actor, step.event, visit_id=ticket.visit_id, ticket_id=ticket.id, codes=told, at=when)
    if step.target is Phase.ON_SHELF:
        settle_ticket(ctx, unit, ticket)
    if note:
        notes.add_note(unit, ticket_id=ticket.id, person_id=ticket.person_id, text=note, at=when,
                       staff_id=actor.staff_id, event_id=event.id)  # fmt: skip
    if step.event == "called_back":
        _give_up_pickup(ctx, unit, actor, ticket, event.id)
    return Moved(changed, event.id, event.kind)


def _outcome_after(step: Move, ticket: Job, reason: str) -> tuple[str, str]:
    """What the work came to, and why not repaired: both stay through a handover and its undoing."""
    if step.outcome is not None:
        return step.outcome.value, reason if step.outcome == "unrepaired" else ""
    again = step.target in (Phase.IN_LINE, Phase.ON_BENCH, Phase.PROVING)
    return ("", "") if again else (ticket.outcome, ticket.reason)


def _check_start(unit: Unit, actor: Actor, ticket: Job, *, anyway: bool, note: str) -> None:
    waits = waits_on(unit, ticket)
    if anyway and waits is not WaitsOn.BENCH:
        actor.need("start_anyway")
    rules.check_may_start(waits, anyway=anyway, note=note)


def waits_on(unit: Unit, ticket: Job) -> WaitsOn:
    """Whom the ticket waits on, from its open questions and missing parts."""
    asked = sum(1 for q in questions.questions_of(unit, ticket.id) if q.state == "open")
    missing = count_missing(part.state for part in parts.parts_of(unit, ticket.id))
    return rules.waiting_on(ticket.phase, open_questions=asked, missing_parts=missing)


def _give_up_pickup(ctx: Context, unit: Unit, actor: Actor, ticket: Job, event_id: str) -> None:
    booking = bookings.live_booking(unit, ticket.visit_id)
    others_ready = any(phase is Phase.ON_SHELF for phase in tickets.phases_of_visit(unit, ticket.visit_id).values())
    if booking is None or others_ready:
        return
    revision = bookings.close_booking(unit, booking, "cancelled", at=ctx.clock())
    record(
        ctx, unit, actor, "pickup_cancelled", visit_id=ticket.visit_id,
        codes={"booking": booking.id, "revision": revision, "why": "called_back", "event": event_id},
    )  # fmt: skip


def undo(ctx: Context, actor: Actor, ticket_id: str, *, reason: str = "", event_id: str = "") -> Moved:
    """Takes the last move back: anybody within 90 seconds, an owner with a reason later.

    Messages of that move that were not yet sent are withdrawn. `event_id`, when given, must still be the
    last move, so that pressing Undo twice never takes back two. Raises NotAllowed when there is nothing
    to undo, or too late; Conflict when something else happened since.
    """
    actor.need("move")
    words = clean_block(reason, field="reason")
    with ctx.db.write(actor.shop_id) as unit:
        ticket = tickets.get_job(unit, ticket_id)
        last = last_move(unit, ticket)
        if last is None:
            raise NotAllowed("There is no move to take back", "The ticket is as it was taken in.")
        if event_id and event_id != last.id:
            raise Conflict("This move is no longer the last one", "Look at the ticket again, then decide.")
        _check_undo(ctx, unit, actor, last, words)
        return _take_back(ctx, unit, actor, ticket, last, words)


def last_move(unit: Unit, ticket: Job) -> Event | None:
    """The newest move of a ticket that has not been taken back."""
    undone: set[str] = set()
    for event in reversed(events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id)):
        if event.kind == "corrected":
            undone.add(str(event.codes["undoes"]))
        elif event.kind in rules.MOVE_EVENTS and event.ticket_id == ticket.id and event.id not in undone:
            return event
    return None


def _check_undo(ctx: Context, unit: Unit, actor: Actor, last: Event, words: str) -> None:
    if last.kind in rules.DESK_ONLY:
        raise NotAllowed("A handover is taken back at the handover desk", "Open the ticket's handover page.")
    if ctx.clock() - events.recorded_at(unit, last) <= UNDO_WITHIN:  # what is typed from paper happened long before
        return
    actor.need("correct")
    if not words:
        raise NotAllowed("A correction after 90 seconds needs a reason", "Say why in a few words.", field="reason")


def _take_back(ctx: Context, unit: Unit, actor: Actor, ticket: Job, last: Event, words: str) -> Moved:
    before = Phase(str(last.codes["from"]))
    outcome, reason = ("", "") if before is not Phase.ON_SHELF else _outcome_before(unit, ticket, last)
    now = ctx.clock()
    when = _never_was(ctx, unit, last)
    changed = tickets.change_ticket(
        unit, ticket, phase=before, phase_since=when, outcome=outcome, reason=reason,
        worked_seconds=_worked_before(ctx, unit, ticket, last, when),
    )  # fmt: skip
    settle(unit, ticket, changed)
    outbox.withdraw(unit, causes=[last.id], now=now, reason="undone")
    if last.kind == "called_back":
        _take_pickup_up_again(ctx, unit, actor, ticket, last)
    event = record(
        ctx, unit, actor, "corrected", visit_id=ticket.visit_id, ticket_id=ticket.id,
        codes={"undoes": last.id, "from": ticket.phase.value, "to": before.value}, at=when,
    )  # fmt: skip
    settle_ticket(ctx, unit, ticket)
    if words:
        notes.add_note(unit, ticket_id=ticket.id, person_id=ticket.person_id, text=words, at=now,
                       staff_id=actor.staff_id, event_id=event.id)  # fmt: skip
    if ticket.phase is Phase.ON_SHELF:
        _give_up_pickup(ctx, unit, actor, ticket, event.id)
        if messages.anybody_told(unit, ticket.visit_id, [last.id]):  # they may be on their way
            record(ctx, unit, actor, "told_too_soon", visit_id=ticket.visit_id, ticket_id=ticket.id,
                   codes={"why": "wrong_shelf"})  # fmt: skip
    return Moved(changed, event.id, event.kind)


def _never_was(ctx: Context, unit: Unit, last: Event) -> datetime:
    """Since when the phase before stands again: now; where a time was mistyped from paper, since that time.

    So what is typed right a moment later may lie before now, and the story stays in the order of its times.
    """
    written, now = events.recorded_at(unit, last), ctx.clock()
    return last.at if written - last.at > CLOCKS_DIFFER and now - written <= UNDO_WITHIN else now


def _worked_before(ctx: Context, unit: Unit, ticket: Job, last: Event, now: datetime) -> int:
    """Open seconds of work when `last` never was: a stint that it ended runs on, one that it began was none."""
    if Phase.ON_BENCH not in (last.codes.get("from"), last.codes.get("to")):
        return ticket.worked_seconds
    undone = Event(
        id="", kind="corrected", at=now, visit_id=ticket.visit_id, ticket_id=ticket.id, codes={"undoes": last.id}
    )
    return hands_on_seconds(ctx, unit, ticket, until=now, more=(undone,))


def _take_pickup_up_again(ctx: Context, unit: Unit, actor: Actor, ticket: Job, last: Event) -> None:
    """A booking given up by the move taken back stands again, if nobody was told and there is still room for it."""
    for event in events.story_of(unit, visit_id=ticket.visit_id):
        given_up = event.kind == "pickup_cancelled" and event.codes.get("why") == "called_back"
        if not given_up or event.codes.get("event") != last.id:
            continue
        told = messages.anybody_told(unit, ticket.visit_id, [event.id])
        if not told and stand_again(ctx, unit, actor, str(event.codes["booking"])):
            outbox.withdraw(unit, causes=[event.id], now=ctx.clock(), reason="undone")


def _outcome_before(unit: Unit, ticket: Job, last: Event) -> tuple[str, str]:
    """Outcome and reason as they stood on the shelf before `last` took the device off it."""
    for event in reversed(events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id)):
        if event.ticket_id == ticket.id and event.kind in ("shelved", "shelved_unrepaired"):
            outcome = "repaired" if event.kind == "shelved" else "unrepaired"
            return outcome, str(event.codes.get("reason", ""))
    return ticket.outcome, ticket.reason
