"""Some days before somebody is forgotten: tell them so by mail, once ever, where repair mails were allowed.

The word prolongs nothing: data go on their day whether or not it could be told, for keeping them longer for the sake of
a message would be keeping without a reason (GDPR art. 5(1)(e); our reading, no advice).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from notify.core.actors import Actor
from notify.core.chunks import chunks
from notify.core.notices import NOTICES
from notify.core.planner import Recipient, best_reach, name_readers
from notify.flows import keeping
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import people, untold
from notify.store.database import Unit
from notify.store.facts import gather

NOTICE, PURPOSE = "forget_soon", "repair"
BY_DAY = range(9, 20)  # o'clock on the shop's wall: nobody is woken by what may wait
_AT_ONCE = 20  # people in one transaction: each message takes some milliseconds, and others wait to write


def tell_due(ctx: Context, actor: Actor) -> int:
    """Plans the word for everybody whose time is over within the shop's days and who was never told; how many.

    By day only. Whoever would go tonight is not told any more, nor whoever stays all the same.
    """
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
        if not shop.forget_notice_days or ctx.clock().astimezone(ZoneInfo(shop.zone)).hour not in BY_DAY:
            return 0
        last = ctx.today(shop) + timedelta(days=shop.forget_notice_days)
        soon = untold.never_told(unit, keeping.who_is_due(ctx, unit, on=last)[0])
    told = 0
    for some in chunks(soon, _AT_ONCE):
        with ctx.db.write(actor.shop_id) as unit:
            told += _tell(ctx, unit, actor, some, last)
    return told


def _tell(ctx: Context, unit: Unit, actor: Actor, ids: Sequence[str], last: date) -> int:
    """Looked at again inside the transaction: somebody may just have come back."""
    today = ctx.today(ctx.shop(unit))
    days = {one.person_id: one.goes_on for one in keeping.fates_among(ctx, unit, untold.never_told(unit, ids))
            if not one.reasons and one.goes_on and today < one.goes_on <= last}  # fmt: skip
    return _tell_each(ctx, unit, actor, days)


def _tell_each(ctx: Context, unit: Unit, actor: Actor, days: Mapping[str, date]) -> int:
    visits, told = untold.last_visits(unit, days), []
    for person in people.recipients(unit, [one for one in days if one in visits]):
        visit_id = visits[person.person_id]
        to = _mail(ctx, unit, visit_id, person)
        if to:
            codes = {"person": person.person_id, "to": to, "goes_on": days[person.person_id].isoformat()}
            record(ctx, unit, actor, "time_to_forget", visit_id=visit_id, codes=codes)
            told.append(person.person_id)
    untold.mark_told(unit, told, at=ctx.clock())
    return len(told)


def _mail(ctx: Context, unit: Unit, visit_id: str, person: Recipient) -> str:
    """The one address that it may go to, as the code `to` of the event; empty where there is none."""
    allowed = tuple(reach for reach in person.reaches if PURPOSE in reach.purposes)
    facts = gather(unit, visit_id, channels_on=ctx.channels_on, bell=ctx.bell)
    reach = best_reach(NOTICES[NOTICE], replace(person, reaches=allowed), facts)
    return name_readers([(reach.channel, reach.contact_id)]) if reach else ""
