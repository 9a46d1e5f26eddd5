"""What time does with requests: the night that erases whoever asked for it, and the bell before a last day."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from notify.core import requests as rules
from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.requests import DONE, OPEN
from notify.flows import forget
from notify.flows.context import Context
from notify.flows.keeping import Fate, fate
from notify.flows.record import record
from notify.store import events, people, requests, tickets
from notify.store.database import Unit
from notify.store.requests import Request
from notify.store.stamps import people_changed


def stands_against(found: Fate) -> tuple[str, ...]:
    """Why somebody cannot be erased now, by code: "open" while a device is with us, else what keeps their data.

    An open request of another kind is among them. Their own wish needs no period to be over, and is the consent without
    which data that are set aside are only kept (GDPR art. 18(2)).
    """
    return ("open",) if found.state == "open" else tuple(one for one in found.reasons if one != "set_aside")


def erase_due(ctx: Context, actor: Actor, *, drop_copies: Callable[[Sequence[str]], int] | None = None) -> int:
    """Erases everybody who asked for it, is known to be who they are, had their rest, and whom nothing keeps; how many.

    The person goes first, then the request ends: whoever was cut off between is found by the next night. Each is looked
    at again in the transaction that destroys the key: it may have been taken back, or a hold noted, meanwhile.
    """
    actor.need("forget")
    with ctx.db.read(actor.shop_id) as unit:
        due = [one for one in requests.open_requests(unit) if _may_go(ctx, unit, one)]
    gone = 0
    for one in due:
        if not _is_gone(ctx, actor, one):
            forget.erase_person(ctx, actor, one.person_id, drop_copies=drop_copies, prove=False,
                                still=partial(_still, ctx, one))  # fmt: skip
            if not _is_gone(ctx, actor, one):
                continue
        gone += 1
        end_requests(ctx, actor, one.person_id)
    return gone


def end_requests(ctx: Context, actor: Actor, person_id: str) -> None:
    """Ends as done whatever is open of somebody who was just forgotten."""
    actor.need("forget")
    with ctx.db.write(actor.shop_id) as unit:
        for one in requests.requests_of(unit, person_id):
            if one.state == OPEN:
                requests.end(unit, one.id, DONE, at=ctx.clock(), reason="", staff_id=None)
        requests.lift(unit, person_id, at=ctx.clock())  # nobody granted it: nothing is left to be set aside
        people_changed(unit, [person_id])


def _still(ctx: Context, one: Request, unit: Unit) -> bool:
    requests.hold_person(unit, one.person_id)
    now = requests.get_request(unit, one.id)
    return now.state == OPEN and _may_go(ctx, unit, now)


def _is_gone(ctx: Context, actor: Actor, one: Request) -> bool:
    with ctx.db.read(actor.shop_id) as unit:
        return people.is_forgotten(unit, one.person_id)


def _may_go(ctx: Context, unit: Unit, one: Request) -> bool:
    if people.is_forgotten(unit, one.person_id):
        return True
    rested = one.rests_until is not None and one.rests_until <= ctx.clock()
    return rested and not stands_against(fate(ctx, unit, one.person_id))


def ring_due(ctx: Context, actor: Actor) -> int:
    """Rings once when the last day of a request is near, and once when it is over; how often."""
    rung = 0
    with ctx.db.write(actor.shop_id) as unit:
        today = ctx.today(ctx.shop(unit))
        for one in requests.open_requests(unit):
            stands = rules.standing(today, one.last_day)
            if stands is rules.Standing.IN_TIME or _has_rung(unit, one, stands):
                continue
            record(ctx, unit, actor, "request_pressing", visit_id=one.visit_id,
                   codes={"request": one.id, "asked": one.kind.value, "stands": stands.value,
                          "last_day": one.last_day.isoformat(), "number": _number(unit, one)})  # fmt: skip
            rung += 1
    return rung


def _number(unit: Unit, one: Request) -> str:
    return show_number(tickets.tickets_of_visit(unit, one.visit_id)[0].number)


def _has_rung(unit: Unit, one: Request, stands: rules.Standing) -> bool:
    wanted = {"request": one.id, "stands": stands.value, "last_day": one.last_day.isoformat()}
    story = events.story_of(unit, visit_id=one.visit_id)
    return any(e.kind == "request_pressing" and wanted.items() <= e.codes.items() for e in story)
