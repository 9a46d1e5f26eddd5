"""The shop's rules of keeping, seen and changed; what a shorter period would do is told before it is kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.core.retention import Rule, check_rule, ends_on
from notify.flows.context import Context
from notify.flows.keeping import who_is_due
from notify.store import retention
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class RuleView:
    """The rule that counts today for one kind of data, and the one that is to come, if any."""

    now: Rule
    to_come: Rule | None


@dataclass(frozen=True, slots=True)
class Changed:
    """A rule as it would be or is now written: from which day on, and how many people it lets go that night.

    `due_more` counts those who would not go that night by the rule of today; people are counted for contact cards only.
    """

    rule: Rule
    due: int
    due_more: int
    is_kept: bool


def list_rules(ctx: Context, actor: Actor) -> tuple[RuleView, ...]:
    """Every rule of this shop."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return rules_within(ctx, unit)


def rules_within(ctx: Context, unit: Unit) -> tuple[RuleView, ...]:
    """The same inside the caller's transaction."""
    today = ctx.today(ctx.shop(unit))
    coming = _coming(unit, today)
    return tuple(RuleView(rule, coming.get(code)) for code, rule in retention.rules(unit, today).items())


def _coming(unit: Unit, today: date) -> Mapping[str, Rule]:
    written = [rule for rule in retention.list_written(unit) if rule.valid_from and rule.valid_from > today]
    return {rule.data_class: rule for rule in reversed(written)}


def change_rule(
    ctx: Context, actor: Actor, data_class: str, *, period: str = "", clock: str = "",
    exceptions: Sequence[str] | None = None, source: str = "", checked_on: date | None = None,
    valid_from: date | None = None, preview: bool = False,
) -> Changed:  # fmt: skip
    """Writes a row of its own for one kind of data; what is left out stays as it was to be on that day. Raises Invalid.

    What lets anything go earlier counts from tomorrow at the earliest, so that a slip of the pen can be taken back;
    what keeps longer counts from today. The newest word counts: whatever was to come later is gone. `preview` writes
    nothing.
    """
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        today = ctx.today(ctx.shop(unit))
        if checked_on is not None and checked_on > today:
            raise Invalid(
                f"Nobody has read it on {checked_on} yet", "Give the day on which you did.", field="checked_on"
            )
        old = retention.rule(unit, data_class, today)
        base = retention.read_rule(unit, data_class, valid_from or today + timedelta(days=1))
        new = check_rule(_meant(base, period, clock, exceptions, source, checked_on))
        new = replace(new, valid_from=_from(old, new, today, valid_from))
        told = _told(ctx, unit, old, new, is_kept=not preview)
        if not preview:
            retention.put_rule(unit, new, at=ctx.clock(), staff_id=actor.id)
        return told


def _meant(
    old: Rule, period: str, clock: str, exceptions: Sequence[str] | None, source: str, checked_on: date | None
) -> Rule:
    """Another period without a source of its own is the shop's choice, and nobody has checked it."""
    is_new = bool(source or period not in ("", old.period) or clock not in ("", old.clock))
    return replace(
        old, period=period or old.period, clock=clock or old.clock,
        exceptions=old.exceptions if exceptions is None else tuple(exceptions),
        source=(source.strip() or "the shop's own choice") if is_new else old.source,
        checked_on=checked_on or (None if is_new else old.checked_on),
    )  # fmt: skip


def is_shorter(old: Rule, new: Rule) -> bool:
    """Whether anything may go earlier by the new rule: some day of two years ends earlier, or a reason is dropped."""
    start = date(2027, 1, 1)  # a year and a leap year
    days = [start + timedelta(days=n) for n in range(731)]
    earlier = any(ends_on(new, day) < ends_on(old, day) for day in days)
    return earlier or not set(old.exceptions) <= set(new.exceptions)


def _from(old: Rule, new: Rule, today: date, wanted: date | None) -> date:
    first = today + timedelta(days=1) if is_shorter(old, new) else today
    day = wanted or first
    if day < first:
        raise Invalid(
            f"A rule that lets data go earlier cannot count from {day}",
            f"It counts from {first} at the earliest, so that a slip can still be taken back.", field="valid_from",
        )  # fmt: skip
    return day


def _told(ctx: Context, unit: Unit, old: Rule, new: Rule, *, is_kept: bool) -> Changed:
    if new.data_class != "contact_card" or new.valid_from is None:
        return Changed(new, 0, 0, is_kept)
    due, before = (len(who_is_due(ctx, unit, rule, on=new.valid_from)[0]) for rule in (new, old))
    return Changed(new, due, max(0, due - before), is_kept)
