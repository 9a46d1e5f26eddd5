"""Parts that came in: booked in alone or as a box, given to whoever needs them most, taken back, found dead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from notify.core import parts as rules
from notify.core.actors import Actor
from notify.core.errors import Conflict, NotAllowed, NotifyError
from notify.core.hours import next_opening
from notify.core.parts import PartState
from notify.core.working_days import late_by
from notify.flows.context import Context
from notify.flows.part_gifts import Given, said_of, thought_of, to_whom
from notify.flows.part_lines import add, brings, is_wanted, tell, tell_if_complete, withdraw_arrival
from notify.forecast import lead_times
from notify.store import parts, shops, suppliers, tickets
from notify.store.database import Unit
from notify.store.parts import Part


@dataclass(frozen=True, slots=True)
class Arrived:
    """A part that came in: whether it was the last one missing, and who should bench the ticket.

    `over`: nobody needs it any more, so it goes back. `given`: it was ordered for another ticket.
    """

    part_id: str
    ticket_id: str
    number: str
    frees: bool
    bench: str
    over: bool = False
    given: Given | None = None


@dataclass(frozen=True, slots=True)
class Came:
    """What came of a box: what was booked in, and what could not be, with the reason."""

    done: tuple[Arrived, ...]
    refused: tuple[tuple[str, NotifyError], ...]


def arrive(ctx: Context, actor: Actor, part_id: str, *, as_ordered: bool = False) -> Arrived:
    """Books a part in, by identifier or bag label; the last one missing tells the shop which ticket it frees.

    Where it would fit other tickets too, it goes to the one whose promise needs it most, unless `as_ordered`.
    """
    came = arrive_all(ctx, actor, [part_id], as_ordered=as_ordered)
    for _, problem in came.refused:
        raise problem
    return came.done[0]


def arrive_all(
    ctx: Context, actor: Actor, part_ids: Sequence[str], *, seen: Mapping[str, int] | None = None,
    as_ordered: bool = False,
) -> Came:  # fmt: skip
    """Books in all that came together; one that cannot be is named, the others are kept.

    `seen`: the `changes` of a part when somebody ticked it; one that has changed since is refused, since two people
    may unpack one box.
    """
    actor.need("receive_part")
    given = () if as_ordered else thought_of(ctx, actor, part_ids)
    with ctx.db.write(actor.shop_id) as unit:
        done: list[Arrived] = []
        refused: list[tuple[str, NotifyError]] = []
        found = _found(unit, part_ids, seen or {}, refused)
        for part, gift in to_whom(ctx, unit, actor, found, given):
            try:
                with unit.savepoint():
                    done.append(replace(arrive_within(ctx, unit, actor, part), given=said_of(unit, gift)))
            except NotifyError as problem:
                refused.append((part.id, problem))
        return Came(tuple(done), tuple(refused))


def _found(
    unit: Unit, part_ids: Sequence[str], seen: Mapping[str, int], refused: list[tuple[str, NotifyError]]
) -> list[Part]:
    found: list[Part] = []
    for part_id in dict.fromkeys(part_ids):
        try:
            part = parts.get_part(unit, part_id, lock=True)
            _check_arrival(part, seen.get(part_id))
            found.append(part)
        except NotifyError as problem:
            refused.append((part_id, problem))
    return found


def _check_arrival(part: Part, seen: int | None) -> None:
    """Raises NotAllowed for a part that cannot come in, Conflict for one that is not as it was when it was ticked."""
    if part.state == PartState.ARRIVED:
        raise Conflict(f"The part {part.label} is booked in already", "Nothing more needs to be done.")
    if not _comes_anyway(part):
        rules.check_move(part.state, PartState.ARRIVED)
    if part.state == PartState.WRONG:
        raise NotAllowed("This part is here, but another one than was ordered", "Say whether it is used or goes back.")
    if seen is not None and seen != part.changes:
        raise Conflict(
            f"The part {part.label} was changed by somebody else meanwhile",
            "Look at the list again, then tick it.",
        )


def _comes_anyway(part: Part) -> bool:
    """Whether it was ordered before it was no longer needed, and is not here yet."""
    return part.state == PartState.NOT_NEEDED and part.ordered_at is not None and part.arrived_at is None


def arrive_within(ctx: Context, unit: Unit, actor: Actor, part: Part, *, at: datetime | None = None) -> Arrived:
    """Books one part in, inside the caller's transaction; `at` when it came, if that was earlier.

    What nobody needs any more is here all the same, and goes back.
    """
    moment = at or ctx.clock()
    ticket = tickets.get_job(unit, part.ticket_id)
    if part.state == PartState.NOT_NEEDED or not is_wanted(unit, ticket.id):
        parts.change_part(unit, part, state=PartState.NOT_NEEDED, arrived_at=moment, ended_at=ctx.clock(),
                          late_days=learn_delay(ctx, unit, part, moment))  # fmt: skip
        tell(ctx, unit, actor, "part_came_anyway", part, at=moment)
        return Arrived(part.id, ticket.id, ticket.number, False, "", over=True)
    parts.change_part(unit, part, state=PartState.ARRIVED, arrived_at=moment,
                      late_days=learn_delay(ctx, unit, part, moment))  # fmt: skip
    tell(ctx, unit, actor, "part_arrived", part, at=moment)
    frees = tell_if_complete(ctx, unit, actor, part, at=moment)
    return Arrived(part.id, ticket.id, ticket.number, frees, ticket.technician_id or "")


def learn_delay(ctx: Context, unit: Unit, part: Part, came: datetime) -> int | None:
    """Counts how late the part came, by the last time that was named for it; once for all that was due together.

    A box that came while the shop was shut counts as here when it opened: nobody could book it in before. The working
    days that its parcel was late; None where that cannot be said.
    """
    if not part.supplier_id or part.due_at is None:
        return None
    if (known := suppliers.parcel_came(unit, part)) is not None:
        return known
    row = shops.find_supplier(unit, part.supplier_id)
    habits, counter = brings(ctx, unit, row)
    due = next_opening(counter, part.due_at) or part.due_at
    days = late_by(habits, due, came, counter)
    suppliers.put_delays(unit, row.id, lead_times.learned(row.delays, days))
    return days


def undo_arrival(ctx: Context, actor: Actor, part_id: str) -> Arrived:
    """Takes back that a part came in, within some minutes: it is on order again, and what was not sent is not sent.

    What its parcel taught of the supplier is forgotten with its last part. Raises Conflict when it is too late.
    """
    actor.need("receive_part")
    with ctx.db.write(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id, lock=True)
        if part.state != PartState.ARRIVED:
            raise NotAllowed(f"A part that is {part.state} was not booked in just now", "Look at the deliveries list.")
        rules.check_undo(part.arrived_at, now=ctx.clock())
        back = PartState.ORDERED if part.ordered_at is not None else PartState.NEEDED
        rules.check_move(part.state, back)
        _unlearn_delay(unit, part)
        parts.change_part(unit, part, state=back, arrived_at=None, late_days=None)
        tell(ctx, unit, actor, "part_arrival_undone", part, undoes=withdraw_arrival(ctx, unit, part))
        ticket = tickets.get_job(unit, part.ticket_id)
        return Arrived(part.id, ticket.id, ticket.number, False, "")


def _unlearn_delay(unit: Unit, part: Part) -> None:
    if part.late_days is None or part.supplier_id is None or suppliers.parcel_came(unit, part) is not None:
        return
    row = shops.find_supplier(unit, part.supplier_id)
    suppliers.put_delays(unit, row.id, lead_times.unlearned(row.delays, part.late_days))


def dead_on_arrival(ctx: Context, actor: Actor, part_id: str) -> str:
    """Notes that a part came in dead, and that another one is needed; the new part's identifier."""
    actor.need("receive_part")
    with ctx.db.write(actor.shop_id) as unit:
        part = parts.get_part(unit, part_id, lock=True)
        rules.check_move(part.state, PartState.DEAD)
        parts.change_part(unit, part, state=PartState.DEAD, ended_at=ctx.clock())
        tell(ctx, unit, actor, "part_dead", part)
        # together: between the two it would seem free
        return add(ctx, unit, actor, part.ticket_id, part.name, article=part.article, instead_of=part.id)
