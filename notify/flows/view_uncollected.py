"""What the page of uncollected devices shows: who is overdue, what may be done from when, which laws are on file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.contacts import show_phone
from notify.core.errors import Conflict
from notify.core.money import show_amount
from notify.core.shop import Shop
from notify.core.tickets import Phase
from notify.core.uncollected import Check, Rule, Stage, Standing, last_day, review_on
from notify.flows.context import Context
from notify.flows.uncollected import checks_of, known_rules
from notify.flows.uncollected_facts import Case, cases, day_of
from notify.flows.view_lines import Lines, TicketLine, left_to_pay
from notify.render.uncollected_notice import Notice
from notify.store import bookings, people, tickets, uncollected
from notify.store.database import Unit
from notify.store.tickets import Ticket

# What can be done now stands first.
_NOW = frozenset({Stage.MAY_DECIDE, Stage.NOTICE_DUE, Stage.NOTICE_EARLY, Stage.ANSWERED, Stage.NOT_TOLD})


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step that was noted: codes of core/uncollected, its day, and by whom ("" for nobody known)."""

    step: str
    on: date
    how: str
    by: str


@dataclass(frozen=True, slots=True)
class Overdue:
    """One device on the shelf: days there, when word of it first really left and how, reminders, where it stands.

    `missed` counts the pickups to which nobody came; `call_them`: so many that nobody is written to any more.
    `review_on` is when somebody should look again why it is kept.
    """

    ticket: TicketLine
    days: int
    ready_on: date
    told_on: date | None
    told_by: str
    reminders: int
    missed: int
    call_them: bool
    booked_at: datetime | None
    standing: Standing
    noted: tuple[StepLine, ...]
    checks: tuple[Check, ...]
    review_on: date | None


@dataclass(frozen=True, slots=True)
class Kept:
    """A device closed as never collected, whose owner's data are held: since when, and when to look again."""

    ticket: TicketLine
    since: date
    review_on: date | None


@dataclass(frozen=True, slots=True)
class Uncollected:
    """The whole page; `rule` is the law that counts, `hidden` how many are on the shelf but not overdue."""

    today: date
    rule: Rule | None
    overdue: tuple[Overdue, ...]
    hidden: int
    kept: tuple[Kept, ...]


def view(ctx: Context, actor: Actor, *, everything: bool = False) -> Uncollected:
    """Who is overdue, what can be done now first, then the longest standing; with `everything` the whole shelf."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop, lines, rule = ctx.shop(unit), Lines(unit), uncollected.active_rule(unit)
        whole = _overdue(ctx, unit, shop, lines, tickets.tickets_in(unit, (Phase.ON_SHELF,)), rule)
        shown = whole if everything else tuple(one for one in whole if _is_overdue(one, shop))
        today = ctx.today(shop)
        return Uncollected(today, rule, tuple(sorted(shown, key=_order)), len(whole) - len(shown),
                           _kept(unit, shop, lines, today))  # fmt: skip


def view_one(ctx: Context, actor: Actor, ticket_id: str) -> tuple[Overdue, Rule | None, date]:
    """One device on the shelf, the rule that counts, today. Raises NotFound, Conflict when it is not on the shelf."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        ticket, rule, shop = tickets.get_ticket(unit, ticket_id), uncollected.active_rule(unit), ctx.shop(unit)
        _must_be_here(ticket)
        (found,) = _overdue(ctx, unit, shop, Lines(unit), (ticket,), rule)
        return found, rule, ctx.today(shop)


def rules(ctx: Context, actor: Actor) -> tuple[Rule, ...]:
    """Every rule: the one that counts, then those that were verified, then by name."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        found = known_rules(unit).values()
        return tuple(sorted(found, key=lambda rule: (not rule.active, not rule.verified, rule.name)))


def _must_be_here(ticket: Ticket) -> None:
    if ticket.phase is not Phase.ON_SHELF:
        raise Conflict("This device is not on the shelf", "Look at its ticket again.")


def _is_overdue(one: Overdue, shop: Shop) -> bool:
    """Every reminder has had its day; or somebody noted a step, or is to be called."""
    return one.days >= max(shop.collection_days, default=0) or bool(one.noted) or one.call_them


def _order(one: Overdue) -> tuple[bool, int, str]:
    return one.standing.stage not in _NOW, -one.days, one.ticket.number


def _overdue(
    ctx: Context, unit: Unit, shop: Shop, lines: Lines, found: tuple[Ticket, ...], rule: Rule | None
) -> tuple[Overdue, ...]:
    today, known = ctx.today(shop), {line.ticket_id: line for line in lines.of(found)}
    missed, booked = bookings.missed_counts(unit, {t.visit_id for t in found}), bookings.live_bookings(unit)
    of = cases(unit, shop, found, rule=rule, today=today)
    out = []
    for ticket in found:
        case, times, booking = of[ticket.id], missed.get(ticket.visit_id, 0), booked.get(ticket.visit_id)
        out.append(Overdue(
            known[ticket.id], (today - case.facts.ready_on).days, case.facts.ready_on, case.facts.told_on,
            case.told.channel if case.told else "", case.reminders, times,
            booking is None and times > 0 and times >= shop.missed_notes, booking.start_at if booking else None,
            case.standing, _steps(case, lines), checks_of(case),
            review_on(case.facts.ready_on, days=shop.review_days, today=today),
        ))  # fmt: skip
    return tuple(out)


def _steps(case: Case, lines: Lines) -> tuple[StepLine, ...]:
    return tuple(
        StepLine(one.step, date.fromisoformat(one.on), one.how, lines.staff_name(one.staff_id)) for one in case.noted
    )


def _kept(unit: Unit, shop: Shop, lines: Lines, today: date) -> tuple[Kept, ...]:
    found = lines.of(tickets.tickets_in(unit, (Phase.LEFT_BEHIND,)))
    since = {line.ticket_id: day_of(line.since, shop) for line in found if not line.forgotten}
    return tuple(
        Kept(line, since[line.ticket_id], review_on(since[line.ticket_id], days=shop.review_days, today=today))
        for line in found
        if line.ticket_id in since
    )


def notice(ctx: Context, actor: Actor, ticket_id: str) -> Notice:
    """The draft of a notice to print, in the customer's language. Raises NotFound, Conflict (not on the shelf)."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        ticket, rule, shop = tickets.get_ticket(unit, ticket_id), uncollected.active_rule(unit), ctx.shop(unit)
        _must_be_here(ticket)
        today = ctx.today(shop)
        case = cases(unit, shop, [ticket], rule=rule, today=today)[ticket.id]
        return _notice(unit, shop, ticket, case, rule, today)


def _notice(unit: Unit, shop: Shop, ticket: Ticket, case: Case, rule: Rule | None, today: date) -> Notice:
    person, left = people.get_person(unit, ticket.person_id), left_to_pay(ticket)
    owed = 0 if ticket.outcome == "unrepaired" else left
    return Notice(
        language=person.language, shop_language=shop.language, shop_name=shop.name,
        shop_lines=tuple(shop.address.splitlines()),
        shop_phone=show_phone(shop.phone), shop_email=shop.email, person=person.name,
        number=show_number(ticket.number), device=ticket.device, handed_in=day_of(ticket.created_at, shop),
        ready_on=case.facts.ready_on, repaired=ticket.outcome != "unrepaired", today=today,
        owed=None if owed is None else show_amount(owed, currency=shop.currency, language=person.language),
        is_owed=bool(owed), collect_by=last_day(today, rule.wait_days) if rule and rule.wait_days else None,
        may_be_given_from=case.standing.notice_from if case.standing.notice_from and case.standing.notice_from > today
        else None, rule_name=rule.name if rule else "", rule_form=rule.form if rule else "",
        safety=ticket.safety,
    )  # fmt: skip
