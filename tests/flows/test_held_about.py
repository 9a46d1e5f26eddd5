"""E5: what somebody is given of their data equals what is held, and nothing of anybody else is in it.

GDPR art. 15(1) and (3): all of it; 15(4): not at the cost of others. The test reads every table by SQL of its own,
opens every sealed column with the key of the row, and looks for the text in the answer.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from email import message_from_bytes, policy
from typing import Any

import pytest
from sqlalchemy import LargeBinary, Table, select

from notify.core.claim_number import hide_tokens
from notify.core.errors import NotFound
from notify.core.one_click import hide_stop_links
from notify.flows import contact_codes, desk_notes, forget, passes, questions, reach, requests
from notify.flows.check_in_form import DeviceForm, PersonForm
from notify.flows.hear_reply import Heard, hear
from notify.flows.held_about import gather_held
from notify.flows.parts import need
from notify.store import held, schema, visits
from notify.store.opener import Place

pytestmark = pytest.mark.long

NAMES_PEOPLE = ("person_id", "sealed_for", "given_by")
# Sealed columns that are not told, with the reason that store/held gives, and the whole letters to others.
SECRET = {("tickets", "token_sealed"), ("contact_codes", "code_sealed")}

# Our own bookkeeping beside what is told: keys of rows, counters, the shop's dealings with suppliers and calendars.
INNER = frozenset(
    "id shop_id seq person_id sealed_for given_by visit_id ticket_id contact_id message_id event_id part_id kind_id "
    "follows_id supplier_id instead_of evidence_id staff_id ended_by row_key digest version changes revision wrong "
    "forgotten_at since rung_for article order_ref slip cost late_days told_late_at local_start zone fold seat invited "
    "reminded invite_stamp invite_contact_id reply_sequence reply_stamp stays state".split()
)
# Read by flows/held_about itself, since what a message says stands in its bytes, and only what went to this person.
MESSAGES = "messages"


def tables_about_people() -> Iterator[Table]:
    for table in schema.metadata.sorted_tables:
        sealed = any(isinstance(column.type, LargeBinary) for column in table.c)
        if table.name == "people" or sealed or any(name in table.c for name in NAMES_PEOPLE):
            yield table


def owner_of(table: Table, row: Any) -> str:
    """Whose row it is: whom it went to or who wrote it, else whoever it is about."""
    if table.name == "people":
        return str(row["id"])
    return str(row.get("person_id") or "")


def key_of(table: Table, row: Any) -> str:
    return str(row.get("sealed_for") or owner_of(table, row))


def plain_texts(unit: Any, table: Table, row: Any, column: str, sealed: bytes) -> list[str]:
    """What a reader sees of one sealed value: the lines of a mail, the cells of a row, or the text."""
    name = column.removesuffix("_sealed")
    data = unit.opener.open_bytes(key_of(table, row), Place(table.name, row["id"], name), sealed)
    if column == "bytes_sealed":
        if row["channel"] != "email":
            return []  # the sentence beside it is the same text
        mail = message_from_bytes(data, policy=policy.default)
        body = mail.get_body(("plain",))
        assert body is not None
        return [line for line in str(body.get_content()).splitlines() if line]
    text = str(data.decode())
    if column == "cells_sealed":
        return [str(one) for one in json.loads(text)["cells"].values()]
    return [text] if text else []


def everything(house: Any) -> dict[str, list[tuple[str, str]]]:
    """person -> (column, text) of all that is held about them; "" for what is nobody's here."""
    found: dict[str, list[tuple[str, str]]] = {}
    with house.read() as unit:
        for table in tables_about_people():
            if table.name in held.LEFT_OUT:
                continue
            for row in unit.connection.execute(select(table)).mappings():
                for column in (c.name for c in table.c if isinstance(c.type, LargeBinary) and row[c.name]):
                    where = f"{table.name}.{column}"
                    secret = (table.name, column) in SECRET
                    for text in plain_texts(unit, table, row, column, row[column]):
                        owner = f"secret:{owner_of(table, row)}" if secret else owner_of(table, row)
                        if table.name == "doubts":
                            owner = str(row["sealed_for"])
                        found.setdefault(owner, []).append((where, text))
    return found


def leaves(thing: Any) -> Iterator[str]:
    if isinstance(thing, dict):
        for one in thing.values():
            yield from leaves(one)
    elif isinstance(thing, list):
        for one in thing:
            yield from leaves(one)
    elif isinstance(thing, str):
        yield thing


def flat(text: str) -> str:
    """Without line ends: a mail's body is folded for its way, its sentence is not."""
    return " ".join(text.split())


def fill(house: Any) -> dict[str, str]:
    """Two customers in one visit, a delegate, another visit, and something in every place; name -> person."""
    ctx, owner = house.ctx, house.actor()
    done = house.check_in(
        DeviceForm("Kestrel pocket radio", "radio", fault="hums at dusk", condition="sticky dial", accessories="strap"),
        tell=PersonForm(name="Tobias Reed", phone="07700 900456", email="tobias@example.org"),
        payer=PersonForm(name="Petra Moss", phone="07700 900457", email=""),
    )  # fmt: skip
    other = house.check_in(DeviceForm("Otter camera", "camera", fault="stuck shutter"), name="Noor Vale",
                           phone="07700 900458", email="noor@example.org")  # fmt: skip
    for visit, note in ((done, "prefers the evening"), (other, "left a red bag")):
        desk_notes.add_note(ctx, owner, visit.ticket_ids[0], text=note)
        need(ctx, owner, visit.ticket_ids[0], name=f"part for {note}")
        asked = questions.ask(ctx, owner, visit.ticket_ids[0], kind="price", wording=f"About {note}: 40?", price="40")
        questions.answer(ctx, owner, asked, answer="accept", said_by=f"who {note}")
    passes.give(ctx, owner, done.visit_id, name="Ned Quay")
    passes.give(ctx, owner, other.visit_id, name="Olga Tern")
    contact_codes.send_code(ctx, owner, done.visit_id, purpose="lost_ticket")
    with house.read() as unit:
        roles = {role: ids[0] for role, ids in visits.visit_people(unit, done.visit_id).items()}
        bringer, noor = roles["bringer"], visits.visit_people(unit, other.visit_id)["bringer"][0]
    reach.set_contact(ctx, owner, done.visit_id, bringer, channel="email", address="ines.new@example.org")
    requests.ask(ctx, owner, done.visit_id, bringer, kind="correction", how="counter", note="my name is Inés",
                 made_sure="showed a passport")  # fmt: skip
    requests.ask(ctx, owner, other.visit_id, noor, kind="access", how="post", note="from Noor's letter")
    house.deliver(after=91)
    for sender, text in (("ines.new@example.org", "is the dial done?"), ("noor@example.org", "is the bag there?")):
        hear(ctx, house.shop_id, Heard("email", sender, text, house.clock(), text, "mail"))
    house.deliver(after=91)
    return {**roles, "noor": noor}


def test_what_is_given_is_all_that_is_held_and_nothing_of_anybody_else(house: Any) -> None:
    who = fill(house)
    texts = everything(house)
    missing: list[str] = []
    foreign: list[str] = []
    fields = 0
    for name in ("bringer", "tell", "payer", "noor"):
        person = who[name]
        with house.read() as unit:
            given = gather_held(house.ctx, unit, person)
        whole = flat("\n".join(leaves(given)))
        own = {text for _, text in texts[person]}
        for where, text in texts[person]:
            fields += 1
            if flat(hide_stop_links(hide_tokens(text))) not in whole and "code is" not in text:
                missing.append(f"{name}: {where}: {text[:40]}")
        for person_id, theirs in texts.items():
            may = {"Ned Quay"} if name == "bringer" else {"Olga Tern"} if name == "noor" else set()
            if person_id != person:
                shown = [f"{name}: {where}: {text[:40]}" for where, text in theirs
                         if text not in own | may and len(text) > 3 and where != "messages.bytes_sealed"
                         and not any(text in one for one in own) and flat(text) in whole]  # fmt: skip
                foreign.extend(shown)
        assert "staff-owner" not in whole and "Odile" not in whole
    print(f"FIGURE E5 people=4 fields={fields} fields_missing={len(missing)} foreign={len(foreign)}")
    assert fields > 40 and not missing and not foreign, (missing, foreign)


def test_every_table_that_names_a_person_has_its_place_or_a_reason_to_have_none() -> None:
    placed = {place.table.name for place in held.PLACES.values()} | {MESSAGES}
    named = {table.name for table in tables_about_people()}
    assert named <= placed | held.LEFT_OUT.keys(), named - placed - held.LEFT_OUT.keys()
    assert not placed & held.LEFT_OUT.keys() and all(held.LEFT_OUT.values())
    for place in held.PLACES.values():
        sealed = {c.name.removesuffix("_sealed") for c in place.table.c if isinstance(c.type, LargeBinary)}
        assert place.owner in place.table.c and sealed <= {*place.opened, *place.hidden}
        assert all(place.hidden.values())
        told = {*place.clear, *place.opened, *place.hidden} | INNER
        untold = {c.name for c in place.table.c if c.name.removesuffix("_sealed") not in told}
        assert not untold, f"{place.table.name}: {untold} are neither told nor named as our own"


def test_of_somebody_forgotten_nothing_is_given_and_it_says_that_they_are_gone(house: Any) -> None:
    done = house.check_in()
    with house.read() as unit:
        person = visits.visit_people(unit, done.visit_id)["bringer"][0]
    forget.erase_person(house.ctx, house.actor(), person)
    with house.read() as unit, pytest.raises(NotFound, match="was forgotten"):
        gather_held(house.ctx, unit, person)


def test_a_delegate_is_given_their_own_name_and_not_who_gave_them_the_pass(house: Any) -> None:
    done = house.check_in()
    passes.give(house.ctx, house.actor(), done.visit_id, name="Ned Quay")
    with house.read() as unit:
        p = schema.passes
        ned = unit.connection.execute(select(p.c.person_id).where(p.c.visit_id == done.visit_id)).scalar_one()
        given = gather_held(house.ctx, unit, ned)
    whole = "\n".join(leaves(given))
    assert given["person"][0]["name"] == "Ned Quay" and given["passes_held"][0]["numbers"]
    assert "Ines" not in whole and "Kestrel" not in whole
    assert "example.org" not in whole.replace("bench@example.org", "")
