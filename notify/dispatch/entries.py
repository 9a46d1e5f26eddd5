"""The calendar object that goes with a message about a pickup: which notice carries one, to whom, in which order."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from notify.core.shop import Shop
from notify.render.invite import Invite, invite_bytes, later_stamp
from notify.store import bookings
from notify.store.bookings import Booking
from notify.store.database import Unit
from notify.store.messages import Message

# Notice -> the method of RFC 5546 by which it changes the customer's calendar. One table for object and mail header.
METHODS: dict[str, str] = {
    "pickup_confirmed": "REQUEST",
    "pickup_moved": "REQUEST",
    "pickup_cancelled": "CANCEL",
    "proposal_declined": "DECLINECOUNTER",
}
INVITES = frozenset(notice for notice, method in METHODS.items() if method == "REQUEST")
_FOR_THE_INVITED = frozenset({"CANCEL", "DECLINECOUNTER"})  # they mean something only where the entry is already


@dataclass(frozen=True, slots=True)
class Entry:
    """A calendar object as it leaves: `organizer` reads the answers, `stamp` is its DTSTAMP."""

    octets: bytes
    method: str
    organizer: str
    booking_id: str
    stamp: datetime


@dataclass(frozen=True, slots=True)
class Reader:
    """Whom a message goes to, as its texts name them; `words` are of the language they read."""

    contact_id: str
    address: str
    name: str
    words: Callable[..., str]


def entry_for(
    unit: Unit, message: Message, reader: Reader, *, shop: Shop, organizer: str, slot: Mapping[str, Any] | None,
    now: datetime,
) -> Entry | None:  # fmt: skip
    """The object for an e-mail, or None for a message that needs none. `organizer` holds `{token}`.

    A cancellation goes to the address that got the invite and to no other. No object is older than one before it,
    whatever the clock says. No claim number, link or fault in it: calendars are copied to third parties.
    """
    method, booking = METHODS.get(message.notice), _booking(unit, message)
    if method is None or booking is None or slot is None:
        return None
    if method in _FOR_THE_INVITED and not _has_entry(booking, reader.contact_id):
        return None
    stamp = later_stamp(now, booking.invite_stamp)
    address = organizer.replace("{token}", booking.organizer_token)
    octets = invite_bytes(Invite(
        uid=booking.uid, sequence=booking.revision, dtstamp=stamp, start=booking.start_at, end=booking.end_at,
        summary=reader.words("invite.summary", shop=shop.name),
        description=reader.words("invite.description", day=slot["day"], time=slot["time"]),
        location=slot["place"], organizer_name=shop.name, organizer_address=address,
        attendee_name=reader.name, attendee_address=reader.address, method=method,  # type: ignore[arg-type]
    ))  # fmt: skip
    return Entry(octets, method, address, booking.id, stamp)


def entry_stays(unit: Unit, message: Message, *, channel: str, contact_id: str) -> bool:
    """Whether this message cannot reach the entry that an earlier one put into somebody's calendar.

    Then its words ask them to do it by hand: after an invite by e-mail the news goes by text message, by phone, or
    to another address.
    """
    method, booking = METHODS.get(message.notice), _booking(unit, message)
    if booking is None or not booking.invited or method is None:
        return False
    by_mail = channel == "email"
    return not (by_mail and (method == "REQUEST" or _has_entry(booking, contact_id)))


def _has_entry(booking: Booking, contact_id: str) -> bool:
    return booking.invited and booking.invite_contact_id == contact_id


def _booking(unit: Unit, message: Message) -> Booking | None:
    return bookings.get_booking(unit, str(message.refs.get("booking", "")))
