"""What one day at the counter needs, in one statement each for all its pickups together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select

from notify.store import people
from notify.store import schema as s
from notify.store.bookings import Booking
from notify.store.database import Unit


def bookings_of_day(unit: Unit, first: datetime, last: datetime) -> tuple[Booking, ...]:
    """Every booking that starts within [first, last), whatever became of it, in order of time."""
    t = s.bookings
    these = (t.c.shop_id == unit.shop_id, t.c.start_at >= first, t.c.start_at < last)
    rows = unit.connection.execute(select(t).where(*these).order_by(t.c.start_at, t.c.seat, t.c.made_at))
    names = list(Booking.__dataclass_fields__)
    return tuple(Booking(**{name: getattr(row, name) for name in names}) for row in rows)


@dataclass(frozen=True, slots=True)
class Company:
    """The people of some visits: their names by identifier, and visit -> who may collect besides the bringer."""

    names: Mapping[str, str]
    collectors: Mapping[str, tuple[str, ...]]


def company(unit: Unit, visits: Iterable[str]) -> Company:
    """Everybody in these visits; whoever was forgotten has no name."""
    p, who = s.visit_people, s.people
    query = (
        select(p.c.visit_id, p.c.role, who.c.id, who.c.name_sealed, who.c.forgotten_at)
        .join(who, (who.c.shop_id == p.c.shop_id) & (who.c.id == p.c.person_id))
        .where(p.c.shop_id == unit.shop_id, p.c.visit_id.in_(list(visits)))
        .order_by(p.c.person_id)
    )
    rows = unit.connection.execute(query).all()
    unit.opener.fetch({row.id for row in rows})
    found: dict[str, tuple[str, ...]] = {}
    for row in rows:
        if row.role == "collector":
            found[row.visit_id] = (*found.get(row.visit_id, ()), row.id)
    known = {row.id: row for row in rows if row.forgotten_at is None}
    return Company({i: unit.open(i, "people", i, "name", row.name_sealed) for i, row in known.items()}, found)


def phones(unit: Unit, persons: Iterable[str]) -> Mapping[str, str]:
    """Person -> a number in E.164 under which they can be called while their device is with us; none for the others.

    As people.phone_to_call says it for one of them.
    """
    found = people.contacts_of_all(unit, persons).items()
    numbers = ((person, people.number_to_call(own, device_with_us=True)) for person, own in found)
    return {person: number for person, number in numbers if number}
