"""Forecasts that follow the facts: made anew for the whole shop when something happened, and when time alone tells.

Read, play, write: one reading snapshot, the engine outside of any transaction, one short writing transaction. Two
processes that do it at once do it twice; what is stored comes from one look at the facts.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.errors import NotifyError
from notify.core.instants import zone
from notify.core.ready import Forecast, chance_by
from notify.core.threats import TOLD, Threat, chance_of, may_tell, threat
from notify.flows.context import Context
from notify.flows.forecast_made import Made, make, now_of, outlook_of_new
from notify.flows.promises import promise
from notify.flows.record import record
from notify.flows.shop_facts import Facts, gather
from notify.store import forecast_facts, forecasts, promises
from notify.store.database import Unit
from notify.store.forecasts import Run, State
from notify.store.promises import BY_THE_RULE, Promise

__all__ = ["Remade", "look", "outlook_of_new", "remake", "suggest", "suggest_within"]

# Staff do several things in a row: wait until they pause, but not for ever. Common practice, no source.
QUIET, LATEST = timedelta(seconds=2), timedelta(seconds=15)
# A run further ahead than this was noted by a clock that was wrong.
CLOCK_TOLERANCE = timedelta(minutes=5)


@dataclass(frozen=True, slots=True)
class Remade:
    """How many tickets got a forecast or a reason for none, and which promises the shop was warned of, or the rule
    named a new time for. `stored` is False when somebody else stored newer ones meanwhile."""

    tickets: int
    threatened: tuple[str, ...]
    told: tuple[str, ...]
    stored: bool


@dataclass(frozen=True, slots=True)
class _New:
    """A time that the shop's rule names by itself, with the reason for the customer."""

    ticket_id: str
    at: datetime
    why: str


def look(ctx: Context, actor: Actor) -> Remade | None:
    """Makes the forecasts anew if they are due; one statement and nothing written while nothing has changed."""
    return remake(ctx, actor) if _is_due(ctx, actor, forecasts.state_now(ctx.db, actor.shop_id)) else None


def remake(ctx: Context, actor: Actor) -> Remade:
    """Makes the forecast of every ticket in work, stores them, and warns of promises that will hardly be kept."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        facts = gather(ctx, unit)
    made = make(facts)
    clock = Actor(actor.shop_id, "system", "forecast")
    with ctx.db.write(actor.shop_id) as unit:
        before = forecasts.state(unit)
        if _is_newer(before.run, facts):
            return Remade(len(made.forecasts), (), (), stored=False)
        found = _as_promised(made.forecasts, forecast_facts.promises_in_work(unit))
        forecasts.put_all(unit, tuple(found.values()))
        promises.attach(unit, found)
        warned, new = _judge(ctx, unit, clock, replace(made, forecasts=tuple(found.values())))
        # What was warned of is no new fact; whatever somebody else did since the look is one.
        same = before.stamp == facts.stamp
        stamp = forecasts.state(unit).stamp if same else facts.stamp
        forecasts.note_run(unit, Run(facts.now, stamp, made.next_at, len(found)))
    told = tuple(one.ticket_id for one in new if _tell(ctx, clock, one))
    return Remade(len(found), warned, told, stored=True)


def suggest(ctx: Context, actor: Actor, ticket_id: str) -> datetime | None:
    """The time that could be promised for a ticket now; None if none can be foreseen."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return suggest_within(ctx, unit, ticket_id)


def suggest_within(ctx: Context, unit: Unit, ticket_id: str) -> datetime | None:
    """Like suggest, inside the caller's transaction."""
    found = now_of(ctx, unit).get(ticket_id)
    return found.promise_at if found else None


def _is_due(ctx: Context, actor: Actor, state: State) -> bool:
    now, run = ctx.clock(), state.run
    if run is None or run.ran_at > now + CLOCK_TOLERANCE:
        return True
    if run.next_at is not None and now >= run.next_at:
        return True
    return state.is_changed and _has_settled(ctx, actor, run, now)


def _has_settled(ctx: Context, actor: Actor, run: Run, now: datetime) -> bool:
    """Whether nothing has happened for a moment, or the first of it happened long enough ago."""
    with ctx.db.read(actor.shop_id) as unit:
        happened = forecasts.changed_since(unit, run.stamp)
    if happened is None:
        return True  # hours, settings, the bench order: one act of somebody
    first, last = happened
    return not now - QUIET < last <= now or not now - LATEST < first <= now


def _is_newer(run: Run | None, facts: Facts) -> bool:
    """Whether what is stored comes from a later look at the facts than ours."""
    if run is None or run.ran_at > facts.now + CLOCK_TOLERANCE:
        return False
    stored, ours = (int(stamp.partition(":")[0] or 0) for stamp in (run.stamp, facts.stamp))
    return stored > ours or (stored == ours and run.ran_at > facts.now)


def _as_promised(found: tuple[Forecast, ...], standing: Mapping[str, datetime | None]) -> dict[str, Forecast]:
    """The forecasts of what is still in work, with the chance of the promise that stands now."""
    return {one.ticket_id: _with_chance(one, standing[one.ticket_id]) for one in found if one.ticket_id in standing}


def _with_chance(one: Forecast, promised: datetime | None) -> Forecast:
    if promised is None or not one.grid:
        return replace(one, chance=None)
    return one if one.chance is not None else replace(one, chance=chance_by(one.grid, promised))


def _judge(ctx: Context, unit: Unit, actor: Actor, made: Made) -> tuple[tuple[str, ...], list[_New]]:
    """Warns of each promise in danger, once; or says what new time the shop's rule names."""
    warned: list[str] = []
    new: list[_New] = []
    standing = promises.standing(unit)
    for one in made.forecasts:
        held = standing.get(one.ticket_id)
        why = _threat(made, one, held) if held else None
        if held is None or why is None:
            continue
        if made.facts.shop.promise_rule == "tell" and may_tell(
            one, held.promise_at, told_today=_told_today(made, held)
        ):
            assert one.promise_at is not None
            new.append(_New(one.ticket_id, one.promise_at, TOLD[why]))
        elif held.warned_at is None:
            _warn(ctx, unit, actor, made.facts, one, held, why)
            warned.append(one.ticket_id)
    return tuple(warned), new


def _threat(made: Made, one: Forecast, held: Promise) -> Threat | None:
    needed = [part.needed_at for part in made.facts.missing.get(one.ticket_id, ()) if part.state == "needed"]
    return threat(
        one, held.promise_at, now=made.facts.now, warn=made.facts.shop.promise_warn / 100,
        needed_at=max(needed, default=None), overrun=made.overrun,
    )  # fmt: skip


def _told_today(made: Made, held: Promise) -> bool:
    made_on = held.made_at.astimezone(zone(made.facts.shop.zone)).date()
    return held.made_by == BY_THE_RULE and made_on == made.facts.today


def _warn(ctx: Context, unit: Unit, actor: Actor, facts: Facts, one: Forecast, held: Promise, why: Threat) -> None:
    codes: dict[str, str | int] = {
        "promise": held.promise_at.isoformat(), "chance": round(100 * chance_of(one)), "threat": why,
    }  # fmt: skip
    if one.promise_at is not None and one.promise_at > held.promise_at:
        codes["expected"] = one.promise_at.isoformat()
    promises.note_warned(unit, held.id, at=ctx.clock())
    visit = facts.jobs[one.ticket_id].visit_id
    record(ctx, unit, actor, "promise_threatened", visit_id=visit, ticket_id=one.ticket_id, codes=codes,
           expires={"promise_threatened_shop": held.promise_at})  # fmt: skip


def _tell(ctx: Context, actor: Actor, new: _New) -> bool:
    """Names the new time in a transaction of its own; a ticket that somebody changed meanwhile is left as it is."""
    with suppress(NotifyError):
        promise(ctx, actor, new.ticket_id, new.at, why=new.why)
        return True
    return False
