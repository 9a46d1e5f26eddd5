"""When everything in work will be ready: each ticket with its forecast, the one that is ready first on top."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.bench_order import IN_WORK
from notify.core.ready import Forecast
from notify.flows.context import Context
from notify.flows.view_lines import Lines, TicketLine
from notify.store import forecasts, tickets


@dataclass(frozen=True, slots=True)
class Ahead:
    """One ticket in work and what is foreseen of it; None before its first forecast."""

    line: TicketLine
    forecast: Forecast | None


@dataclass(frozen=True, slots=True)
class Forecasts:
    """All of them. `made_at` is when they were made, None before the first time; `changed` whether facts have since."""

    tickets: tuple[Ahead, ...]
    made_at: datetime | None
    changed: bool


def view(ctx: Context, actor: Actor) -> Forecasts:
    """The stored forecasts; nothing is reckoned anew."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        known, state = forecasts.of_tickets(unit), forecasts.state(unit)
        lines = Lines(unit).of(tickets.tickets_in(unit, IN_WORK))
        found = sorted((Ahead(line, known.get(line.ticket_id)) for line in lines), key=_rank)
        return Forecasts(tuple(found), state.run.ran_at if state.run else None, state.is_changed)


def _rank(one: Ahead) -> tuple[bool, datetime, str]:
    middle = one.forecast.at(0.5) if one.forecast else None
    return middle is None, middle or one.line.created_at, one.line.number
