"""Who gets a part that came: asked of the forecast, where several tickets wait for the same article."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from notify.core.part_match import Waiting, Why, share_out, why
from notify.core.parts import same_code
from notify.core.threats import chance_of
from notify.flows.context import Context
from notify.flows.forecast_made import make
from notify.flows.shop_facts import Facts, gather
from notify.store import parts
from notify.store.database import Unit
from notify.store.forecast_facts import Missing
from notify.store.parts import OrderLine, Part


@dataclass(frozen=True, slots=True)
class Gift:
    """A piece that goes to another ticket than it was ordered for. `seen` are the changes of both rows by then."""

    taker: str
    giver: str
    why: Why
    taker_promise: datetime | None
    giver_promise: datetime | None
    seen: tuple[int, int]


def gifts(ctx: Context, unit: Unit, came: Sequence[Part]) -> tuple[Gift, ...]:
    """Which of the pieces that came should go to somebody else; nothing is changed.

    The forecast is played only where several tickets wait for one article.
    """
    lines = parts.waiting_lines(unit) if any(one.article for one in came) else ()
    found: list[Gift] = []
    for group in _groups(came):
        fits = [one for one in lines if _fits(one, group[0])]
        if len({one.ticket_id for one in fits} | {one.ticket_id for one in group}) > 1:
            facts = unit.once(("part_match", ""), lambda: gather(ctx, unit))
            found += _share(facts, group, fits)
    return tuple(found)


def fitting(waiting: Iterable[OrderLine], part: Part) -> tuple[OrderLine, ...]:
    """The missing parts, of other tickets, that this one would fit as well."""
    return tuple(one for one in waiting if part.article and _fits(one, part) and one.ticket_id != part.ticket_id)


def _groups(came: Iterable[Part]) -> tuple[tuple[Part, ...], ...]:
    groups: dict[tuple[str, str], list[Part]] = {}
    for one in came:
        if one.article:
            groups.setdefault((one.supplier_id or "", same_code(one.article)), []).append(one)
    return tuple(map(tuple, groups.values()))


def _fits(line: OrderLine, part: Part) -> bool:
    """The same article, of the same supplier or not ordered from anybody yet."""
    return same_code(line.article) == same_code(part.article) and line.supplier_id in (None, part.supplier_id)


def _share(facts: Facts, group: Sequence[Part], fits: Sequence[OrderLine]) -> list[Gift]:
    ids = {one.id for one in group}
    whole = {one.id: one for one in (*fits, *(_line(one) for one in group))}
    wanted = [one for one in whole.values() if one.id in ids or one.ticket_id in facts.jobs]
    rows = _weighed(facts, wanted, ids)
    return [
        Gift(taker.part_id, giver.part_id, why(taker, giver), taker.promise_at, giver.promise_at,
             (whole[taker.part_id].changes, whole[giver.part_id].changes))
        for taker, giver in share_out([one.id for one in group], rows)
        if taker.wanted and taker.ticket_id != giver.ticket_id
    ]  # fmt: skip


def _line(part: Part) -> OrderLine:
    return OrderLine(**{name: getattr(part, name) for name in OrderLine.__dataclass_fields__})


def _weighed(facts: Facts, lines: Sequence[OrderLine], came: set[str]) -> list[Waiting]:
    """Each with the chances of its promise: with the piece now, and if it came with the next one that is on order."""
    later = [one for one in lines if one.id not in came and one.due_at is not None]
    following = min(later, key=lambda one: one.due_at or facts.now, default=None)
    here = _chances(facts, lines, None, missing=False)
    gone = _chances(facts, lines, following, missing=True)
    found = []
    for one in lines:
        job = facts.jobs.get(one.ticket_id)
        promise = job.promise_at if job and one.ticket_id not in facts.asked else None  # its clock stands still
        found.append(Waiting(one.id, one.ticket_id, promise, one.needed_at, gone.get(one.ticket_id, 0.0),
                             here.get(one.ticket_id, 0.0), wanted=job is not None))  # fmt: skip
    return found


def _chances(
    facts: Facts, lines: Sequence[OrderLine], following: OrderLine | None, *, missing: bool
) -> Mapping[str, float]:
    """ticket -> the chance that its promise is kept, with all these parts here, or with all of them coming so."""
    ours = {one.id for one in lines}
    changed = dict(facts.missing)
    for ticket_id in {one.ticket_id for one in lines}:
        changed[ticket_id] = tuple(
            _coming(part, following) if part.id in ours else part
            for part in facts.missing.get(ticket_id, ()) if missing or part.id not in ours
        )  # fmt: skip
    made = make(replace(facts, missing={one: found for one, found in changed.items() if found}), quickly=True)
    return {one.ticket_id: chance_of(one) for one in made.forecasts}


def _coming(part: Missing, following: OrderLine | None) -> Missing:
    if following is None:
        return replace(part, state="needed", supplier_id=None, due_at=None)
    return replace(part, state="ordered", supplier_id=following.supplier_id, due_at=following.due_at)
