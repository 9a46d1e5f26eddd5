"""Whoever of the staff sees an address or number in clear stands in the access log; nobody else does."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import select

from notify.cli.main import cli
from notify.core.errors import NotAllowed, NotFound
from notify.flows import contact_reads
from notify.flows.check_in_form import DeviceForm
from notify.store import api_tokens, messages, people, visits
from notify.store import schema as s
from notify.web.api.operations import ROOT
from tests.cli.test_commands_cut_off import READING
from tests.parts.clear_contacts import shown, spellings, text_of
from tests.watch.test_watch_command import WATCHED
from tests.web.clear_house import fill
from tests.web.conftest import Browser, make_app
from tests.web.contact_walk import HouseDesk, Walk, config_of
from tests.web.every_route import every
from tests.web.script_hand import script

CLEAR = ("07700 900123", "07700900123", "+447700900123", "+44 7700 900123", "ines@example.org")


def rows(house: Any) -> list[Any]:
    with house.read() as unit:
        return list(unit.connection.execute(select(s.contact_reads).order_by(s.contact_reads.c.at)))


def pages(walk: Walk, app: Flask, values: Mapping[str, str], owner: Browser, left_out: Set[str]) -> None:
    """Every page and every question of a script, of the demo too; of messages one of each way and state."""
    house, demo = walk.house, Browser(make_app(walk.house, demo=True), secret=owner.secret, shop_id=owner.shop_id)
    hand = script(app, house)
    with house.read() as unit:
        (token,) = [one.id for one in api_tokens.list_tokens(unit)]
        letters = {(one.channel, one.state): one.id for one in messages.list_messages(unit)}
    for message_id in letters.values():
        for one in every(app, {**values, "message_id": message_id}, methods=frozenset({"GET"})):
            if one.who in left_out or (message_id not in one.path and message_id != next(iter(letters.values()))):
                continue  # the others were looked at before
            reader = token if one.who == "token" else owner.staff_id
            answer = (
                hand.ask("GET", one.path.removeprefix(ROOT)) if one.who == "token"
                else (demo if one.who == "demo" else owner).get(one.path)
            )  # fmt: skip
            assert answer.status_code < 500, one.path
            walk.saw(one.rule, reader, answer.data)


def commands(
    walk: Walk, values: Mapping[str, str], owner: str, folder: Path, capsys: Any, names: Iterable[str]
) -> None:
    """Every command that only shows, in words and as JSON, and the file that it writes."""
    config, file = config_of(walk.house), folder / "written"
    config.write_text(config.read_text("utf-8") + WATCHED, "utf-8")
    for name in names:
        for form in ([], ["--json"]):
            file.unlink(missing_ok=True)
            words = [*name.split(), *READING[name].format(file=file, **values).split(), *form]
            capsys.readouterr()
            cli.main(words, prog_name="shelfbell", standalone_mode=False, obj=HouseDesk(walk.house, folder))
            written = text_of(file.read_bytes()) if file.exists() else ""
            walk.saw(" ".join(["shelfbell", name, *form]), owner, (capsys.readouterr().out + written).encode())


# Each role is watched on the pages of staff in test_roles_on_pages.py; the commands render every text, and pictures.
ELSEWHERE = frozenset({"staff", "check", "forecast picture"})
PLACES = {"day_sheet", "calls", "pickups", "hits", "replies", "sources", "paper", "ticket", "api", "letters", "request"}
# What reads a whole thing and says less of it is noted as if it had said all.
NEEDLESS = {
    "/tickets/<ticket_id>/earlier", "shelfbell doubt list", "shelfbell pickup list", "shelfbell ticket show",
}  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize(
    "left_out", [ELSEWHERE, pytest.param(frozenset(), marks=pytest.mark.deep)], ids=["some", "all"]
)
def test_wherever_staff_or_scripts_are_given_a_contact_in_clear_the_log_says_whose(
    app: Flask, house: Any, signed_in: Browser, tmp_path: Path, capsys: Any, left_out: frozenset[str]
) -> None:
    full = fill(house)
    walk = Walk(house, full.planted)
    pages(walk, app, full.values, signed_in, left_out)
    commands(walk, full.values, signed_in.staff_id, tmp_path, capsys, sorted(READING.keys() - left_out))
    print(f"FIGURE contact_reads_walk places={walk.places} showing={walk.showing.total()} "
          f"unlogged={len(walk.unlogged)} needless={len(walk.needless)}")  # fmt: skip
    assert walk.unlogged == []
    assert walk.showing.keys() == PLACES - ({"day_sheet"} if left_out else set())
    assert set(walk.needless) == {one for one in NEEDLESS if not left_out or one.startswith("shelfbell")}


def test_the_search_finds_a_contact_in_every_spelling_and_a_look_without_a_row(house: Any) -> None:
    planted = {"07700 900123": "p1", "Ute.Fenn@example.org": "p2"}
    for text in spellings(planted):
        assert len(shown(f"<p>call {text}, please</p>".encode(), planted)) == 1, text
    assert not shown(b"+44 .... ... 123, u..@example.org, 07700 900124", planted)
    walk = Walk(house, planted)
    contact_reads.note(house.ctx, house.actor(), "calls", [("p1", None)])
    walk.saw("logged", "staff-owner", b"07700900123")
    walk.saw("not logged", "staff-owner", b"07700900123")
    contact_reads.note(house.ctx, house.actor("counter"), "calls", [("p1", None)])
    walk.saw("of somebody else", "staff-owner", b"07700900123")
    assert walk.unlogged == ["not logged", "of somebody else"]


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
