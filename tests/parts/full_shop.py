"""A shop in the middle of a day: a ticket in every phase, questions, parts, a pickup, a call, somebody forgotten."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import time, timedelta
from pathlib import Path
from typing import Any

import pytest

from notify.flows import calls, desk_notes, forget, handover, moves, parts, pickup, promises, questions, set_up
from notify.flows.check_in_form import DeviceForm
from notify.flows.pickup import offers
from notify.store import messages, tickets
from tests.parts.clock import FakeClock
from tests.parts.databases import fill_with_tables
from tests.parts.house import make_house
from tests.parts.left import leave

STEPS = ("inspecting", "in_line", "on_bench", "proving", "on_shelf")


@dataclass
class FullShop:
    """The house and the identifiers of its tickets, parts and questions by the names used below."""

    house: Any
    tickets: dict[str, str] = field(default_factory=dict)
    visits: dict[str, str] = field(default_factory=dict)
    parts: dict[str, str] = field(default_factory=dict)
    questions: dict[str, str] = field(default_factory=dict)
    bookings: dict[str, str] = field(default_factory=dict)

    def take_in(self, key: str, /, *devices: DeviceForm, **whom: Any) -> str:
        """Checks in and remembers the first ticket; a few minutes pass, since nothing happens at one instant."""
        done = self.house.check_in(*devices, **whom)
        self.tickets[key], self.visits[key] = done.ticket_ids[0], done.visit_id
        self.house.clock.advance(300)
        return str(done.ticket_ids[0])

    def move(self, name: str, *steps: str, **how: Any) -> None:
        """Takes a ticket along."""
        for step in steps:
            self.house.clock.advance(60)
            moves.move(self.house.ctx, self.house.actor(), self.tickets[name], step, **how)

    def token(self, name: str) -> str:
        """A ticket's claim secret."""
        with self.house.read() as unit:
            return tickets.get_ticket(unit, self.tickets[name]).token


def forgotten(shop: FullShop) -> None:
    """One repair handed back 100 days ago; the person and all words were erased."""
    house = shop.house
    house.clock.advance(-timedelta(days=100).total_seconds())
    shop.take_in("forgotten", DeviceForm("Halyard radio", "radio", fault="hums", price_agreed="30"), name="Wilma Ost")
    shop.move("forgotten", "inspecting")
    asked = questions.ask(
        house.ctx, house.actor(), shop.tickets["forgotten"], kind="price", wording="Up to 30?", price="30"
    )
    questions.answer(house.ctx, house.actor(), asked, answer="accept", said_by="Wilma, on the phone")
    part = parts.need(house.ctx, house.actor(), shop.tickets["forgotten"], name="Dial cord")
    parts.arrive(house.ctx, house.actor(), part)
    desk_notes.add_note(house.ctx, house.actor(), shop.tickets["forgotten"], text="Wilma likes tea")
    shop.move("forgotten", *STEPS[1:])
    desk_notes.record_money(house.ctx, house.actor(), shop.tickets["forgotten"], paid=True)
    house.deliver(after=91)
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[shop.tickets["forgotten"]], token=shop.token("forgotten"))
    house.deliver(after=91)
    house.clock.advance(timedelta(days=100).total_seconds() - 3000)
    assert forget.forget(house.ctx, house.system()).due


def suppliers(shop: FullShop) -> None:
    """Two suppliers with their habits, and a closed day."""
    house = shop.house
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern Spares", cutoff=time(17), delivers_at=time(10), days=1)
    set_up.put_supplier(house.ctx, house.actor(), name="Mole End Parts", cutoff=None, delivers_at=None, days=3)
    set_up.add_special_day(
        house.ctx, house.actor(), house.ctx.clock().date() + timedelta(days=30), reason="Harbour fair"
    )


def waiting(shop: FullShop) -> None:
    """Tickets that wait: for nobody yet, for a part (late, due, not ordered), for the customer, for the bench."""
    house, ctx, actor = shop.house, shop.house.ctx, shop.house.actor()
    shop.take_in(
        "new", DeviceForm("Fenlight e-reader", "e_reader", fault="Does not charge", safety=("swollen",), shelf="tin")
    )
    shop.take_in(
        "late", DeviceForm("Otter 220 camera", "camera", fault="Shutter sticks", shelf="A1"), name="Sam Ferris"
    )
    shop.move("late", "inspecting", "in_line")
    shop.parts["late"] = parts.need(ctx, actor, shop.tickets["late"], name="Shutter spring")
    parts.order(ctx, actor, shop.parts["late"], supplier="Lantern Spares", due=ctx.clock() + timedelta(minutes=20))
    house.clock.advance(3600)
    shop.take_in("due", DeviceForm("Harbour 3 radio", "radio", fault="No sound"), name="Jo Penn")
    shop.move("due", "inspecting", "in_line")
    for name in ("due", "more"):
        shop.parts[name] = parts.need(ctx, actor, shop.tickets["due"], name=f"Coil {name}", supplier="Lantern Spares",
                                      due=ctx.clock() + timedelta(hours=2))  # fmt: skip
    shop.take_in("unordered", DeviceForm("Pebble handheld", "handheld", fault="No speaker"))
    shop.parts["unordered"] = parts.need(ctx, actor, shop.tickets["unordered"], name="Speaker")
    shop.take_in("asked", DeviceForm("Harbour 2 radio", "radio", fault="Case cracked"), name="Pat Marlow")
    shop.questions["asked"] = questions.ask(ctx, actor, shop.tickets["asked"], kind="substitute_part",
                                            wording="The case came in grey. Fit it?", price="38")  # fmt: skip
    shop.take_in("line", DeviceForm("Gannet radio", "radio", fault="Dial slips", price_agreed="34.50", shelf="B2"))
    shop.move("line", "inspecting", "in_line")
    promises.promise(ctx, actor, shop.tickets["line"], ctx.clock() + timedelta(hours=5))
    shop.take_in("answered", DeviceForm("Lumen camera", "camera", fault="Lens stuck"))
    shop.questions["answered"] = questions.ask(ctx, actor, shop.tickets["answered"], kind="price",
                                               wording="It costs 45.", price="45")  # fmt: skip
    house.clock.advance(120)
    questions.answer(ctx, actor, shop.questions["answered"], answer="accept", said_by="Ines on the phone")


def at_work(shop: FullShop) -> None:
    """On the bench, being proved, ready with and without a time, handed back, left behind; a call; a call logged."""
    house, ctx, actor = shop.house, shop.house.ctx, shop.house.actor()
    shop.take_in("bench", DeviceForm("Kestrel radio", "radio", fault="Crackles"))
    shop.move("bench", *STEPS[:3])
    shop.parts["arrived"] = parts.need(ctx, actor, shop.tickets["bench"], name="Volume pot", supplier="Lantern Spares")
    parts.arrive(ctx, actor, shop.parts["arrived"])
    shop.take_in("proving", DeviceForm("Tern handheld", "handheld", fault="Button stuck"))
    shop.move("proving", *STEPS[:4])
    shop.take_in("ready", DeviceForm("Otter 110 camera", "camera", fault="Film door", price_agreed="24", shelf="A4"),
                 DeviceForm("Otter bag radio", "radio"), name="Noor Vale", collectors=("Mia Oland",))  # fmt: skip
    shop.move("ready", *STEPS)
    shop.take_in("shelf", DeviceForm("Slate e-reader", "e_reader", fault="Frozen"))
    shop.move("shelf", "on_shelf", outcome="unrepaired", reason="not_repairable")
    shop.take_in("call", DeviceForm("Lark radio", "radio", fault="Silent"), name="Ida Poole", phone="", email="")
    shop.move("call", *STEPS)
    shop.take_in("back", DeviceForm("Wren radio", "radio"))
    shop.move("back", *STEPS)
    handover.hand_back(ctx, actor, ticket_ids=[shop.tickets["back"]], token=shop.token("back"))
    shop.take_in("left", DeviceForm("Foolscap e-reader", "e_reader"))
    shop.move("left", *STEPS)
    leave(ctx, actor, shop.tickets["left"])
    house.deliver(after=91)
    slot = offers(ctx, actor, shop.visits["ready"])[0].slot
    shop.bookings["ready"] = pickup.book(ctx, actor, shop.visits["ready"], slot.local, fold=slot.fold).id
    with house.read() as unit:
        task = messages.list_messages(unit, states=("to_call",))[0]
    calls.log_call(ctx, actor, task.id, result="nobody_there", note="rings out")
    house.deliver()


def fill(house: Any) -> FullShop:
    """The whole day; it is a little before noon when it ends."""
    shop = FullShop(house)
    for act in (forgotten, suppliers, waiting, at_work):
        act(shop)
    return shop


@pytest.fixture(scope="module", params=["sqlite", pytest.param("postgresql", marks=pytest.mark.real)])
def full_day(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FullShop]:
    """One filled shop for all tests of a file that only look at it; tests that change something fill their own."""
    folder: Path = tmp_path_factory.mktemp("full_day")
    server = request.getfixturevalue("postgres_server") if request.param == "postgresql" else None
    name = server.lend() if server else ""
    url = server.url(name) if server else f"sqlite:///{folder / 'full.db'}"
    if not server:
        fill_with_tables(url)
    house = make_house(folder, url, clock=FakeClock())
    yield fill(house)
    house.services.close()
    if server:
        server.give_back(name)
