"""Who wants nothing more by a channel: noted with every stop of everything, honoured however the address comes back.

A stop is noted when it is said, and carried to another address of the same person. So when somebody is forgotten the
hash stands already, and no address has to be opened for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from notify.core.actors import Actor
from notify.core.consent import REACH_CHANNELS, is_stopped
from notify.core.contacts import parse_email, parse_phone
from notify.core.errors import Conflict, Invalid, NotFound
from notify.core.stop_list import Stop
from notify.core.suppression import ADDED
from notify.flows.context import Context
from notify.store import people, suppressions
from notify.store.database import Unit

_WHAT = {"sms": "number", "email": "address"}


def after_withdrawal(ctx: Context, unit: Unit, actor: Actor, person_id: str, channel: str, *, how: str) -> None:
    """Suppresses the person's addresses on a channel once nothing is allowed there any more."""
    if not is_stopped(people.standings(unit, [person_id]).get(person_id, {}), channel):
        return
    for contact in people.contacts_of(unit, person_id):
        if contact.channel == channel:
            suppressions.suppress(unit, channel, contact.address, how=how, at=ctx.clock(), staff_id=actor.staff_id)


def stopped_on(ctx: Context, unit: Unit, at: datetime) -> str:
    """The day in the shop's zone, as staff read it: 3 June 2026."""
    day = at.astimezone(ZoneInfo(ctx.shop(unit).zone))
    return f"{day.day} {day:%B %Y}"


def say_unused(ctx: Context, unit: Unit, channel: str, known: Stop) -> str:
    """What staff are told of an address that is stored, and not used."""
    return (
        f"Whoever has this {_WHAT[channel]} stopped all messages on {stopped_on(ctx, unit, known.at)}, so it is not"
        " used. Ask whether they want them again; if so, note it under “What was allowed”, which the ticket leads to."
    )


def refuse_silently(ctx: Context, unit: Unit, person_id: str, channel: str) -> None:
    """Raises Conflict where the person's address is suppressed: allowing it again must be what somebody means."""
    for contact in people.contacts_of(unit, person_id):
        if contact.channel == channel and contact.suppressed_at is not None:
            day = stopped_on(ctx, unit, contact.suppressed_at)
            raise Conflict(
                f"Whoever has this {_WHAT[channel]} stopped all messages on {day}",
                "Does this person want them again? Ask, then say so.", field="wanted",
            )  # fmt: skip


def end_for(ctx: Context, unit: Unit, person_id: str, channel: str, *, how: str) -> int:
    """Ends it for the person's addresses on a channel, since they want messages again; how many ended."""
    mine = [one for one in people.contacts_of(unit, person_id) if one.channel == channel]
    return sum(suppressions.end(unit, channel, one.address, how=how, at=ctx.clock()) for one in mine)


@dataclass(frozen=True, slots=True)
class Listed:
    """One row of the list: nothing else is known."""

    channel: str
    reason: str
    at: datetime
    ended_at: datetime | None
    ended_how: str


def listed(ctx: Context, actor: Actor) -> tuple[Listed, ...]:
    """Every stop, the newest first."""
    actor.need("report")
    with ctx.db.read(actor.shop_id) as unit:
        newest_first = reversed(suppressions.stops(unit))
    return tuple(Listed(one.channel, one.reason, one.at, one.ended_at, one.ended_how) for one in newest_first)


def add(ctx: Context, actor: Actor, *, channel: str, address: str) -> bool:
    """Writes an address into the list: somebody asked for it by letter, say; whether it is new. Raises Invalid."""
    actor.need("change_contact")
    with ctx.db.write(actor.shop_id) as unit:
        parsed = parse_address(ctx, unit, channel, address)
        return suppressions.suppress(unit, channel, parsed, how=ADDED, at=ctx.clock(), staff_id=actor.staff_id)


def end(ctx: Context, actor: Actor, *, channel: str, address: str, wanted: bool) -> None:
    """Ends a stop, which allows nothing by itself. NotFound; Conflict unless the person is said to want it."""
    actor.need("change_contact")
    with ctx.db.write(actor.shop_id) as unit:
        parsed = parse_address(ctx, unit, channel, address)
        known = suppressions.standing(unit, channel, parsed)
        if known is None:
            raise NotFound("No stop is noted for it", "Look at the spelling.", field="address")
        if not wanted:
            day = stopped_on(ctx, unit, known.at)
            raise Conflict(f"Everything was stopped there on {day}", "Does this person want messages again? Ask first.",
                           field="wanted")  # fmt: skip
        suppressions.end(unit, channel, parsed, how="counter", at=ctx.clock())


def parse_address(ctx: Context, unit: Unit, channel: str, address: str) -> str:
    """The address as it is stored; raises Invalid, never repeating it."""
    if channel == "sms":
        return parse_phone(address, region=ctx.shop(unit).region or None).e164
    if channel == "email":
        return parse_email(address)
    raise Invalid(f"{channel[:20]!r} is no channel", f"Use one of: {', '.join(REACH_CHANNELS)}.", field="channel")
