"""An address that did not work before is not tried again without a word: staff are told, and say when it works again.

Sources: RFC 3463 3.2 (X.1.1: no such mailbox, which asking again does not change). That a new check-in needs a word of
staff is a rule of this project; common practice, no source.
"""

from __future__ import annotations

import email
from email import policy
from typing import Any

import pytest

from notify.core.errors import Invalid
from notify.flows import reach, view_day_sheet
from notify.flows.hear_reply import Heard, hear
from notify.store import people, tickets
from tests.flows.conftest import REFUSED, Lines

MAIL, PHONE = "ines@example.com", "+44 7700 900123"


def contacts(lines: Lines, done: Any) -> dict[str, people.Contact]:
    with lines.house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
        return {one.channel: one for one in people.contacts_of(unit, person)}


def refused_once(lines: Lines) -> Any:
    """A visit whose first mail the other side refused for good."""
    lines.mail_line.answer = REFUSED
    done = lines.house.check_in(email=MAIL, phone="")
    lines.house.deliver(after=91)
    lines.mail_line.answer = None
    assert contacts(lines, done)["email"].undeliverable
    return done


def test_a_bounced_address_typed_in_again_is_told_at_once_and_not_used_and_the_next_way_is(lines: Lines) -> None:
    house = lines.house
    refused_once(lines)
    before = len(lines.mail.sent)
    house.clock.advance(86_400)
    again = house.check_in(email="Ines@Example.com", phone=PHONE)
    assert any("came back before" in said and "Ask for another" in said for said in again.warnings)
    assert contacts(lines, again)["email"].undeliverable and not contacts(lines, again)["sms"].undeliverable
    house.deliver(after=91)
    assert lines.states(again.visit_id, "checked_in") == [("sms", "sent", "")] and len(lines.mail.sent) == before
    sheet = view_day_sheet.view(house.ctx, house.actor())
    assert again.visit_id in {one.visit_id for one in sheet.broken}


def test_it_is_used_when_staff_say_that_it_works_again_and_then_at_later_visits_without_a_word(lines: Lines) -> None:
    house, done = lines.house, refused_once(lines)
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
    house.clock.advance(60)
    with pytest.raises(Invalid) as refused:
        reach.set_contact(house.ctx, house.actor(), done.visit_id, person, channel="email", address=MAIL)
    assert refused.value.field == "address" and "works again" in refused.value.advice
    reach.set_contact(house.ctx, house.actor(), done.visit_id, person, channel="email", address=MAIL, works_again=True)
    assert not contacts(lines, done)["email"].undeliverable
    house.clock.advance(60)
    later = house.check_in(email=MAIL, phone="")
    assert later.warnings == () and not contacts(lines, later)["email"].undeliverable
    house.deliver(after=91)
    assert lines.states(later.visit_id, "checked_in") == [("email", "sent", "")]


def test_a_number_of_somebody_else_is_not_written_to_again_until_staff_say_whose_it_is(lines: Lines) -> None:
    house = lines.house
    first = house.check_in(email="", phone=PHONE)
    hear(house.ctx, house.shop_id, Heard("sms", PHONE, "wrong number", at=house.clock(), key="k1", source="gateway"))
    assert contacts(lines, first)["sms"].undeliverable_why == people.WRONG_NUMBER
    house.clock.advance(60)
    again = house.check_in(email="", phone=PHONE)
    assert any("wrong person" in said and "Read it back" in said for said in again.warnings)
    house.deliver(after=91)
    assert not lines.text.sent and contacts(lines, again)["sms"].undeliverable
    with house.read() as unit:
        person = tickets.get_ticket(unit, again.ticket_ids[0]).person_id
    reach.set_contact(house.ctx, house.actor(), again.visit_id, person, channel="sms", address=PHONE, works_again=True)
    assert not contacts(lines, again)["sms"].undeliverable


def test_a_mail_bears_the_shops_name_where_no_other_is_set(lines: Lines) -> None:
    house = lines.house
    house.check_in(email=MAIL, phone="")
    house.deliver(after=91)
    whole = email.message_from_bytes(lines.mail.sent[-1].payload, policy=policy.default)
    with house.read() as unit:
        name = house.ctx.shop(unit).name
    assert whole["From"].addresses[0].display_name == name != ""
