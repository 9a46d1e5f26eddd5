"""Whoever of the staff sees an address or number in clear stands in the access log; nobody else does."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import delete, select

from notify.core.actors import Actor
from notify.core.errors import NotAllowed, NotFound
from notify.core.sources import Batch, Change
from notify.flows import contact_reads, moves, paper_day, pickup, take_changes, view_calls
from notify.flows.check_in_form import DeviceForm
from notify.flows.hear_reply import Heard, hear
from notify.render.words import Words
from notify.store import doubts, people, visits
from notify.store import schema as s
from tests.web.conftest import Browser, make_app
from tests.web.every_route import every, fill_house
from tests.web.script_hand import script

CLEAR = ("07700 900123", "07700900123", "+447700900123", "+44 7700 900123", "ines@example.org")


def rows(house: Any) -> list[Any]:
    with house.read() as unit:
        return list(unit.connection.execute(select(s.contact_reads).order_by(s.contact_reads.c.at)))


@pytest.mark.long
def test_every_page_that_shows_an_address_in_clear_leaves_a_row(app: Flask, house: Any, signed_in: Browser) -> None:
    shown = unlogged = looked = 0
    for one in list(every(app, fill_house(house), methods=frozenset({"GET"}))):
        if ":" in one.who or one.who in ("staff", "demo") or not one.path.startswith(("/c/", "/p/", "/u/", "/feeds/")):
            with house.ctx.db.write(house.shop_id) as unit:
                unit.connection.execute(delete(s.contact_reads))
            answer = signed_in.open("GET", one.path)
            body = answer.get_data().decode(errors="replace")
            looked += 1
            if one.path != "/settings/api" and any(
                clear in body for clear in CLEAR
            ):  # there: an example that is invented
                shown += 1
                missing = not rows(house)
                unlogged += missing
                if missing:
                    print("shown without a row:", one.path)
    print(f"FIGURE contact_reads pages={looked} show={shown} unlogged={unlogged}")
    assert unlogged == 0


def in_clear(app: Flask, house: Any, browser: Browser) -> dict[str, Callable[[], str]]:
    """Code of the log -> what its place shows, in a shop where each of them has an address or a number to show."""
    done = house.check_in(DeviceForm("Kestrel radio"))
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    slot = pickup.offers(house.ctx, house.actor(), done.visit_id)[0].slot
    pickup.book(house.ctx, house.actor(), done.visit_id, slot.local, fold=slot.fold)
    house.check_in(DeviceForm("Otter camera"), email="", phone="01632 960456")
    house.deliver(after=91)
    hear(house.ctx, house.shop_id, Heard("email", "ute@example.net", "Hello?", house.clock(), "k", "mail"))
    told = Change(2, {"reference": "J-8", "phase": "done", "name": "Tomas Reed", "phone": "07700 900321"})
    take_changes.take(house.ctx, Actor(house.shop_id, "source", "bench"),
                      Batch("bench", "tickets", "UTC", {}, {}), [told])  # fmt: skip
    with house.read() as unit:
        person = visits.visit_people(unit, done.visit_id)["bringer"][0]
        (doubt,), contact = doubts.list_open(unit), people.contacts_of(unit, person)[0]
    ticket, day, words = (
        f"/tickets/{done.ticket_ids[0]}",
        slot.local.date(),
        Words(house.services.templates / "words", prefix="desk.").get("en"),
    )
    demo = Browser(make_app(house, demo=True), secret=browser.secret, shop_id=house.shop_id)
    return {
        "replies": lambda: browser.get("/replies").text,
        "sources": lambda: browser.get("/sources").text + browser.get(f"/doubts/{doubt.id}").text,
        "ticket": lambda: browser.post(f"{ticket}/contact/show", {"contact": contact.id}, seen=ticket).text,
        "paper": lambda: repr(paper_day.paper_day(house.ctx, house.actor(), day, words=words)),
        "letters": lambda: demo.get("/demo/mail").text,
        "api": lambda: script(app, house).ask("GET", f"/visits/{done.visit_id}/people").text,
        "day_sheet": lambda: browser.get("/").text,
    }


SHOWN = re.compile(r"7700 ?900 ?(123|321)|1632 ?960 ?456|ines@example\.org|ute@example\.net")


def test_each_place_that_has_one_to_show_notes_the_look_under_its_own_name(
    app: Flask, house: Any, signed_in: Browser
) -> None:
    shown, unlogged = [], []
    for place, look in in_clear(app, house, signed_in).items():
        with house.ctx.db.write(house.shop_id) as unit:
            unit.connection.execute(delete(s.contact_reads))
        if SHOWN.search(look()):
            shown.append(place)
            unlogged += [place] if place not in {row.place for row in rows(house)} else []
    print(f"FIGURE contact_reads_places shown={len(shown)} unlogged={len(unlogged)}")
    assert len(shown) == 7, shown
    assert unlogged == []


def test_one_number_is_shown_by_a_press_and_the_look_is_noted(house: Any, signed_in: Browser) -> None:
    done = house.check_in(DeviceForm("Kestrel radio"))
    with house.read() as unit:
        (person,) = visits.visit_people(unit, done.visit_id)["bringer"]
        contact = next(one for one in people.contacts_of(unit, person) if one.channel == "sms")
    page = f"/tickets/{done.ticket_ids[0]}"
    before = signed_in.get(page).get_data(as_text=True)
    assert contact.address[1:] not in before and "Show the number" in before and not rows(house)
    answer = signed_in.post(f"{page}/contact/show", {"contact": contact.id})
    assert answer.status_code == 200 and contact.address[1:] in answer.get_data(as_text=True)
    assert contact.address[1:] not in signed_in.get(page).get_data(as_text=True)
    (row,) = rows(house)
    assert (row.person_id, row.contact_id, row.place, row.times) == (person, contact.id, "ticket", 1)
    log = signed_in.get("/contact-reads").get_data(as_text=True)
    number = f"{done.numbers[0][:3]}-{done.numbers[0][3:]}"
    assert number in log and "on the ticket" in log and not any(clear in log for clear in CLEAR)


def test_looks_within_ten_minutes_are_one_row_and_later_ones_another(house: Any) -> None:
    owner = house.actor()
    for minutes in (0, 4, 9, 11):
        house.clock.set(house.clock() + timedelta(minutes=minutes and 1) if minutes != 11 else
                        house.clock() + timedelta(minutes=11))  # fmt: skip
        contact_reads.note(house.ctx, owner, "calls", [("p1", None), ("p2", None)])
    assert sorted((row.person_id, row.times) for row in rows(house)) == [("p1", 1), ("p1", 3), ("p2", 1), ("p2", 3)]
    contact_reads.note(house.ctx, house.customer(), "calls", [("p3", None)])  # a customer reads their own
    assert all(row.person_id != "p3" for row in rows(house))


def test_another_reader_and_another_place_are_rows_of_their_own(house: Any) -> None:
    for role, place in (("owner", "calls"), ("counter", "calls"), ("owner", "pickups"), ("owner", "calls")):
        contact_reads.note(house.ctx, house.actor(role), place, [("p1", None)])
    assert sorted((row.reader_id, row.place, row.times) for row in rows(house)) == [
        ("staff-counter", "calls", 1), ("staff-owner", "calls", 2), ("staff-owner", "pickups", 1),
    ]  # fmt: skip


def test_a_contact_of_another_visit_is_not_shown_by_this_ticket(house: Any) -> None:
    mine, other = house.check_in(), house.check_in(name="Noor Vale", phone="07700 900321", email="")
    with house.read() as unit:
        (person,) = visits.visit_people(unit, other.visit_id)["bringer"]
        (contact,) = people.contacts_of(unit, person)
    with pytest.raises(NotFound):
        contact_reads.show_contact(house.ctx, house.actor(), mine.ticket_ids[0], contact.id)
    assert rows(house) == []


def test_only_the_owner_reads_the_log(house: Any) -> None:
    for role in ("counter", "technician"):
        with pytest.raises(NotAllowed):
            contact_reads.view(house.ctx, house.actor(role))
    assert contact_reads.view(house.ctx, house.actor()).lines == ()


def test_a_list_of_calls_notes_whose_numbers_it_shows(house: Any) -> None:
    house.check_in(DeviceForm("Kestrel radio"), email="", phone="01632 960456")
    house.deliver(after=91)
    found = view_calls.view(house.ctx, house.actor("counter")).calls
    assert {row.person_id for row in rows(house)} == {one.person_id for one in found if one.phone}
