"""Passes: the customer names somebody who may collect once in their place, takes it back, or lets it run out.

A pass is confirmed by a code to the stored contact, so it stays when a lost claim ticket is replaced: whoever found the
ticket could neither open one nor see one, since a pass is shown once and only its keyed hash is kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.claim_number import new_pass_code
from notify.core.errors import Conflict, Invalid, NotFound
from notify.core.text import clean_line
from notify.flows.contact_codes import Sent, check_code, note_proved, send_code
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import passes, people, tickets, visits
from notify.store.database import Unit
from notify.store.passes import Pass

MOST_OPEN = 3  # our choice: who needs more people at once can come in person
_LONGEST_NAME = 80


@dataclass(frozen=True, slots=True)
class Given:
    """A pass that can be used. `code` is told once, here, and kept nowhere."""

    pass_id: str
    code: str
    expires_at: datetime


def ask(ctx: Context, actor: Actor, visit_id: str, *, name: str, source: str = "") -> Sent:
    """The customer names somebody; a code goes to the stored contact. Raises NotFound, Invalid, Conflict, or what
    send_code does.

    The code first: a name is kept only when somebody can confirm it. One that was asked for before and never
    confirmed makes room for this one.
    """
    actor.need("give_pass")
    with ctx.db.read(actor.shop_id) as unit:
        _check_room(unit, visit_id, ctx.clock())
    who = _name(name)
    sent = send_code(ctx, actor, visit_id, purpose="pass", source=source)
    keep_asked(ctx, actor, visit_id, name=who, until=sent.expires_at)
    return sent


def keep_asked(ctx: Context, actor: Actor, visit_id: str, *, name: str, until: datetime) -> str:
    """The second half of `ask`: notes whom the pass is for, while its code can be typed; its identifier."""
    with ctx.db.write(actor.shop_id) as unit:
        now = ctx.clock()
        _check_room(unit, visit_id, now)
        who = _name(name)
        for old in passes.passes_of(unit, visit_id):
            if old.state == "asked":
                _end(ctx, unit, actor, old, "revoked", "pass_revoked", why="named_anew")
        new = _add(ctx, unit, actor, visit_id, who, state="asked", code="", expires_at=until)
        record(ctx, unit, actor, "pass_asked", visit_id=visit_id, codes={"pass": new})
        return new


def confirm(ctx: Context, actor: Actor, visit_id: str, *, typed: str) -> Given:
    """The code was read and typed: the pass opens. Raises what check_code does, and Conflict when none waits for it."""
    actor.need("give_pass")
    with ctx.db.write(actor.shop_id) as unit:
        now, shop = ctx.clock(), ctx.shop(unit)
        _check_room(unit, visit_id, now)
        asked = next((p for p in passes.passes_of(unit, visit_id) if p.state == "asked" and p.expires_at > now), None)
        if asked is None:
            raise Conflict("No pass waits for a code", "Say once more who collects for you.")
        contact_id = check_code(ctx, unit, visit_id, "pass", typed)
        note_proved(ctx, unit, actor, visit_id, "pass", contact_id)
        code, ends = new_pass_code(ctx.pick), now + timedelta(days=shop.pass_days)
        passes.open_pass(unit, asked, code=code, at=now, expires_at=ends)
        record(ctx, unit, actor, "pass_given", visit_id=visit_id, codes={"pass": asked.id})
        return Given(asked.id, code, ends)


def give(ctx: Context, actor: Actor, visit_id: str, *, name: str) -> Given:
    """Staff open one for the bringer, who stands at the counter. Raises NotFound, Invalid or Conflict."""
    actor.need("hand_back")
    with ctx.db.write(actor.shop_id) as unit:
        now = ctx.clock()
        _check_room(unit, visit_id, now)
        who = _name(name)
        code, ends = new_pass_code(ctx.pick), now + timedelta(days=ctx.shop(unit).pass_days)
        new = _add(ctx, unit, actor, visit_id, who, state="open", code=code, expires_at=ends)
        record(ctx, unit, actor, "pass_given", visit_id=visit_id, codes={"pass": new})
        return Given(new, code, ends)


def revoke(ctx: Context, actor: Actor, visit_id: str, pass_id: str) -> None:
    """Takes a pass of this visit back; one that is over already stays as it is. Raises NotFound."""
    actor.need("give_pass")
    with ctx.db.write(actor.shop_id) as unit:
        found = passes.get_pass(unit, pass_id)
        if found.visit_id != visit_id:
            raise NotFound("There is no such pass", "Open the page again.")
        if found.ended_at is None:
            _end(ctx, unit, actor, found, "revoked", "pass_revoked")


def expire_due(ctx: Context, actor: Actor) -> int:
    """Passes whose time has run out end; how many. At the desk they count no more from that very instant."""
    with ctx.db.read(actor.shop_id) as unit:
        if not passes.passes_over(unit, ctx.clock()):
            return 0
    with ctx.db.write(actor.shop_id) as unit:
        over = passes.passes_over(unit, ctx.clock())
        for one in over:
            _end(ctx, unit, actor, one, "expired", "pass_expired", why="never_given" if one.state == "asked" else "")
        return len(over)


def use_within(ctx: Context, unit: Unit, actor: Actor, found: Pass) -> None:
    """Somebody collected with it: it counts no more."""
    _end(ctx, unit, actor, found, "used", "pass_used")


def end_all_within(ctx: Context, unit: Unit, actor: Actor, visit_id: str) -> None:
    """Nothing is left to collect: no pass of the visit counts any more."""
    for one in passes.passes_of(unit, visit_id):
        if one.ended_at is None:
            _end(ctx, unit, actor, one, "revoked", "pass_revoked", why="nothing_left")


def is_open(found: Pass, now: datetime) -> bool:
    """Whether somebody could collect with it now."""
    return found.state == "open" and now < found.expires_at


def _name(typed: str) -> str:
    name = clean_line(typed, field="delegate", limit=_LONGEST_NAME)
    if not name:
        raise Invalid("Nobody was named", "Write the name of whoever collects.", field="delegate")
    return name


def _check_room(unit: Unit, visit_id: str, now: datetime) -> None:
    visits.get_visit(unit, visit_id)
    if not tickets.is_device_with_us(unit, visit_id):
        raise Conflict("Nothing of this visit is with us any more", "There is nothing to collect.")
    if sum(is_open(one, now) for one in passes.passes_of(unit, visit_id)) >= MOST_OPEN:
        raise Conflict(f"{MOST_OPEN} people may collect already", "Take one of their passes back first.")


def _add(
    ctx: Context, unit: Unit, actor: Actor, visit_id: str, name: str, *, state: str, code: str, expires_at: datetime
) -> str:
    bringer = visits.visit_people(unit, visit_id)["bringer"][0]
    language, now = people.get_person(unit, bringer).language, ctx.clock()
    delegate = people.add_person(unit, name=name, language=language, at=now)
    return passes.add_pass(
        unit, visit_id=visit_id, person_id=delegate, given_by=bringer, state=state, code=code, at=now,
        expires_at=expires_at, staff_id=actor.id if actor.kind == "staff" else None,
    )  # fmt: skip


def _end(ctx: Context, unit: Unit, actor: Actor, found: Pass, state: str, event: str, *, why: str = "") -> None:
    # One that ran out ended when it did, not when the clock's job came by: the name's own period counts from there.
    at = found.expires_at if state == "expired" else ctx.clock()
    passes.end_pass(unit, found, state, at=at)
    codes = {"pass": found.id} | ({"why": why} if why else {})
    record(ctx, unit, actor, event, visit_id=found.visit_id, codes=codes)
