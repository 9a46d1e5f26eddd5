"""Parts that came in: booked in alone or as a box, given to whoever needs them most, taken back, found dead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from notify.core import parts as rules
from notify.core.actors import Actor
from notify.core.errors import Conflict, NotAllowed, NotifyError
from notify.core.hours import next_opening
from notify.core.part_match import Why
from notify.core.parts import PartState
from notify.core.tickets import Phase
from notify.core.working_days import late_by
from notify.flows import part_match
from notify.flows.context import Context
from notify.flows.part_lines import add, brings, is_wanted, tell, tell_if_complete, trade_lines, withdraw_arrival
from notify.flows.part_match import Gift
from notify.forecast import lead_times
from notify.store import parts, shops, suppliers, tickets
from notify.store.database import Unit
from notify.store.parts import Part


@dataclass(frozen=True, slots=True)
class Given:
    """That a piece went to another ticket than it was ordered for, and what decided: the other one, both promises."""

    why: Why
    other_id: str
    other_number: str
    other_promise: datetime | None
    promise: datetime | None


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
    given = () if as_ordered else _gifts(ctx, actor, part_ids)
    with ctx.db.write(actor.shop_id) as unit:
        done: list[Arrived] = []
        refused: list[tuple[str, NotifyError]] = []
        found = _found(unit, part_ids, seen or {}, refused)
        for part, gift in _to_whom(ctx, unit, actor, found, given):
            try:
                with unit.savepoint():
                    done.append(replace(arrive_within(ctx, unit, actor, part), given=_said(unit, gift)))
            except NotifyError as problem:
                refused.append((part.id, problem))
        return Came(tuple(done), tuple(refused))


def _gifts(ctx: Context, actor: Actor, part_ids: Sequence[str]) -> tuple[Gift, ...]:
    """Played before the transaction that writes, so that nobody waits for it."""
    with ctx.db.read(actor.shop_id) as unit:
        known = parts.parts_by_id(unit, part_ids)
        labels = [one for one in part_ids if one not in known and parts.label_taken(unit, one)]
        came = [*known.values(), *(parts.get_part(unit, one) for one in labels)]
        return part_match.gifts(ctx, unit, [one for one in came if one.state in rules.MISSING])


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
            f"{part.name or 'This part'} was changed by somebody else meanwhile",
            "Look at the list again, then tick it.",
        )


def _comes_anyway(part: Part) -> bool:
    """Whether it was ordered before it was no longer needed, and is not here yet."""
    return part.state == PartState.NOT_NEEDED and part.ordered_at is not None and part.arrived_at is None


def _to_whom(
    ctx: Context, unit: Unit, actor: Actor, came: Sequence[Part], given: Sequence[Gift]
) -> list[tuple[Part, Gift | None]]:
    """Each piece that came with the part as which it is booked in, and why it is another one."""
    by_giver = {one.giver: one for one in given}
    found: list[tuple[Part, Gift | None]] = []
    for part in came:
        gift = by_giver.get(part.id)
        taker = _taker(unit, part, gift) if gift else None
        if gift is None or taker is None:
            found.append((part, None))
            continue
        trade_lines(unit, part, taker)
        _tell_given(ctx, unit, actor, taker, part, gift.why)
        found.append((parts.get_part(unit, taker.id), gift))
    return found


def _taker(unit: Unit, part: Part, gift: Gift) -> Part | None:
    """The part that gets the piece, unless somebody changed one of both since that was thought of."""
    taker = parts.get_part(unit, gift.taker, lock=True)
    return taker if (taker.changes, part.changes) == gift.seen and taker.state in rules.MISSING else None


def _tell_given(ctx: Context, unit: Unit, actor: Actor, taker: Part, giver: Part, why: Why) -> None:
    tell(ctx, unit, actor, "part_reassigned", taker, why=why, instead_of=giver.id)
    tell(ctx, unit, actor, "part_reassigned", giver, why=why, to=taker.id)


def _said(unit: Unit, gift: Gift | None) -> Given | None:
    if gift is None:
        return None
    giver = parts.get_part(unit, gift.giver)
    number = tickets.get_job(unit, giver.ticket_id).number
    return Given(gift.why, giver.id, number, gift.giver_promise, gift.taker_promise)


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


def give_to(ctx: Context, actor: Actor, part_id: str, to_id: str) -> Arrived:
    """Gives a part that is here to another ticket that waits for the same article; they trade their order lines.

    Raises NotAllowed when it is used by now or does not fit, NotFound for a part that is not there.
    """
    actor.need("receive_part")
    with ctx.db.write(actor.shop_id) as unit:
        part, taker = parts.get_part(unit, part_id, lock=True), parts.get_part(unit, to_id, lock=True)
        _check_gift(unit, part, taker)
        undone = withdraw_arrival(ctx, unit, part)
        trade_lines(unit, part, taker)
        if is_wanted(unit, part.ticket_id):
            tell(ctx, unit, actor, "part_arrival_undone", part, undoes=undone)
        _tell_given(ctx, unit, actor, taker, part, Why.CHOSEN)
        tell(ctx, unit, actor, "part_arrived", taker)
        frees = tell_if_complete(ctx, unit, actor, taker)
        ticket, other = tickets.get_job(unit, taker.ticket_id), tickets.get_job(unit, part.ticket_id)
        given = Given(Why.CHOSEN, part.id, other.number, other.promise_at, ticket.promise_at)
        return Arrived(taker.id, ticket.id, ticket.number, frees, ticket.technician_id or "", given=given)


def _check_gift(unit: Unit, part: Part, taker: Part) -> None:
    if part.state != PartState.ARRIVED:
        raise NotAllowed("This part is not here to be given", "Look at the deliveries list.")
    if taker.state not in rules.MISSING or not is_wanted(unit, taker.ticket_id):
        raise NotAllowed("Nobody waits for that part any more", "Look at the deliveries list.")
    if taker.id not in {one.id for one in part_match.fitting(unit, part)}:
        raise NotAllowed("That ticket waits for another article", "Give it only to a ticket that it fits.")
    if tickets.get_job(unit, part.ticket_id).phase in (Phase.ON_BENCH, Phase.PROVING):
        raise NotAllowed("The repair that it is for has begun", "Put the device back in line first.")


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
