"""A piece goes to another ticket than it was ordered for: thought of before it is booked in, carried out with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from notify.core import parts as rules
from notify.core.actors import Actor
from notify.core.part_match import Why
from notify.flows import part_match
from notify.flows.context import Context
from notify.flows.part_lines import tell, trade_lines
from notify.flows.part_match import Gift
from notify.store import parts, tickets
from notify.store.database import Unit
from notify.store.parts import Part


@dataclass(frozen=True, slots=True)
class Given:
    """That a piece went to another ticket than it was ordered for, and what decided: the other one, both promises."""

    why: Why
    other_number: str
    other_promise: datetime | None
    promise: datetime | None


def thought_of(ctx: Context, actor: Actor, part_ids: Sequence[str]) -> tuple[Gift, ...]:
    """Which pieces should go elsewhere; played before the transaction that writes, so that nobody waits for it."""
    with ctx.db.read(actor.shop_id) as unit:
        known = parts.parts_by_id(unit, part_ids)
        labels = [one for one in part_ids if one not in known and parts.label_taken(unit, one)]
        came = [*known.values(), *(parts.get_part(unit, one) for one in labels)]
        return part_match.gifts(ctx, unit, [one for one in came if one.state in rules.MISSING])


def to_whom(
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
        tell_given(ctx, unit, actor, taker, part, gift.why)
        found.append((parts.get_part(unit, taker.id), gift))
    return found


def _taker(unit: Unit, part: Part, gift: Gift) -> Part | None:
    """The part that gets the piece, unless somebody changed one of both since that was thought of."""
    taker = parts.get_part(unit, gift.taker, lock=True)
    return taker if (taker.changes, part.changes) == gift.seen and taker.state in rules.MISSING else None


def tell_given(ctx: Context, unit: Unit, actor: Actor, taker: Part, giver: Part, why: Why) -> None:
    """Both tickets' stories say it."""
    tell(ctx, unit, actor, "part_reassigned", taker, why=why, instead_of=giver.id)
    tell(ctx, unit, actor, "part_reassigned", giver, why=why, to=taker.id)


def said_of(unit: Unit, gift: Gift | None) -> Given | None:
    """What is said of a gift."""
    if gift is None:
        return None
    giver = parts.get_part(unit, gift.giver)
    number = tickets.get_job(unit, giver.ticket_id).number
    return Given(gift.why, number, gift.giver_promise, gift.taker_promise)
