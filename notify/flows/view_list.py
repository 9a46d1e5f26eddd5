"""Tickets by phase and by whom they wait on, for lists that no page of its own shows."""

from __future__ import annotations

from collections.abc import Sequence

from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.core.tickets import OPEN_PHASES, WaitsOn, parse_phase
from notify.flows.context import Context
from notify.flows.view_lines import Lines, TicketLine
from notify.store import tickets


def list_tickets(ctx: Context, actor: Actor, *, phases: Sequence[str] = (), waits: str = "") -> tuple[TicketLine, ...]:
    """Tickets in these phases (the open ones when none is named), the longest waiting first.

    `waits` keeps those that wait on customer, part, bench or nobody. Raises Invalid for another word.
    """
    actor.need("look")
    if waits and waits not in tuple(WaitsOn):
        raise Invalid(f"{waits[:20]!r} is nobody one waits on", f"Use: {', '.join(WaitsOn)}.", field="waits")
    wanted = [parse_phase(phase) for phase in phases] or list(OPEN_PHASES)
    with ctx.db.read(actor.shop_id) as unit:
        lines = Lines(unit).of(tickets.tickets_in(unit, wanted))
    return tuple(line for line in lines if waits in ("", line.waits_on))
