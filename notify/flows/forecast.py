"""Forecasts that follow the facts: made anew for the whole shop when something happened, and when time alone tells.

Read, play, write: one reading snapshot, the engine outside of any transaction, one short writing transaction. Two
processes that do it at once do it twice; what is stored comes from one look at the facts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.errors import NotifyError
from notify.core.instants import zone
from notify.core.ready import Forecast, chance_by
from notify.core.threats import Threat, chance_of, may_tell, threat, told_why
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
# In a shop with very many devices each run costs more, so they come further apart: a second for so many of them.
TICKETS_A_SECOND = 200
# So many warnings an hour, the nearest promise first, and so many new times by the shop's rule: when somebody falls ill
# or types wrong hours, half a shop is in danger at once. The day sheet shows all. Common practice, no source.
MOST_AN_HOUR = 10
_HOUR = timedelta(hours=1)
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
    """A time that the shop's rule names by itself in place of the promise `held`, and why that is in danger."""

    forecast: Forecast
    held: Promise
    why: Threat

    @property
    def ticket_id(self) -> str:
        """Whose time it is."""
        return self.held.ticket_id


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
        found = _as_promised(made, forecast_facts.promises_in_work(unit))
        forecasts.put_all(unit, tuple(found.values()))
        promises.attach(unit, found)
        made = replace(made, forecasts=tuple(found.values()))
        warned, new = _judge(ctx, unit, clock, made)
        # What was warned of is no new fact; whatever somebody else did since the look is one.
        same = before.stamp == facts.stamp
        stamp = forecasts.state(unit).stamp if same else facts.stamp
        forecasts.note_run(unit, Run(facts.now, stamp, made.next_at, len(found)))
    told = tuple(one.ticket_id for one in new if _tell(ctx, clock, made.facts, one))
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
    rests = timedelta(0) <= now - run.ran_at < timedelta(seconds=run.tickets // TICKETS_A_SECOND)
    return state.is_changed and not rests and _has_settled(ctx, actor, run, now)


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


def _as_promised(made: Made, standing: Mapping[str, datetime | None]) -> dict[str, Forecast]:
    """The forecasts of what is still in work, with the chance of the promise that stands now."""
    return {
        one.ticket_id: _with_chance(one, made.facts.jobs[one.ticket_id].promise_at, standing[one.ticket_id])
        for one in made.forecasts if one.ticket_id in standing
    }  # fmt: skip


def _with_chance(one: Forecast, seen: datetime | None, stands: datetime | None) -> Forecast:
    """The chance that was reckoned is that of the promise `seen`; another one that stands now has its own."""
    if stands is not None and seen == stands and one.chance is not None:
        return one
    return replace(one, chance=chance_by(one.grid, stands) if one.grid and stands is not None else None)


def _judge(ctx: Context, unit: Unit, actor: Actor, made: Made) -> tuple[tuple[str, ...], list[_New]]:
    """Warns of each promise in danger, once; or says what new time the shop's rule names. The nearest promise first.

    Beyond MOST_AN_HOUR nothing rings any more: whoever heard so many looks at the day sheet, which shows them all. But
    each is noted as warned of, so that no customer still reads what is doubted.
    """
    warned: list[str] = []
    new: list[_New] = []
    standing = promises.standing(unit)
    warnings = _left(made, (one.warned_at for one in standing.values()))
    times = _left(made, (one.made_at for one in standing.values() if one.made_by == BY_THE_RULE))
    for one in _in_danger(made, standing):
        if len(new) < times and _may_tell(unit, made, one):
            new.append(one)
        elif one.held.warned_at is None:
            _warn(ctx, unit, actor, made.facts, one, rings=len(warned) < warnings)
            warned.append(one.ticket_id)
    return tuple(warned), new


def _left(made: Made, done: Iterable[datetime | None]) -> int:
    """How many more there may be within the hour; what a clock that was wrong did in the future counts as nothing."""
    now = made.facts.now
    return MOST_AN_HOUR - sum(1 for at in done if at is not None and now - _HOUR < at <= now)


def _in_danger(made: Made, standing: Mapping[str, Promise]) -> list[_New]:
    promised = [(one, standing[one.ticket_id]) for one in made.forecasts if one.ticket_id in standing]
    found = [_New(one, held, why) for one, held in promised if (why := _threat(made, one, held)) is not None]
    return sorted(found, key=lambda one: (one.held.promise_at, one.ticket_id))


def _threat(made: Made, one: Forecast, held: Promise) -> Threat | None:
    needed = [part.needed_at for part in made.facts.missing.get(one.ticket_id, ()) if part.state == "needed"]
    return threat(
        one, held.promise_at, now=made.facts.now, warn=made.facts.shop.promise_warn / 100,
        needed_at=max(needed, default=None), overrun=made.overrun,
    )  # fmt: skip


def _may_tell(unit: Unit, made: Made, one: _New) -> bool:
    """Whether the rule names a new time now: not to whom anybody told another one today, or both would take turns."""
    if made.facts.shop.promise_rule != "tell":
        return False
    tz = zone(made.facts.shop.zone)
    told_today = any(
        each.turn > 1 and each.made_at.astimezone(tz).date() == made.facts.today
        for each in promises.of_ticket(unit, one.ticket_id)
    )
    return may_tell(one.forecast, one.held.promise_at, told_today=told_today)


def _warn(ctx: Context, unit: Unit, actor: Actor, facts: Facts, one: _New, *, rings: bool = True) -> None:
    held, expected = one.held, one.forecast.promise_at
    codes: dict[str, str | int] = {
        "promise": held.promise_at.isoformat(), "chance": round(100 * chance_of(one.forecast)), "threat": one.why,
    }  # fmt: skip
    if expected is not None and expected > held.promise_at:
        codes["expected"] = expected.isoformat()
    promises.note_warned(unit, held.id, at=ctx.clock())
    visit = facts.jobs[one.ticket_id].visit_id
    record(ctx, unit, actor, "promise_threatened", visit_id=visit, ticket_id=one.ticket_id, codes=codes,
           expires={"promise_threatened_shop": held.promise_at}, silent=not rings)  # fmt: skip


def _tell(ctx: Context, actor: Actor, facts: Facts, new: _New) -> bool:
    """Names the new time in a transaction of its own, unless somebody changed the promise meanwhile.

    Where it cannot be told, the shop is warned of it all the same.
    """
    assert new.forecast.promise_at is not None
    parts = sorted((part.due_at or part.needed_at, part.needed_at) for part in facts.missing.get(new.ticket_id, ()))
    why = told_why(new.why, promised_on=new.held.made_at, needed_at=parts[-1][1] if parts else None)
    with suppress(NotifyError):
        promise(ctx, actor, new.ticket_id, new.forecast.promise_at, why=why, instead_of=new.held.promise_at)
        return True
    with ctx.db.write(actor.shop_id) as unit:
        held = promises.standing(unit).get(new.ticket_id)
        if held is not None and held.id == new.held.id and held.warned_at is None:
            _warn(ctx, unit, actor, facts, new)
    return False
