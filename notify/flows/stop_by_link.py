"""Stop one kind of message, or every one, by the link in the mail itself, without signing in anywhere (RFC 8058)."""

from __future__ import annotations

from notify.core.actors import Actor
from notify.core.consent import EVERY_PURPOSE
from notify.core.one_click import Use
from notify.flows.context import Context
from notify.flows.reach import use_codes, write_uses
from notify.flows.record import record
from notify.store import people, visits
from notify.store.database import Unit
from notify.store.readers import Reader, find_reader

HOW = "one_click"


def find(ctx: Context, use: Use) -> Reader | None:
    """Whose link it is; None when nobody is known by it."""
    return find_reader(ctx.db, use.person_id)


def allowed(ctx: Context, reader: Reader, use: Use) -> frozenset[str]:
    """The purposes that there still are to stop on the channel of the link."""
    with ctx.db.read(reader.shop_id) as unit:
        return _allowed(unit, use)


def stop(ctx: Context, reader: Reader, use: Use, *, everything: bool = False) -> bool:
    """Withdraws the consent, or with `everything` whatever is allowed on that channel; whether it was there.

    Pressing again, or for somebody forgotten, writes nothing.
    """
    actor = Actor(reader.shop_id, "customer", "customer")
    with ctx.db.write(reader.shop_id) as unit:
        there = _allowed(unit, use)
        gone = EVERY_PURPOSE if everything and there else tuple(there & {use.purpose})
        if people.is_forgotten(unit, use.person_id) or not gone:
            return False
        newest = tuple(visits.newest_visits(unit, [use.person_id]).values())
        write_uses(ctx, unit, actor, use.person_id, use.channel, gone, allowed=False, how=HOW,
                   evidence=next(iter(newest), ""))  # fmt: skip
        for visit_id in newest:
            codes = use_codes(use.channel, gone, HOW)
            record(ctx, unit, actor, "consent_withdrawn", visit_id=visit_id, codes=codes)
        return True


def _allowed(unit: Unit, use: Use) -> frozenset[str]:
    return people.allowed_uses(unit, [use.person_id]).get(use.person_id, {}).get(use.channel, frozenset())
