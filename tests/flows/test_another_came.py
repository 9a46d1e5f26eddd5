"""Another part came than was ordered: one question, and what each answer does to the part, the ticket and the shop."""

from __future__ import annotations

from datetime import UTC, datetime, time
from typing import Any

import pytest
from sqlalchemy import select

from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.flows import another_came, arrivals, moves, parts, questions, returns, set_up
from notify.flows.check_in_form import DeviceForm
from notify.store import questions as question_rows
from notify.store import schema, tickets

pytestmark = pytest.mark.long
NAME = "Breakwater Parts"


@pytest.fixture
def shop(house: Any) -> Any:
    """A shop whose supplier is known; it is half past ten, and the box is being unpacked."""
    set_up.put_supplier(house.ctx, house.actor(), name=NAME, cutoff=None, delivers_at=time(10), days=1)
    house.clock.set(datetime(2026, 11, 25, 11, tzinfo=UTC))
    return house


def wrong(shop: Any, *, language: str = "en", price: str = "", agreed: str = "40") -> tuple[str, str, str]:
    """A ticket whose shutter came in silver: ticket, part, question."""
    device = DeviceForm("Otter camera", price_agreed=agreed)
    ticket = shop.check_in(device, language=language).ticket_ids[0]
    moves.move(shop.ctx, shop.actor(), ticket, "inspecting")
    moves.move(shop.ctx, shop.actor(), ticket, "in_line")
    part = parts.need(shop.ctx, shop.actor(), ticket, name="Shutter, black", supplier=NAME)
    shop.clock.set(datetime(2026, 11, 26, 10, 30, tzinfo=UTC))
    asked = another_came.ask(shop.ctx, shop.actor(), part, came="silver instead of black", price=price,
                             words=shop.services.words.get)  # fmt: skip
    return ticket, part, asked


def states(shop: Any, ticket: str) -> list[str]:
    t = schema.parts
    with shop.read() as unit:
        found = select(t.c.state).where(t.c.ticket_id == ticket).order_by(t.c.needed_at, t.c.id)
        return sorted(unit.connection.execute(found).scalars())


def answer(shop: Any, question: str, said: str) -> None:
    questions.answer(shop.ctx, shop.actor(), question, answer=said, said_by="Ines, by phone")


def back(shop: Any) -> list[tuple[str, bool]]:
    return [(one.part_id, one.asked) for group in returns.view(shop.ctx, shop.actor()) for one in group.parts]


def test_a_yes_makes_the_part_that_came_the_part_of_the_repair(shop: Any) -> None:
    ticket, part, asked = wrong(shop, price="5")
    assert states(shop, ticket) == ["needed", "wrong"] and back(shop) == [(part, True)]
    with pytest.raises(Conflict):
        returns.send_back(shop.ctx, shop.actor(), [part])
    answer(shop, asked, "take_it")
    assert states(shop, ticket) == ["arrived", "not_needed"] and back(shop) == []
    with shop.read() as unit:
        assert tickets.get_ticket(unit, ticket).price_agreed == 4500
    shop.deliver(after=91)
    assert any(b"The part for" in one.payload and b"is here" in one.payload for one in shop.sent())
    questions.take_back(shop.ctx, shop.actor(), asked)
    assert states(shop, ticket) == ["needed", "wrong"]
    with shop.read() as unit:
        assert tickets.get_ticket(unit, ticket).price_agreed == 4000


def test_a_no_sends_it_back_and_asks_for_the_right_one_unless_the_device_goes_home(shop: Any) -> None:
    for said, after in (("wait_for_the_other", ["needed", "wrong"]), ("give_back", ["not_needed", "wrong"])):
        ticket, part, asked = wrong(shop)
        answer(shop, asked, said)
        assert states(shop, ticket) == after and back(shop) == [(part, False)]
        assert returns.send_back(shop.ctx, shop.actor(), [part]) == 1
        assert "sent_back" in states(shop, ticket)


def test_the_question_speaks_the_customers_language(shop: Any) -> None:
    said = {
        "en": ("another version than was ordered: silver instead of black", "£5.00 less"),
        "de": ("anderen Ausführung als bestellt: silver instead of black", "5,00 £ weniger"),
        "it": ("versione diversa da quella ordinata: silver instead of black", "5,00 £ in meno"),
    }
    for language, words in said.items():
        _, _, asked = wrong(shop, language=language, price="-5")
        with shop.read() as unit:
            question = question_rows.get_question(unit, asked)
        assert all(one in question.wording.replace("\u00a0", " ") for one in words), question.wording
        assert question.price == 3500


def test_what_cannot_be_is_refused_and_changes_nothing(shop: Any) -> None:
    ticket, part, _ = wrong(shop, agreed="")
    for refused, field in (({"came": " "}, "came"), ({"came": "silver", "price": "1,234"}, "amount")):
        with pytest.raises(Invalid) as told:
            another_came.ask(shop.ctx, shop.actor(), part, **refused, words=shop.services.words.get)
        assert told.value.field == field
    with pytest.raises(Conflict):  # it is asked already
        another_came.ask(shop.ctx, shop.actor(), part, came="silver", words=shop.services.words.get)
    with pytest.raises(Conflict):
        another_came.use_anyway(shop.ctx, shop.actor(), part)
    with pytest.raises(NotAllowed):  # at the counter nobody asks, but anybody may note it
        another_came.ask(shop.ctx, shop.actor("counter"), part, came="silver", words=shop.services.words.get)
    assert states(shop, ticket) == ["needed", "wrong"]


def test_staff_may_use_what_came_without_a_question_or_note_it_after_it_was_booked_in(shop: Any) -> None:
    ticket, part, asked = wrong(shop)
    questions.withdraw(shop.ctx, shop.actor(), asked)
    assert another_came.use_anyway(shop.ctx, shop.actor("counter"), part)
    assert states(shop, ticket) == ["arrived", "not_needed"]
    new = another_came.note(shop.ctx, shop.actor("counter"), part)  # it does not fit after all
    assert states(shop, ticket) == ["needed", "not_needed", "wrong"]
    arrivals.arrive(shop.ctx, shop.actor(), new)
    with pytest.raises(Conflict):
        another_came.use_anyway(shop.ctx, shop.actor(), new)


def test_nobody_reads_that_a_part_is_on_its_way_once_another_one_has_come(shop: Any) -> None:
    for others in (0, 1):
        device = DeviceForm("Otter camera", price_agreed="40")
        ticket = shop.check_in(device).ticket_ids[0]
        moves.move(shop.ctx, shop.actor(), ticket, "in_line")
        part = parts.need(shop.ctx, shop.actor(), ticket, name="Shutter, black", supplier=NAME)
        for _ in range(others):
            parts.need(shop.ctx, shop.actor(), ticket, name="Left strap", supplier=NAME)
        another_came.ask(shop.ctx, shop.actor(), part, came="silver instead of black", words=shop.services.words.get)
        shop.deliver(after=91)
        said = [one.payload for one in shop.sent() if b"is ordered" in one.payload]
        assert len(said) == others and not any(b"Shutter, black" in text for text in said)
