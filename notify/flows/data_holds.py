"""Reasons to keep somebody's data beyond their time: set, looked at again, ended; and the bell when their day comes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.errors import Conflict
from notify.core.holds import check_reason, review_day
from notify.core.text import clean_block
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import data_holds, people, tickets, visits
from notify.store.data_holds import DataHold
from notify.store.database import Unit

RINGS_FROM = 9  # o'clock on the shop's wall: nobody is rung at night about what may wait


@dataclass(frozen=True, slots=True)
class HoldLine:
    """One hold: what it keeps (claim numbers), why, since when, and from when somebody should look again.

    `overdue`: that day has come; it holds all the same. `note` is empty for whoever may not set holds.
    """

    id: str
    visit_id: str
    ticket_id: str
    numbers: tuple[str, ...]
    reason: str
    note: str
    made_at: datetime
    review_on: date
    overdue: bool


def set_hold(
    ctx: Context, actor: Actor, visit_id: str, reason: str, *, note: str = "", review_on: date | None = None
) -> str:
    """Keeps the data of everybody who has a part in a visit until the hold ends; its identifier.

    Raises Invalid for a reason or day that cannot be, Conflict when the person was forgotten or the same reason holds
    already.
    """
    actor.need("hold")
    words = clean_block(note, field="note", limit=500)
    check_reason(reason, words)
    with ctx.db.write(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        person_id = tickets.tickets_of_visit(unit, visit_id)[0].person_id
        if people.is_forgotten(unit, person_id):
            raise Conflict("Whoever brought this was forgotten", "There is nothing left to keep.")
        if any(one.reason == reason for one in data_holds.live_holds(unit, visit_id=visit_id)):
            raise Conflict("The same reason keeps these data already", "Choose a new day for it instead.")
        day = review_day(review_on, today=ctx.today(ctx.shop(unit)))
        new = data_holds.add_hold(unit, visit_id=visit_id, person_id=person_id, reason=reason, note=words,
                                  review_on=day, at=ctx.clock(), staff_id=actor.id)  # fmt: skip
        _note(ctx, unit, actor, "data_hold_set", data_holds.get_hold(unit, new))
        return new


def review_hold(ctx: Context, actor: Actor, hold_id: str, review_on: date | None = None) -> date:
    """Notes that the reason still holds; the day on which somebody looks again. Raises NotFound, Conflict, Invalid."""
    actor.need("hold")
    with ctx.db.write(actor.shop_id) as unit:
        hold = _live(unit, hold_id)
        day = review_day(review_on, today=ctx.today(ctx.shop(unit)))
        data_holds.change_hold(unit, hold.id, review_on=day)
        _note(ctx, unit, actor, "data_hold_reviewed", data_holds.get_hold(unit, hold_id))
        return day


def end_hold(ctx: Context, actor: Actor, hold_id: str) -> None:
    """Ends a hold: the data go when their own time is over, tonight if it is already. Raises NotFound, Conflict."""
    actor.need("hold")
    with ctx.db.write(actor.shop_id) as unit:
        hold = _live(unit, hold_id)
        data_holds.change_hold(unit, hold.id, ended_at=ctx.clock(), ended_by=actor.id)
        _note(ctx, unit, actor, "data_hold_ended", hold)


def ring_due(ctx: Context, actor: Actor) -> int:
    """Tells the shop, once for each day chosen, of holds that somebody should look at again; how many.

    In the shop's working hours only. Nothing ends by itself.
    """
    with ctx.db.read(actor.shop_id) as unit:
        if not _to_ring(ctx, unit):
            return 0
    with ctx.db.write(actor.shop_id) as unit:
        due = _to_ring(ctx, unit)
        for hold in due:
            data_holds.change_hold(unit, hold.id, rung_for=hold.review_on)
            _note(ctx, unit, actor, "data_hold_to_review", hold)
        return len(due)


def _to_ring(ctx: Context, unit: Unit) -> list[DataHold]:
    shop = ctx.shop(unit)
    if ctx.clock().astimezone(ZoneInfo(shop.zone)).hour < RINGS_FROM:
        return []
    today = ctx.today(shop)
    return [one for one in data_holds.live_holds(unit) if one.review_on <= today and one.rung_for != one.review_on]


def list_holds(ctx: Context, actor: Actor) -> tuple[HoldLine, ...]:
    """Every hold that has not ended, the earliest day to look again first."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return _lines(ctx, unit, actor, data_holds.live_holds(unit))


def holds_of(ctx: Context, unit: Unit, actor: Actor, visit_id: str) -> tuple[HoldLine, ...]:
    """Those of one visit, inside the caller's transaction."""
    return _lines(ctx, unit, actor, data_holds.live_holds(unit, visit_id=visit_id))


def _lines(ctx: Context, unit: Unit, actor: Actor, found: tuple[DataHold, ...]) -> tuple[HoldLine, ...]:
    """What is said of these holds; their notes are opened only for whoever may set holds."""
    today, may_read = ctx.today(ctx.shop(unit)), actor.may("hold")
    whole = tickets.tickets_of_visits(unit, {one.visit_id for one in found}) if found else {}
    return tuple(
        HoldLine(
            one.id, one.visit_id, whole[one.visit_id][0].id,
            tuple(show_number(t.number) for t in whole[one.visit_id]), one.reason,
            data_holds.note_of(unit, one.id) if may_read else "", one.made_at, one.review_on, one.review_on <= today,
        )
        for one in found
    )  # fmt: skip


def _live(unit: Unit, hold_id: str) -> DataHold:
    hold = data_holds.get_hold(unit, hold_id)
    if hold.ended_at is not None:
        raise Conflict("This hold has ended", "Set a new one if there is a reason again.")
    return hold


def _note(ctx: Context, unit: Unit, actor: Actor, kind: str, hold: DataHold) -> None:
    codes = {"hold": hold.id, "reason": hold.reason, "review_on": hold.review_on.isoformat()}
    record(ctx, unit, actor, kind, visit_id=hold.visit_id, codes=codes)
