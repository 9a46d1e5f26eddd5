"""Visits for which wrong secrets were shown at the desk, so that the owner sees that somebody may be trying."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from notify.core.refusals import WITHIN, asks_for_check, wrong_secrets
from notify.flows.context import Context
from notify.flows.view_lines import Lines, TicketLine
from notify.store import events, tickets
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class Tried:
    """One visit, by its first ticket: how many wrong secrets in a day since the last handover, the newest when."""

    ticket: TicketLine
    count: int
    last_at: datetime


def tried_within(ctx: Context, unit: Unit, lines: Lines) -> tuple[Tried, ...]:
    """Those with so many that a check is asked for, the newest first."""
    now, found = ctx.clock(), []
    for visit_id, last_at in events.refused_since(unit, now - WITHIN):
        count = wrong_secrets(events.story_of(unit, visit_id=visit_id), now)
        if asks_for_check(count):
            (line, *_) = lines.of(tickets.tickets_of_visit(unit, visit_id)[:1])
            found.append(Tried(line, count, last_at))
    return tuple(found)
