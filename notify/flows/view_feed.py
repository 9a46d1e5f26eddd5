"""What the shop's own calendar reads: its pickups with the least that helps somebody at the counter.

A calendar is copied to whoever keeps it for the shop: so initials instead of names, the kind of device and its claim
number, which is no secret; nothing of how somebody is reached, of faults, prices or links.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from hashlib import sha256
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from notify.core.claim_number import show_number
from notify.core.mask import initials
from notify.core.shop import Shop
from notify.core.tickets import Phase
from notify.flows.context import Context
from notify.render.calendar_file import Entry, feed_bytes
from notify.render.words import Language
from notify.store import bookings, feeds, people
from notify.store.bookings import Booking
from notify.store.feeds import Device

BACK = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class FeedFile:
    """The calendar file and its strong entity tag (RFC 9110 8.8.3): other octets, another tag."""

    octets: bytes
    tag: str


def view_feed(ctx: Context, shop_id: str, words: Callable[[str], Language]) -> FeedFile:
    """Every pickup from 30 days back on, those given up too; changes nothing. `words` are those of messages.

    Names are read at each look, so that whoever was forgotten meanwhile has none.
    """
    with ctx.db.read(shop_id) as unit:
        shop = ctx.shop(unit)
        said = words(shop.language)
        found = bookings.bookings_since(unit, _first(ctx, shop))
        devices = feeds.devices_of(unit, (one.visit_id for one in found))
        known = people.people_by_id(unit, {one.person_id for one in found})
        names = {person.id: initials(person.name) for person in known.values()}
    entries = [_entry(one, devices.get(one.visit_id, ()), names.get(one.person_id, ""), said) for one in found]
    octets = feed_bytes(said("feed.name", shop=shop.name), entries)
    return FeedFile(octets, sha256(octets).hexdigest()[:32])


def _first(ctx: Context, shop: Shop) -> datetime:
    """The beginning of a day, so that what is too old leaves once a day and not with every look."""
    day = ctx.today(shop) - BACK
    return datetime.combine(day, time(0), tzinfo=ZoneInfo(shop.zone)).astimezone(UTC)


def _entry(booking: Booking, devices: Sequence[Device], who: str, said: Language) -> Entry:
    """Its uid is one of its own, made of the booking's identifier (RFC 9562 5.5), not the one that customers have."""
    meant = [one for one in devices if one.phase == Phase.ON_SHELF] if booking.state == "booked" else []
    listed = meant or devices
    kinds = ", ".join(said[f"device_class.{one.device_class}"] for one in listed)
    became = said[f"feed.{booking.state}"] if booking.state != "booked" else ""
    numbers = ", ".join(show_number(one.number) for one in listed)
    return Entry(
        str(uuid5(UUID(booking.id), "feed")), booking.changes, booking.changed_at, booking.start_at, booking.end_at,
        summary=f"{who}: {kinds}" if who else kinds, description="\n".join(one for one in (numbers, became) if one),
        cancelled=booking.state == "cancelled",
    )  # fmt: skip
