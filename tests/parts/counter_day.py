"""A day at the counter with many pickups, made by the flows that a shop uses."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from notify.core.events import Event
from notify.core.slots import Slot
from notify.flows import pickup
from notify.flows.check_in_form import DeviceForm
from notify.store import bookings, events, visits
from tests.parts.shelved import shelve


def shelved_visit(house: Any, name: str, **whom: Any) -> Any:
    """One checked-in radio that lies on the shelf."""
    whom = {"email": f"{name.lower()}@example.org", "phone": "07700 900123", **whom}
    done = house.check_in(DeviceForm(f"{name}s radio", "radio", price_agreed="24", shelf="A4"), name=name, **whom)
    shelve(house, done.ticket_ids[0])
    return done


def booked(house: Any, name: str, local: datetime, **whom: Any) -> Any:
    """A visit with a pickup at the shop's wall time; (what was checked in, the booking)."""
    done = shelved_visit(house, name, **whom)
    return done, pickup.book(house.ctx, house.actor(), done.visit_id, local)


def set_clock(house: Any, *parts: int) -> datetime:
    """Sets the clock to a UTC time."""
    moment = datetime(*parts, tzinfo=UTC)  # type: ignore[arg-type,misc]
    house.clock.advance((moment - house.clock()).total_seconds())
    return moment


def past_pickup(
    house: Any, number: int, start: datetime, *, state: str, after: float = 0, seconds: int | None = None
) -> str:
    """A pickup of the past written down as the flows write it, `after` minutes from its start; the visit."""
    done = house.check_in(DeviceForm("Radio"), name=f"Past {number}")
    at = start + timedelta(minutes=after)
    with house.ctx.db.write(house.shop_id) as unit:
        slot = Slot(start.replace(tzinfo=None), "Europe/London", 0, start, start + timedelta(minutes=15), 50)
        made = bookings.add_booking(unit, visit_id=done.visit_id, person_id=whose(unit, done.visit_id), slot=slot,
                                    seat=bookings.free_seat(unit, slot), uid=unit.new_id(),
                                    organizer_token=unit.new_id(), at=start)  # fmt: skip
        booking = bookings.get_booking(unit, made)
        assert booking is not None
        bookings.close_booking(unit, booking, state, at=at)
        if state == "kept":
            add_handover(unit, done.visit_id, at, seconds)
    return str(done.visit_id)


def whose(unit: Any, visit_id: str) -> str:
    """Who is told about a visit."""
    return visits.visit_people(unit, visit_id)["tell"][0]


def add_handover(unit: Any, visit_id: str, at: datetime, seconds: int | None) -> None:
    """The event of a handover, with the seconds it took where they were measured."""
    codes: dict[str, str | int] = {"how": "claim_ticket"} | ({"seconds": seconds} if seconds is not None else {})
    events.append(unit, Event(unit.new_id(), "handover_done", at, visit_id, codes=codes), recorded_at=at)
