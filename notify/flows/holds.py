"""The hold after a contact was changed: for some hours the right ticket alone does not release a device.

What counts as a change: another address or number of whoever brought the device, or is told about it, noted after the
check-in. Not within the first hour while nothing had been sent about the visit: then it was mistyped, and nobody could
act on the wrong one. Whoever has the old contact is told at once; a stop that came from there silences that, one that
was said at the counter in the last hours does not, for a thief would say it first.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core.actors import Actor
from notify.core.errors import Conflict, NotAllowed
from notify.core.planner import name_readers
from notify.core.text import clean_block
from notify.flows.context import Context
from notify.flows.record import record
from notify.store import contact_changes, events, notes, people, tickets, visits
from notify.store.contact_changes import LaterContact
from notify.store.database import Unit
from notify.store.people import Contact

MISTYPED_WITHIN = timedelta(hours=1)  # our choice: they stand at the counter, or have just left it
BY_THE_READER = ("reply", "one_click")  # ways of stopping that only who reads the contact has


@dataclass(frozen=True, slots=True)
class Hold:
    """Since when and until when staff must check who collects; `contact_ids` are those noted too lately to prove it."""

    since: datetime
    until: datetime
    contact_ids: frozenset[str]


def hold_on(unit: Unit, visit_id: str, now: datetime, hours: int) -> Hold | None:
    """The hold on a visit's devices, if a contact was changed within so many hours; None too once it was lifted."""
    if hours <= 0:
        return None
    found = contact_changes.later_contacts(unit, visit_id, since=now - timedelta(hours=hours))
    told = contact_changes.first_told(unit, visit_id) if found else None
    lifted = _lifted(unit, visit_id) if found else None
    counted = [one for one in found if _is_change(one, told) and (lifted is None or one.at > lifted)]
    if not counted:
        return None
    newest = max(one.at for one in counted)
    return Hold(newest, newest + timedelta(hours=hours), frozenset(one.contact_id for one in counted))


def _is_change(one: LaterContact, told: datetime | None) -> bool:
    return (told is not None and told <= one.at) or one.at - one.opened_at > MISTYPED_WITHIN


def _lifted(unit: Unit, visit_id: str) -> datetime | None:
    story = events.story_of(unit, visit_id=visit_id)
    return max((event.at for event in story if event.kind == "hold_lifted"), default=None)


def lift_hold(ctx: Context, actor: Actor, visit_id: str, *, checked: str) -> None:
    """Ends the hold of a visit once staff made sure who it is; `checked` says how, in words.

    Raises Conflict when there is none, NotAllowed without words.
    """
    actor.need("hand_back")
    words = clean_block(checked, field="checked", limit=500)
    if len(words) < 5:
        raise NotAllowed("How did you make sure who this is?", "Write it in a few words.", field="checked")
    with ctx.db.write(actor.shop_id) as unit:
        visits.get_visit(unit, visit_id)
        if hold_on(unit, visit_id, ctx.clock(), ctx.shop(unit).hold_hours) is None:
            raise Conflict("Nothing holds this visit", "The claim ticket is enough.")
        event_id = lift_within(ctx, unit, actor, visit_id)
        ticket = tickets.tickets_of_visit(unit, visit_id)[0]
        notes.add_note(unit, ticket_id=ticket.id, person_id=ticket.person_id, text=words, at=ctx.clock(),
                       staff_id=actor.id, event_id=event_id)  # fmt: skip


def lift_within(ctx: Context, unit: Unit, actor: Actor, visit_id: str) -> str:
    """Notes that staff made sure, inside the caller's transaction, which keeps the words; the event's identifier."""
    return record(ctx, unit, actor, "hold_lifted", visit_id=visit_id).id


def who_is_told(ctx: Context, unit: Unit, visit_id: str, person_id: str, channel: str, *, hours: int) -> dict[str, str]:
    """The codes `person` and `to` of the event that a contact on `channel` changes; call it before it is changed.

    The contacts to be replaced, or where there is none the others the person has; only those to which something about
    the visit went, which work, and which are not in a device that is with us.
    """
    told = contact_changes.told_contacts(unit, visit_id)
    here = tickets.is_device_with_us(unit, visit_id)
    mine = people.contacts_of(unit, person_id)
    old = [one for one in mine if one.channel == channel] or list(mine)
    now = ctx.clock()
    ways = [
        (one.channel, one.id) for one in old
        if one.id in told and not one.undeliverable and not (one.in_repaired_device and here)
        and not _stopped(unit, one, now - timedelta(hours=hours))
    ]  # fmt: skip
    return {"person": person_id, "to": name_readers(ways)} if ways else {}


def _stopped(unit: Unit, contact: Contact, since: datetime) -> bool:
    """Whether its reader wants nothing: nothing is allowed, and they said so themselves, or long enough ago."""
    if people.allowed_uses(unit, [contact.person_id]).get(contact.person_id, {}).get(contact.channel):
        return False
    by_anybody = people.newest_withdrawal(unit, [contact.person_id], contact.channel, but_not=())
    by_others = people.newest_withdrawal(unit, [contact.person_id], contact.channel, but_not=BY_THE_READER)
    if by_anybody is None:
        return True  # nothing was ever allowed there
    return by_anybody != by_others or by_anybody <= since
