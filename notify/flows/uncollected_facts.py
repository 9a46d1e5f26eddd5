"""What is known of a device that nobody collects, as core/uncollected counts it: days by the shop's own calendar."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from notify.core.shop import Shop
from notify.core.uncollected import Facts, Rule, Standing, Step, standing
from notify.store import uncollected
from notify.store.database import Unit
from notify.store.tickets import Job
from notify.store.uncollected import Noted, Told


@dataclass(frozen=True, slots=True)
class Case:
    """One device: the first word of it that really left, how many reminders did, the steps, and where it stands."""

    facts: Facts
    told: Told | None
    reminders: int
    noted: tuple[Noted, ...]
    standing: Standing


def day_of(moment: datetime, shop: Shop) -> date:
    """The date on the shop's wall at that instant."""
    return moment.astimezone(ZoneInfo(shop.zone)).date()


def cases(unit: Unit, shop: Shop, found: Iterable[Job], *, rule: Rule | None, today: date) -> Mapping[str, Case]:
    """ticket -> its case, counted from when it was last put on the shelf."""
    whole = tuple(found)
    told = uncollected.told_of_visits(unit, (ticket.visit_id for ticket in whole))
    noted = uncollected.steps_of_tickets(unit, (ticket.id for ticket in whole))
    return {
        ticket.id: _case(ticket, shop, told.get(ticket.visit_id, ()), noted.get(ticket.id, ()), rule, today)
        for ticket in whole
    }


def _case(
    ticket: Job, shop: Shop, told: tuple[Told, ...], noted: tuple[Noted, ...], rule: Rule | None, today: date
) -> Case:
    since = [one for one in told if one.at >= ticket.phase_since]
    steps = tuple(one for one in noted if one.at >= ticket.phase_since)
    facts = Facts(
        ready_on=day_of(ticket.phase_since, shop),
        told_on=day_of(since[0].at, shop) if since else None,
        steps=tuple((Step(one.step), date.fromisoformat(one.on)) for one in steps),
    )
    reminders = sum(1 for one in since if one.notice == "collection_reminder")
    return Case(facts, since[0] if since else None, reminders, steps, standing(rule, facts, today=today))
