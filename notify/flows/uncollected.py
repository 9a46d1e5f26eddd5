"""Devices that nobody collects: note a step, keep a rule of the law, check before one is closed so."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from notify.core import uncollected as rules
from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid
from notify.core.text import clean_block, clean_line
from notify.core.tickets import Phase
from notify.core.uncollected import Check, Rule
from notify.core.uncollected_rules import BY_CODE
from notify.flows.context import Context
from notify.flows.record import record
from notify.flows.uncollected_facts import Case, cases
from notify.store import tickets, uncollected
from notify.store.database import Unit
from notify.store.tickets import Job

GAVE_IT_UP = "customer_gave_it_up"
_CODE = frozenset("abcdefghijklmnopqrstuvwxyz0123456789_")


@dataclass(frozen=True, slots=True)
class RuleForm:
    """What is to be changed of a rule; None leaves it. A changed row counts as verified only if that is said again."""

    name: str | None = None
    notice_after_days: int | None = None
    wait_days: int | None = None
    form: str | None = None
    source: str | None = None
    checked_on: date | None = None
    verified: bool | None = None
    active: bool | None = None


def log_step(ctx: Context, actor: Actor, ticket_id: str, step: str, *, on: date | None = None, how: str = "") -> str:
    """Notes what a person did on a day (today when None); the event. A wrong day is corrected by noting it again.

    Raises Invalid for an unknown step, day or way, Conflict for a device that is not on the shelf.
    """
    actor.need("move")
    named = rules.parse_step(step)
    with ctx.db.write(actor.shop_id) as unit:
        ticket, shop = tickets.get_job(unit, ticket_id), ctx.shop(unit)
        if ticket.phase is not Phase.ON_SHELF:
            raise Conflict("This device is not on the shelf", "Look at its ticket again.")
        today = ctx.today(shop)
        day = on or today
        case = cases(unit, shop, [ticket], rule=None, today=today)[ticket.id]
        rules.check_step(named, how, day, ready_on=case.facts.ready_on, today=today)
        codes = {"step": named.value, "on": day.isoformat(), **({"how": how} if how else {})}
        return record(
            ctx, unit, actor, "uncollected_step", visit_id=ticket.visit_id, ticket_id=ticket.id, codes=codes
        ).id


def set_rule(ctx: Context, actor: Actor, code: str, form: RuleForm) -> Rule:
    """Writes a rule of the law, from an example or an own one; the row. Switching one on switches the others off.

    Raises Invalid for what cannot be meant, NotAllowed for switching on one that nobody verified.
    """
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        today = ctx.today(ctx.shop(unit))
        before = known_rules(unit).get(code)
        changed = _changed(before or _blank(code), form)
        rules.check_rule(changed, today=today)
        uncollected.put_rule(unit, changed)
        return changed


def _blank(code: str) -> Rule:
    if not (code and set(code) <= _CODE and len(code) <= 40):
        raise Invalid(f"{code[:40]!r} is no name for a rule", "Use small letters, digits and _.", field="code")
    return Rule(code, "", 0, 0, "", "")


def _changed(rule: Rule, form: RuleForm) -> Rule:
    new = replace(
        rule,
        name=rule.name if form.name is None else clean_line(form.name, field="name", limit=120),
        form=rule.form if form.form is None else clean_block(form.form, field="form", limit=300),
        source=rule.source if form.source is None else clean_block(form.source, field="source", limit=300),
        notice_after_days=rule.notice_after_days if form.notice_after_days is None else form.notice_after_days,
        wait_days=rule.wait_days if form.wait_days is None else form.wait_days,
        checked_on=form.checked_on or rule.checked_on,
    )
    verified = (rule.verified and new == rule) if form.verified is None else form.verified
    active = (rule.active and verified) if form.active is None else form.active
    return replace(new, verified=verified, active=active)


def known_rules(unit: Unit) -> dict[str, Rule]:
    """code -> rule: the shop's own rows, and the examples that nobody has changed yet."""
    return {**BY_CODE, **{rule.code: rule for rule in uncollected.list_rules(unit)}}


def checks_of(case: Case, *, gave_it_up: bool = False) -> tuple[Check, ...]:
    """The list before a device is closed as never collected."""
    return rules.checklist(case.standing.stage, case.facts.steps, gave_it_up=gave_it_up)


def check_may_leave(ctx: Context, unit: Unit, ticket: Job, *, reason: str, note: str, confirmed: bool) -> None:
    """Raises NotAllowed, naming what is still to be done, before a device is closed as never collected."""
    shop = ctx.shop(unit)
    case = cases(unit, shop, [ticket], rule=uncollected.active_rule(unit), today=ctx.today(shop))[ticket.id]
    checks = checks_of(case, gave_it_up=reason == GAVE_IT_UP)
    rules.check_may_leave(checks, own_reason=note, confirmed=confirmed)
