"""The ledger of consents and the list of stops, through the flows that write and ask them, on both databases.

Sources stand beside the checks: GDPR art. 7(1) (consent must be shown), 7(3) (withdrawing as easy as giving), 47 CFR
64.1200(a)(10) and (12), the published vectors for the hash. That a stop outlives forgetting is general practice (the
project's facts on messages, section 3.2).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DatabaseError

from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid
from notify.core.one_click import Use
from notify.core.sources import Batch, Change
from notify.flows import check_in, forget, keys, pads, reach, stop_by_link, suppressions, take_changes
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.flows.hear_reply import Heard, hear
from notify.flows.view_consents import Said, proof
from notify.store import consents, people, schema, tickets
from tests.flows.conftest import REFUSED, Lines
from tests.parts.shelved import shelve
from tests.parts.turning import Turned

EVERY = ("repair", "pickup", "afterwards")
SERVICE = ("repair", "pickup")
PHONE, E164 = "07700 900123", "+447700900123"


def person_of(lines: Lines, done: Any) -> str:
    with lines.house.read() as unit:
        return tickets.get_ticket(unit, done.ticket_ids[0]).person_id


def texted(lines: Lines, **more: Any) -> Any:
    """A customer with a number only."""
    return lines.house.check_in(email="", **more)


def stop(lines: Lines, done: Any, *, channel: str = "sms", how: str = "counter", purposes: Any = EVERY) -> None:
    reach.set_use(lines.house.ctx, lines.house.actor(), done.visit_id, person_of(lines, done), channel=channel,
                  purposes=purposes, allowed=False, how=how)  # fmt: skip


def said(lines: Lines, done: Any) -> tuple[Said, ...]:
    seen = proof(lines.house.ctx, lines.house.actor("counter"), done.numbers[0])
    return tuple(one for who in seen.people for one in who.said)


def reply(lines: Lines, words: str) -> str:
    house = lines.house
    house.clock.advance(60)
    return hear(house.ctx, house.shop_id, Heard("sms", E164, words, house.clock(), f"{house.clock()}", "sms"))


def rows(lines: Lines, table: Any) -> list[Any]:
    with lines.house.read() as unit:
        return list(unit.connection.execute(select(table)))


# State -> what becomes of the receipt (the visit's first message, by e-mail) and why; from tests/core's table.
STATES = {
    "never asked": ("skipped", "not_allowed"), "given": ("sent", ""), "withdrawn": ("dropped", "not_allowed"),
    "stopped all": ("dropped", "not_allowed"), "suppressed": ("skipped", "not_allowed"),
    "stopped by another": ("dropped", "suppressed"), "child": ("sent", ""),
    "undeliverable": ("skipped", "undeliverable"),
    "in the repaired device": ("skipped", "number_in_device"), "forgotten": ("dropped", "forgotten"),
    "replaced address": ("sent", ""),
}  # fmt: skip


@pytest.mark.parametrize("state", sorted(STATES))
def test_the_receipt_goes_or_does_not_as_the_table_of_states_says(lines: Lines, state: str) -> None:
    house, ctx = lines.house, lines.house.ctx
    whom: dict[str, Any] = {"phone": "", "email_purposes": SERVICE}
    if state == "never asked":
        whom["email_purposes"] = ()
    if state == "child":
        whom["child"] = True
    if state == "in the repaired device":
        whom = {"email": "", "phone": PHONE, "number_is_device": True}
    if state == "suppressed":
        suppressions.add(ctx, house.actor(), channel="email", address="ines@example.org")
    if state == "undeliverable":
        lines.mail_line.answer = REFUSED
        house.check_in(**whom)
        house.deliver(after=91)
        lines.mail_line.answer = None
    done = house.check_in(**whom)
    person = person_of(lines, done)
    if state in ("withdrawn", "stopped all"):
        stop(lines, done, channel="email", purposes=("repair",) if state == "withdrawn" else EVERY)
    if state == "stopped by another":
        suppressions.add(ctx, house.actor(), channel="email", address="Ines@example.org")
    if state == "forgotten":
        forget.erase_person(ctx, house.actor(), person)
    if state == "replaced address":
        reach.set_contact(ctx, house.actor(), done.visit_id, person, channel="email", address="new@example.net")
    house.deliver(after=91)
    ((_, became, why),) = lines.states(done.visit_id, "checked_in")
    assert (became, why) == STATES[state]
    if state == "replaced address":
        assert lines.mail.sent[-1].to == "new@example.net"


def test_nothing_in_the_ledger_can_be_changed_or_removed_while_its_person_is_known(lines: Lines) -> None:
    house = lines.house
    done = texted(lines)
    before = rows(lines, schema.consents)
    changes = [
        f"update consents set {c.name} = null where 1 = 1"
        for c in schema.consents.c
        if c.nullable and c.name != "lookup"
    ]
    changes += ["update consents set allowed = not allowed", "update consents set wording = 'x'",
                "delete from consents",
                "update consents set seq = seq + 7", "update consents set purpose = 'afterwards'"]  # fmt: skip
    refused = 0
    for change in changes:
        with pytest.raises(DatabaseError, match="append-only"), house.ctx.db.write(house.shop_id) as unit:
            unit.connection.execute(text(change))
        refused += 1
    assert rows(lines, schema.consents) == before and len(before) == 2 and all(row.lookup for row in before)
    forget.erase_person(house.ctx, house.actor(), person_of(lines, done))
    left = rows(lines, schema.consents)
    assert [row.lookup for row in left] == [None, None] and [row.wording for row in left] == ["repair-1", "pickup-2"]
    with house.ctx.db.write(house.shop_id) as unit:  # and then the rule of keeping may remove them
        assert unit.connection.execute(text("delete from consents")).rowcount == 2
    print(f"FIGURE ledger database={'sqlite' if house.ctx.db.is_sqlite else 'postgresql'} tried={refused} changed=0")


def test_each_way_of_saying_it_leaves_its_own_row_with_its_words_and_what_shows_it(lines: Lines) -> None:
    house, ctx = lines.house, lines.house.ctx
    counter = texted(lines, phone_purposes=EVERY)
    _, page = pads.pages_of(ctx, house.actor(), pads.make_pad(ctx, house.actor(), tickets=1)), None
    number = page or pads.list_pads(ctx, house.actor())[0].left[0]
    form = PersonForm("Noor Vale", "07700 900456")
    pad = check_in.check_in(ctx, house.actor(), VisitForm(form, (DeviceForm("Otter camera", pad=number),)))
    script = Actor(house.shop_id, "script", "token-1", scopes=frozenset({"tickets:write"}))
    api = check_in.check_in(ctx, script, VisitForm(PersonForm("Ada", "07700 900457"), (DeviceForm("Fenlight"),)))
    command = check_in.check_in(ctx, house.actor(), VisitForm(PersonForm("Bo", "07700 900458"), (DeviceForm("Fen"),)),
                                how="command")  # fmt: skip
    cells = {"reference": "J-1", "device": "Kestrel", "name": "Cy", "phone": "07700 900459"}
    bench = Actor(house.shop_id, "source", "bench")
    take_changes.take(ctx, bench, Batch("bench", "tickets", "UTC", {}, {}), [Change(2, cells)])
    by = {row.how: row for row in rows(lines, schema.consents)}
    assert set(by) == {"counter", "pad", "api", "command", "source"}
    for how, done in {"counter": counter, "pad": pad, "api": api, "command": command}.items():
        assert by[how].evidence_id == done.visit_id, how
    use = Use(person_of(lines, counter), "sms", "afterwards")
    found = stop_by_link.find(ctx, use)
    assert found is not None and stop_by_link.stop(ctx, found, use)
    reply_id = reply(lines, "STOP")
    stop(lines, pad, how="claim_page")
    newest = {row.how: row for row in rows(lines, schema.consents) if not row.allowed}
    assert set(newest) == {"one_click", "reply", "claim_page"}
    assert newest["reply"].evidence_id == reply_id and newest["reply"].wording == "reply-1"
    assert newest["one_click"].purpose == "afterwards" and newest["claim_page"].evidence_id == pad.visit_id
    english = house.services.words.get("en")
    assert {one.text for one in said(lines, pad) if one.allowed} == {
        english["consent.repair"],
        english["consent.pickup"],
    }


def test_words_that_were_changed_under_the_same_version_are_another_version_and_old_rows_keep_theirs(
    lines: Lines,
) -> None:
    house = lines.house
    with house.ctx.db.write(house.shop_id) as unit:
        first = consents.keep_wordings(unit, {"repair": "repair-1"}, {"repair": "One."}, "it", at=house.clock())
        again = consents.keep_wordings(unit, {"repair": "repair-1"}, {"repair": "One."}, "it", at=house.clock())
        other = consents.keep_wordings(unit, {"repair": "repair-1"}, {"repair": "Two."}, "it", at=house.clock())
        german = consents.keep_wordings(unit, {"repair": "repair-1"}, {"repair": "Eins."}, "de", at=house.clock())
    assert first == again == german == {"repair": "repair-1"} and other["repair"].startswith("repair-1.")
    kept = {(row.wording, row.language): row.text for row in rows(lines, schema.wordings)}
    assert kept[("repair-1", "it")] == "One." and kept[(other["repair"], "it")] == "Two."


def test_somebody_who_stopped_stays_stopped_when_forgotten_and_typed_in_anew_until_they_want_it(lines: Lines) -> None:
    """The project's facts on messages, 3.2: the list is not deleted on erasure, and one does not ask again unasked."""
    house, ctx = lines.house, lines.house.ctx
    first = texted(lines)
    stop(lines, first)
    forget.erase_person(ctx, house.actor(), person_of(lines, first))
    house.clock.advance(400 * 86400)
    again = texted(lines, phone="+44 (0)7700 900123")
    assert any("stopped all messages on" in one and "Ask whether they want" in one for one in again.warnings)
    assert said(lines, again) == ()
    shelve(house, again.ticket_ids[0])
    house.deliver(after=91)
    assert not [m for m in lines.rows(again.visit_id) if m.person_id and m.state == "sent"] and not lines.text.sent
    person = person_of(lines, again)
    ask: dict[str, Any] = {"channel": "sms", "purposes": SERVICE, "allowed": True, "how": "counter"}
    with pytest.raises(Conflict, match="stopped all messages on"):
        reach.set_use(ctx, house.actor(), again.visit_id, person, **ask)
    reach.set_use(ctx, house.actor(), again.visit_id, person, **ask, wanted=True)
    (row,) = suppressions.listed(ctx, house.actor())
    assert row.ended_how == "counter" and {one.purpose for one in said(lines, again)} == set(SERVICE)
    third = texted(lines)
    assert not [one for one in third.warnings if "stopped" in one]
    house.deliver(after=91)
    assert lines.states(third.visit_id, "checked_in") == [("sms", "sent", "")]


@pytest.mark.parametrize("door", ["check_in", "correction", "api", "source", "pad"])
def test_a_suppressed_number_is_stored_and_unused_through_whatever_door_it_comes(lines: Lines, door: str) -> None:
    house, ctx, owner = lines.house, lines.house.ctx, lines.house.actor()
    suppressions.add(ctx, owner, channel="sms", address=PHONE)
    visit = VisitForm(PersonForm("Ines", PHONE), (DeviceForm("Kestrel"),))
    if door == "correction":
        done = texted(lines, phone="07700 900456")
        new = reach.set_contact(ctx, owner, done.visit_id, person_of(lines, done), channel="sms", address=PHONE)
        assert "stopped all messages" in reach.why_unused(ctx, owner, new)
    elif door == "source":
        cells = {"reference": "J-1", "device": "Kestrel", "phone": PHONE}
        batch = Batch("bench", "tickets", "UTC", {}, {})
        take_changes.take(ctx, Actor(house.shop_id, "source", "bench"), batch, [Change(2, cells)])
    elif door == "api":
        check_in.check_in(ctx, Actor(house.shop_id, "script", "t", scopes=frozenset({"tickets:write"})), visit)
    elif door == "pad":
        pads.make_pad(ctx, owner, tickets=1)
        number = pads.list_pads(ctx, owner)[0].left[0]
        check_in.check_in(ctx, owner, VisitForm(visit.bringer, (DeviceForm("Kestrel", pad=number),)))
    else:
        check_in.check_in(ctx, owner, visit)
    house.deliver(after=91)
    newest = [row for row in rows(lines, schema.contacts) if row.replaced_at is None][-1]
    assert newest.suppressed_how == "added" and newest.address_sealed is not None
    assert not [one for one in lines.text.sent if "447700900123" in one.to]


def test_a_reply_stops_and_starts_for_everybody_there_and_one_confirmation_goes_out(lines: Lines) -> None:
    """47 CFR 64.1200(a)(12): one confirmation within five minutes; then nothing until an affirmative answer."""
    house = lines.house
    first = texted(lines)
    house.deliver(after=91)
    reply(lines, "STOP")
    house.deliver(after=10)
    assert lines.states(first.visit_id, "stop_confirmed") == [("sms", "sent", "")]
    later = texted(lines, name="Theo Lantern")
    shelve(house, first.ticket_ids[0])
    house.deliver(after=91)
    assert lines.states(later.visit_id, "checked_in")[0][1] == "skipped" and len(lines.text.sent) == 2
    reply(lines, "START")
    (row,) = suppressions.listed(house.ctx, house.actor())
    assert row.reason == "reply" and row.ended_how == "reply"
    with house.read() as unit:
        for done in (first, later):
            person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
            assert people.allowed_uses(unit, [person])[person]["sms"] == set(SERVICE)


def test_taking_one_purpose_back_is_no_stop_of_everything_but_taking_back_the_last_one_is(lines: Lines) -> None:
    done = texted(lines, phone_purposes=EVERY)
    stop(lines, done, purposes=("afterwards",))
    stop(lines, done, purposes=("repair",))
    assert suppressions.listed(lines.house.ctx, lines.house.actor()) == ()
    stop(lines, done, purposes=("pickup",))
    assert len(suppressions.listed(lines.house.ctx, lines.house.actor())) == 1
    reach.set_contact(lines.house.ctx, lines.house.actor(), done.visit_id, person_of(lines, done), channel="sms",
                      address="07700 900456")  # fmt: skip
    assert [one.reason for one in suppressions.listed(lines.house.ctx, lines.house.actor())].count("carried_over") == 1


def test_a_childs_contact_gets_nothing_optional_by_any_way_and_loses_what_was_allowed(lines: Lines) -> None:
    house, ctx = lines.house, lines.house.ctx
    with pytest.raises(Invalid, match="child's contact"):
        texted(lines, child=True, phone_purposes=EVERY)
    done = texted(lines, phone_purposes=EVERY)
    person = person_of(lines, done)
    reach.set_child(ctx, house.actor(), done.visit_id, person, child=True)
    with house.ctx.db.write(house.shop_id) as unit:  # though a row should stand that allows it, nothing optional goes
        saying = consents.Saying("sms", True, {"afterwards": "afterwards-1"}, "en", "counter", house.clock())
        consents.add(unit, person, saying, ["afterwards"])
        (reached,) = people.recipients(unit, [person])[0].reaches
        assert reached.purposes == set(SERVICE)
        consents.add(unit, person, replace(saying, allowed=False), ["afterwards"])
    newest = said(lines, done)[-1]
    assert (newest.purpose, newest.allowed, newest.how) == ("afterwards", False, "counter")
    with pytest.raises(Invalid, match="child's contact"):
        reach.set_use(ctx, house.actor(), done.visit_id, person, channel="sms", purposes=("afterwards",), allowed=True,
                      how="counter")  # fmt: skip
    with house.read() as unit:
        assert people.allowed_uses(unit, [person])[person]["sms"] == set(SERVICE)


def test_a_stop_under_an_older_index_key_is_found_and_ended_as_any_other(lines: Lines) -> None:
    """From a hash none can be made under another key, so each row says its own (the facts on messages, 3.2)."""
    house, ctx = lines.house, lines.house.ctx
    before = texted(lines, phone="07700 900789")
    suppressions.add(ctx, house.actor(), channel="sms", address=PHONE)
    assert keys.rotate(ctx, "index", Turned(house).file("index")).proved
    suppressions.add(ctx, house.actor(), channel="sms", address="07700 900456")
    assert sorted(row.key_id for row in rows(lines, schema.suppressions)) == ["k1", "k2"]
    held = {row.person_id: row.lookup for row in rows(lines, schema.contacts)}
    assert {row.lookup for row in rows(lines, schema.consents)} == {held[person_of(lines, before)]}  # the proof follows
    done = texted(lines)
    assert any("stopped all messages" in one for one in done.warnings)
    suppressions.end(ctx, house.actor(), channel="sms", address=PHONE, wanted=True)
    assert not [one for one in texted(lines).warnings if "stopped" in one]


def test_the_proof_is_readable_without_a_name_after_forgetting(lines: Lines) -> None:
    """GDPR art. 7(1): the controller must be able to show that consent was given."""
    house = lines.house
    done = texted(lines, phone_purposes=EVERY, language="de")
    stop(lines, done, purposes=("afterwards",))
    before = said(lines, done)
    forget.erase_person(house.ctx, house.actor(), person_of(lines, done))
    (who,) = proof(house.ctx, house.actor(), done.numbers[0]).people
    assert (who.name, who.forgotten, who.ways) == ("", True, ()) and who.said == before
    german = house.services.words.get("de")
    assert [(one.purpose, one.allowed, one.text) for one in before] == [
        *((one, True, german[f"consent.{one}"]) for one in EVERY), ("afterwards", False, german["consent.afterwards"]),
    ]  # fmt: skip
    assert {one.at for one in before} == {house.clock()} and timedelta(0) == before[-1].at - before[0].at
