"""Staff give a part that is here to another ticket that waits for the same article."""

from __future__ import annotations

from notify.core import parts as rules
from notify.core.actors import Actor
from notify.core.errors import Conflict
from notify.core.part_match import Why
from notify.core.parts import PartState
from notify.core.tickets import Phase
from notify.flows import part_match
from notify.flows.arrivals import Arrived
from notify.flows.context import Context
from notify.flows.part_gifts import Given, tell_given
from notify.flows.part_lines import is_wanted, tell, tell_if_complete, trade_lines, withdraw_arrival
from notify.store import parts, tickets
from notify.store.database import Unit
from notify.store.parts import Part


def give_to(ctx: Context, actor: Actor, part_id: str, to_id: str) -> Arrived:
    """Gives a part that is here to another ticket that waits for the same article; they trade their order lines.

    Raises Conflict when it is used by now or does not fit, NotFound for a part that is not there.
    """
    actor.need("receive_part")
    with ctx.db.write(actor.shop_id) as unit:
        part, taker = parts.get_part(unit, part_id, lock=True), parts.get_part(unit, to_id, lock=True)
        _check_gift(unit, part, taker)
        undone = withdraw_arrival(ctx, unit, part)
        trade_lines(unit, part, taker)
        if is_wanted(unit, part.ticket_id):
            tell(ctx, unit, actor, "part_arrival_undone", part, undoes=undone)
        tell_given(ctx, unit, actor, taker, part, Why.CHOSEN)
        tell(ctx, unit, actor, "part_arrived", taker)
        frees = tell_if_complete(ctx, unit, actor, taker)
        ticket, other = tickets.get_job(unit, taker.ticket_id), tickets.get_job(unit, part.ticket_id)
        given = Given(Why.CHOSEN, other.number, other.promise_at, ticket.promise_at)
        return Arrived(taker.id, ticket.id, ticket.number, frees, ticket.technician_id or "", given=given)


def _check_gift(unit: Unit, part: Part, taker: Part) -> None:
    if part.state != PartState.ARRIVED:
        raise Conflict("This part is not here to be given", "Look at the deliveries list.")
    if taker.state not in rules.MISSING or not is_wanted(unit, taker.ticket_id):
        raise Conflict("Nobody waits for that part any more", "Look at the deliveries list.")
    if taker.id not in {one.id for one in part_match.fitting(parts.waiting_lines(unit), part)}:
        raise Conflict("That ticket waits for another article", "Give it only to a ticket that it fits.")
    if tickets.get_job(unit, part.ticket_id).phase in (Phase.ON_BENCH, Phase.PROVING):
        raise Conflict("The repair that it is for has begun", "Put the device back in line first.")
