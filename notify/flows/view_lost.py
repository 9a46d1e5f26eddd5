"""What staff see who have a lost claim ticket before them: where a code would go, and what became of the last one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.contact_code import PURPOSES
from notify.core.tickets import OPEN_PHASES
from notify.flows.contact_codes import where_to
from notify.flows.context import Context
from notify.flows.holds import Hold, hold_on
from notify.store import contact_codes, messages, people, tickets, visits
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class LostView:
    """`numbers` are those of the tickets still with us. `masked` is where a code would go, "" for nowhere.

    `asked` tells that a code can be typed now; `state` and `reason` are those of its message (core/messages),
    "" without one. `hold` is the one after a changed contact.
    """

    visit_id: str
    person: str
    numbers: tuple[str, ...]
    masked: str
    asked: bool
    state: str
    reason: str
    hold: Hold | None
    now: datetime


def view_lost(ctx: Context, actor: Actor, visit_id: str) -> LostView:
    """The desk's view; raises NotFound. It changes nothing."""
    actor.need("reissue")
    with ctx.db.read(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        bringer = visits.visit_people(unit, visit_id)["bringer"][0]
        here = [one for one in tickets.tickets_of_visit(unit, visit_id) if one.phase in OPEN_PHASES]
        code_id = contact_codes.newest_open(unit, visit_id, "lost_ticket", now=ctx.clock())
        state, reason = _message(unit, visit_id, code_id)
        forgotten = people.is_forgotten(unit, bringer)
        return LostView(
            visit_id=visit_id, person=people.get_person(unit, bringer).name,
            numbers=tuple(show_number(one.number) for one in here),
            masked="" if forgotten else where_to(ctx, unit, visit_id), asked=bool(code_id), state=state, reason=reason,
            hold=hold_on(unit, visit_id, ctx.clock(), ctx.shop(unit).hold_hours), now=ctx.clock(),
        )  # fmt: skip


def _message(unit: Unit, visit_id: str, code_id: str) -> tuple[str, str]:
    """State and reason of the message that tells this code."""
    if not code_id:
        return "", ""
    found = [m for m in messages.messages_of_visit(unit, visit_id) if m.refs.get("code") == code_id]
    return (str(found[-1].state), found[-1].reason) if found else ("", "")


def code_goes_to(ctx: Context, shop_id: str, visit_id: str, purpose: str) -> tuple[str, bool]:
    """For the claim page: the masked contact of a code ("" for none), and whether one can be typed now."""
    assert purpose in PURPOSES
    with ctx.db.read(shop_id) as unit:
        return where_to(ctx, unit, visit_id), bool(
            contact_codes.newest_open(unit, visit_id, purpose, now=ctx.clock())
        )  # fmt: skip
