"""The only way an event gets into the story and its messages into the outbox: together or not at all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.events import Codes, Event
from notify.core.planner import plan
from notify.core.rules import notices_for
from notify.flows.context import Context
from notify.store import events, outbox, visits
from notify.store.database import Unit
from notify.store.facts import gather
from notify.store.restoring import restored_at


def record(
    ctx: Context,
    unit: Unit,
    actor: Actor,
    kind: str,
    *,
    visit_id: str,
    ticket_id: str = "",
    codes: Codes | None = None,
    at: datetime | None = None,
    expires: Mapping[str, datetime] | None = None,
    cause: str = "",
    silent: bool = False,
) -> Event:
    """Appends an event and writes what it causes into the outbox, inside the caller's transaction.

    `expires` shortens the life of notices (a question ends with its question). `cause` replaces the
    event's identifier as the identity of the messages, for bookings: `booking:<id>:<revision>`. `silent`: nobody is
    told of this one.
    """
    now = ctx.clock()
    event = Event(
        id=unit.new_id(),
        kind=kind,
        at=at or now,
        visit_id=visit_id,
        ticket_id=ticket_id,
        actor_kind=actor.kind,
        actor_id=actor.id,
        codes=dict(codes or {}),
    )
    events.append(unit, event, recorded_at=now)
    if not silent:
        _tell(ctx, unit, event, now=now, expires=expires or {}, cause=cause)
    return event


def record_silent(ctx: Context, unit: Unit, actor: Actor, kind: str, *, visit_ids: Iterable[str]) -> None:
    """Appends the same event of many visits, of which nobody is told."""
    now = ctx.clock()
    one = Event(id="", kind=kind, at=now, visit_id="", ticket_id="", actor_kind=actor.kind, actor_id=actor.id)
    events.append_alike(unit, one, visit_ids, recorded_at=now)


def _tell(
    ctx: Context, unit: Unit, event: Event, *, now: datetime, expires: Mapping[str, datetime], cause: str
) -> None:
    if not notices_for(event.kind):
        return
    company = visits.company(unit, event.visit_id)
    facts = gather(
        unit, event.visit_id, channels_on=ctx.channels_on, bell=ctx.bell, expires=expires, company=company, event=event
    )  # fmt: skip
    if event.at < now:  # entered later: only then does the shop's own setting matter
        after = timedelta(hours=ctx.shop(unit).long_past_hours)
        facts = replace(facts, long_past=after, restored_at=restored_at(unit))
    named = replace(event, id=cause) if cause else event
    planned = plan(named, facts, now=now)
    if planned:
        refs = {**event.codes, "event": event.id, "ticket": event.ticket_id, "by": event.actor_kind}
        outbox.add(unit, planned, visit_id=event.visit_id, sealed_for=company.roles["bringer"][0], refs=refs, now=now)
