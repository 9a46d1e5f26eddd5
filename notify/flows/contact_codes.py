"""Send a short code to the contact that is stored for a visit, and check what is typed.

Whoever types it reads that contact, which a claim number or a found claim ticket alone does not show. It proves
nothing more: so a contact that was noted too lately (flows/holds) gets none.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import ceil

from notify.core import contact_code as rules
from notify.core.actors import Actor
from notify.core.errors import Counted, Invalid, NotAllowed, TooOften
from notify.core.mask import mask_email, mask_phone
from notify.core.notices import NOTICES
from notify.core.planner import Reach, best_reach, name_readers
from notify.flows.claims import network
from notify.flows.context import Context
from notify.flows.holds import hold_on
from notify.flows.record import record
from notify.store import contact_codes, people, staff, visits
from notify.store.contact_codes import Waiting
from notify.store.database import Unit
from notify.store.facts import gather

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
_NO_WAY = "Check who it is in words instead, as for somebody without an address."
_NO_WAY_CUSTOMER = "Call us, or come by; we find another way to make sure that it is you."


@dataclass(frozen=True, slots=True)
class Sent:
    """Where a code is going, masked, by which channel, and until when it counts."""

    masked: str
    channel: str
    expires_at: datetime


class WrongCode(Counted):
    """Not the code, or none is open; the try was counted."""


def send_code(ctx: Context, actor: Actor, visit_id: str, *, purpose: str, source: str = "") -> Sent:
    """Sends a code to the stored contact of whoever brought the devices; one sent before counts no more.

    `source` is where the request comes from, if that is known. Raises NotAllowed where there is no contact that can
    prove anything, TooOften above the limits of core/contact_code, NotFound.
    """
    actor.need("ask_code")
    if purpose not in rules.PURPOSES:
        raise Invalid(f"{purpose[:20]!r} is nothing that a code is for", f"Use: {', '.join(rules.PURPOSES)}.")
    with ctx.db.write(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        person_id, reach = _reach(ctx, unit, visit_id)
        if reach is None:
            advice = _NO_WAY_CUSTOMER if actor.kind == "customer" else _NO_WAY
            raise NotAllowed("There is no address or number to which a code could be sent", advice)
        _count_sends(ctx, unit, visit_id, source)
        return _send(ctx, unit, actor, visit_id, person_id, reach, purpose=purpose)


def _send(ctx: Context, unit: Unit, actor: Actor, visit_id: str, person_id: str, reach: Reach, *, purpose: str) -> Sent:
    now = ctx.clock()
    ends = now + rules.LIFETIME
    new = contact_codes.add_code(
        unit, visit_id=visit_id, person_id=person_id, contact_id=reach.contact_id, purpose=purpose,
        code=rules.new_code(ctx.pick), at=now, expires_at=ends,
    )  # fmt: skip
    to = name_readers([(reach.channel, reach.contact_id)])
    record(ctx, unit, actor, "code_asked", visit_id=visit_id, expires={"contact_code": ends},
           codes={"code": new, "purpose": purpose, "person": person_id, "to": to})  # fmt: skip
    return Sent(_masked(unit, reach.contact_id), reach.channel, ends)


def where_to(ctx: Context, unit: Unit, visit_id: str) -> str:
    """The masked contact that a code would go to; "" for none. It changes nothing."""
    _, reach = _reach(ctx, unit, visit_id)
    return _masked(unit, reach.contact_id) if reach else ""


def working_contacts(ctx: Context, unit: Unit, visit_id: str) -> dict[str, str]:
    """The codes `person` and `to` of an event that every contact of the bringer is told of; none where there is none.

    Those that could get a code, and also a fresh one: a warning gives nothing away.
    """
    person_id, usable = _usable(ctx, unit, visit_id, but_not=())
    return {"person": person_id, "to": name_readers((r.channel, r.contact_id) for r in usable)} if usable else {}


def _reach(ctx: Context, unit: Unit, visit_id: str) -> tuple[str, Reach | None]:
    hold = hold_on(unit, visit_id, ctx.clock(), ctx.shop(unit).hold_hours)
    person_id, usable = _usable(ctx, unit, visit_id, but_not=hold.contact_ids if hold else ())
    order = NOTICES["contact_code"].channels
    return person_id, min(usable, key=lambda one: order.index(one.channel), default=None)


def _usable(ctx: Context, unit: Unit, visit_id: str, *, but_not: Iterable[str]) -> tuple[str, tuple[Reach, ...]]:
    """The bringer, and those of their contacts that a code may go to."""
    person_id = visits.visit_people(unit, visit_id)["bringer"][0]
    (person,) = people.recipients(unit, [person_id])
    facts = gather(unit, visit_id, channels_on=ctx.channels_on, bell=ctx.bell)
    left = [] if person.forgotten else [one for one in person.reaches if one.contact_id not in set(but_not)]
    each = (best_reach(NOTICES["contact_code"], replace(person, reaches=(one,)), facts) for one in left)
    return person_id, tuple(one for one in each if one is not None)


def _masked(unit: Unit, contact_id: str) -> str:
    contact = people.get_contact(unit, contact_id)
    assert contact is not None  # just read in this transaction
    return (mask_phone if contact.channel == "sms" else mask_email)(contact.address)


def _count_sends(ctx: Context, unit: Unit, visit_id: str, source: str) -> None:
    limits = [("visit", visit_id, rules.AN_HOUR, HOUR), ("day", visit_id, rules.A_DAY, DAY)]
    if source:
        limits.append(("place", network(source), rules.FROM_ONE_PLACE, HOUR))
    for kind, value, most, window in limits:
        wait = count_try(ctx, unit, f"code:{kind}", value, limit=most, window=window)
        if wait:
            minutes = ceil(wait / 60)
            raise TooOften(
                "Codes were sent too often", f"The newest one still counts; another can be sent in {minutes} minutes."
            )


def count_try(ctx: Context, unit: Unit, kind: str, value: str, *, limit: int, window: timedelta) -> int:
    """Counts one try of this kind, kept as a keyed hash; the seconds to wait when it was one too many, else 0."""
    key, now = unit.opener.lookup(f"try:{kind}", value), ctx.clock()
    count, began = staff.tries(unit, key)
    if began is not None and now - window < began <= now and count >= limit:
        return max(1, ceil((began + window - now).total_seconds()))
    staff.count_try(unit, key, at=now, window=window)
    return 0


def check_code(ctx: Context, unit: Unit, visit_id: str, purpose: str, typed: str) -> str:
    """Passes once with the right code, which is used up then; the contact that it went to.

    Call it first in a transaction: a wrong try is counted although the transaction is refused, and with it would be
    kept whatever was written before. Raises Invalid for what cannot be a code, WrongCode for a wrong one or when none
    is open.
    """
    code = rules.read_code(typed)
    if not code:
        raise Invalid(f"A code has {rules.DIGITS} digits", "Type it as it stands in the message.", field="code")
    waiting = contact_codes.open_code(unit, visit_id, purpose, now=ctx.clock())
    right = contact_codes.fits(unit, waiting, code)
    if waiting is None or not right:
        contact_codes.count_wrong(unit, waiting)
        raise WrongCode(*_advice(waiting), field="code")
    contact_codes.use_code(unit, waiting, at=ctx.clock())
    return waiting.contact_id


def _advice(waiting: Waiting | None) -> tuple[str, str]:
    if waiting is None:
        return "No code is open", "It is used, too old, or was typed wrong too often. Have a new one sent."
    left = rules.MOST_WRONG - waiting.wrong - 1
    if left <= 0:
        return "This is not the code, and it counts no more", "Have a new one sent."
    return "This is not the code", f"Type it as it stands in the newest message. It can be tried {left} times more."


def note_proved(ctx: Context, unit: Unit, actor: Actor, visit_id: str, purpose: str, contact_id: str) -> str:
    """The event that a code was typed; its identifier."""
    codes: dict[str, str | int] = {"purpose": purpose, "contact": contact_id}
    return record(ctx, unit, actor, "code_proved", visit_id=visit_id, codes=codes).id


def prove(ctx: Context, actor: Actor, visit_id: str, *, purpose: str, typed: str) -> str:
    """Checks a code for a thing that leaves nothing else behind, such as seeing a price; the contact that it went to.

    Raises as check_code.
    """
    actor.need("ask_code")
    with ctx.db.write(actor.shop_id) as unit:
        contact_id = check_code(ctx, unit, visit_id, purpose, typed)
        note_proved(ctx, unit, actor, visit_id, purpose, contact_id)
        return contact_id


def tidy(ctx: Context, actor: Actor) -> int:
    """Deletes codes whose time is over, and counts of tries older than every window; how many codes."""
    with ctx.db.write(actor.shop_id) as unit:
        staff.purge_tries(unit, before=ctx.clock() - 2 * DAY)
        return contact_codes.purge_codes(unit, now=ctx.clock())
