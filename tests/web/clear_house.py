"""A house in which each page, command and question of a script that may show an address or number has one to show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import timedelta
from typing import Any

from notify.core.actors import Actor
from notify.core.messages import MessageState
from notify.core.sources import Batch, Change
from notify.flows import pickup, set_up, staff_bell, take_changes
from notify.flows.check_in_form import DeviceForm, PersonForm
from notify.flows.hear_reply import Heard, hear
from notify.store import doubts, messages, staff, visits
from tests.parts.shelved import shelve
from tests.web.every_route import fill_house

# Who is taken in, with number and address as typed, in several spellings: numbers of the ranges that Ofcom keeps free
# for stories, names of RFC 2606.
INES = PersonForm("Ines Farrow", "07700 900123")  # by fill_house; her address also stands in an example on a page
LATE = PersonForm("Lotte Pier", "+44 (0)7700 900301", "Lotte.Pier@example.ORG")
HIT = PersonForm("Hanno Reed", "0044 7700 900302", "hanno@example.net")
CALL = PersonForm("Ida Poole", "01632 960-303", phone_purposes=())  # no text is allowed there, so she is called
BROUGHT = PersonForm("Bela Fenn", "(07700) 900304", "bela@example.com")
TOLD = PersonForm("Tova Marsh", "07700.900.305", "tova@example.org")
PAYS = PersonForm("Piet Sand", "07700 900306", "piet@example.org")
STRANGERS = {"email": "ute@example.net", "sms": "+447700900307"}
SOMEBODY_ELSE = "enno@example.net"
SOURCE = {"name": "Tomas Reed", "phone": "07700 900308", "email": "tomas@example.net"}
RINGS = ("07700 900309", "ada@example.com")  # where the bell rings for one of the staff


@dataclass(frozen=True, slots=True)
class ClearHouse:
    """`values` fill the places of routes and commands; `planted` is contact -> who the access log says was seen (a
    person, or the reply or change by which alone somebody is known), "" for what no place may show."""

    values: dict[str, str]
    planted: Mapping[str, str]


def fill(house: Any) -> ClearHouse:
    """One of everything, and beside it each kind of contact; the clock stands where somebody is late."""
    values = fill_house(house)
    planted = _contacts(house, values["visit_id"], bringer=INES)
    visit = {who.name: _ready(house, who) for who in (HIT, CALL, LATE)}
    for who in (HIT, CALL, LATE):
        planted |= _contacts(house, visit[who.name], bringer=who)
    brought = house.check_in(DeviceForm("Gannet radio"), **asdict(BROUGHT), tell=TOLD, payer=PAYS)
    planted |= _contacts(house, brought.visit_id, bringer=BROUGHT, tell=TOLD, payer=PAYS)
    planted |= _heard(house, values["visit_id"]) | _told_by_source(house) | dict.fromkeys(RINGS, "")
    with house.ctx.db.write(house.shop_id) as unit:
        jonas = staff.add_staff(unit, name="Jonas", role="technician", password_hash="", pin_hash="", at=house.clock())
    staff_bell.set_bell(house.ctx, house.actor(), jonas, phone=RINGS[0], email=RINGS[1])
    _book(house, visit[LATE.name], visit[HIT.name])
    return ClearHouse(values | {"doubt_id": planted[SOURCE["phone"]]}, planted)


def _ready(house: Any, who: PersonForm) -> str:
    done = house.check_in(DeviceForm("Slate e-reader"), **asdict(who))
    shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    return str(done.visit_id)


def _contacts(house: Any, visit_id: str, **by_role: PersonForm) -> dict[str, str]:
    with house.read() as unit:
        people = visits.visit_people(unit, visit_id)
    return {contact: people[role][0] for role, who in by_role.items() for contact in (who.phone, who.email) if contact}


def _heard(house: Any, visit_id: str) -> dict[str, str]:
    """Two strangers, and somebody who answers from an address that is not the one our message went to."""
    with house.read() as unit:
        ours = next(
            one.id for one in messages.messages_of_visit(unit, visit_id)
            if one.state == MessageState.SENT and one.person_id
        )  # fmt: skip
    letters = [(channel, who, ()) for channel, who in STRANGERS.items()] + [("email", SOMEBODY_ELSE, (ours,))]
    return {
        who: hear(house.ctx, house.shop_id, Heard(channel, who, "Is it done?", house.clock(), who, "mail", "", answers))
        for channel, who, answers in letters
    }


def _told_by_source(house: Any) -> dict[str, str]:
    """A change that waits for a person and names one."""
    actor, batch = Actor(house.shop_id, "source", "bench"), Batch("bench", "tickets", "UTC", {}, {})
    take_changes.take(house.ctx, actor, batch, [Change(3, {"reference": "J-8", "phase": "done", **SOURCE})])
    with house.read() as unit:
        (waits,) = [one.id for one in doubts.list_open(unit) if "phone" in one.cells]
    return {SOURCE["phone"]: waits, SOURCE["email"]: waits}


def _book(house: Any, late: str, hit: str) -> None:
    """A pickup whose time is past by a quarter of an hour, and one on a day that is closed by now."""
    ctx, owner = house.ctx, house.actor()
    soon, then = pickup.offers(ctx, owner, late)[0].slot, pickup.offers(ctx, owner, hit)[-1].slot
    for visit, slot in ((late, soon), (hit, then)):
        pickup.book(ctx, owner, visit, slot.local, fold=slot.fold)
    set_up.add_special_day(ctx, owner, then.local.date(), reason="storm")
    house.clock.set(soon.start + timedelta(minutes=15))
