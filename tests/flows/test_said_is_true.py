"""What a message says still holds when it is written: money, promise, pickup, and what the reader has to do."""

from __future__ import annotations

import re
from datetime import time, timedelta
from email import message_from_bytes, policy
from typing import Any

import pytest

from notify.flows import moves, parts, pickup, promises, questions, set_up, view_day_sheet, view_pickups, view_visit
from notify.flows.check_in_form import DeviceForm

pytestmark = pytest.mark.long


def words_of(outgoing: Any) -> str:
    body = message_from_bytes(outgoing.payload, policy=policy.default).get_body(("plain",))
    assert body is not None
    return str(body.get_content())


def shelve(house: Any, ticket_id: str) -> None:
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), ticket_id, phase)


def last_mail(house: Any) -> str:
    house.deliver(after=91)
    return words_of(house.sent("email")[-1])


@pytest.mark.parametrize(
    ("language", "label"),
    [("en", "Left to pay: £20.00"), ("de", "Noch zu zahlen: £20.00"), ("it", "Resta da pagare: £20.00")],
)
def test_a_device_that_comes_back_unrepaired_costs_nothing(house: Any, language: str, label: str) -> None:
    done = house.check_in(DeviceForm("radio", price_agreed="30", deposit="10"), phone="", language=language)
    ticket = done.ticket_ids[0]
    assert label.replace("£20.00", "") in last_mail(house)  # the deposit is off, so "price" would be wrong
    moves.move(house.ctx, house.actor(), ticket, "on_shelf", outcome="unrepaired", reason="price_declined")
    ready = last_mail(house)
    assert not re.search("Left to pay|zu zahlen|da pagare", ready)


def test_a_promise_that_the_part_breaks_is_not_repeated(house: Any) -> None:
    done = house.check_in(phone="")
    ticket = done.ticket_ids[0]
    set_up.put_supplier(house.ctx, house.actor(), name="Harbour Parts", cutoff=None, delivers_at=time(9, 30), days=1)
    part = parts.need(house.ctx, house.actor(), ticket, name="housing")
    promises.promise(house.ctx, house.actor(), ticket, house.clock() + timedelta(days=3))
    parts.order(house.ctx, house.actor(), part, supplier="Harbour Parts")
    assert "We expect your" in last_mail(house)
    parts.change_due(house.ctx, house.actor(), part, due=house.clock() + timedelta(days=4))
    other = parts.need(house.ctx, house.actor(), ticket, name="screws")
    parts.order(house.ctx, house.actor(), other, supplier="Harbour Parts")
    assert "We expect your" not in last_mail(house)


def test_a_promise_that_is_past_is_not_repeated(house: Any) -> None:
    done = house.check_in(phone="")
    ticket = done.ticket_ids[0]
    promises.promise(house.ctx, house.actor(), ticket, house.clock() + timedelta(hours=1))
    shelve(house, ticket)
    house.deliver(after=91)
    house.clock.advance(2 * 3600)
    moves.move(house.ctx, house.actor(), ticket, "in_line", reason="other")
    told = last_mail(house)
    assert "back to the bench" in told and "We now expect" not in told


def test_whoever_must_answer_first_is_not_told_that_nothing_is_to_do(house: Any) -> None:
    done = house.check_in(phone="")
    ticket = done.ticket_ids[0]
    part = parts.need(house.ctx, house.actor(), ticket, name="housing")
    questions.ask(house.ctx, house.actor(), ticket, kind="price", wording="Go on?", price="45")
    house.deliver(after=91)
    parts.arrive(house.ctx, house.actor(), part)
    mine = last_mail(house)
    assert "need your answer" in mine and "nothing you need to do" not in mine
    to_shop = [words_of(one) for one in house.sent("email") if one.to == "bench@example.org"]
    assert "Waits for the customer's answer" in to_shop[-1]


def test_what_gets_ready_later_joins_the_pickup_already_booked(house: Any) -> None:
    done = house.check_in(DeviceForm("Cormorant radio"), DeviceForm("Pagewright reader"), phone="")
    shelve(house, done.ticket_ids[0])
    assert "Choose a pickup time" in last_mail(house)
    slot = pickup.offers(house.ctx, house.customer(), done.visit_id)[20].slot
    pickup.book(house.ctx, house.customer(), done.visit_id, slot.local)
    shelve(house, done.ticket_ids[1])
    told = last_mail(house)
    assert f"Your pickup time stands: Wednesday, 25 November, between {slot.local:%H:%M}" in told
    assert "Choose a pickup time" not in told


def test_a_pickup_lost_to_the_bench_is_not_followed_by_choose_another(house: Any) -> None:
    done = house.check_in(phone="")
    shelve(house, done.ticket_ids[0])
    for away in ("bench", "customer"):
        slot = pickup.offers(house.ctx, house.customer(), done.visit_id)[20].slot
        pickup.book(house.ctx, house.customer(), done.visit_id, slot.local)
        house.deliver(after=91)
        if away == "customer":
            pickup.cancel(house.ctx, house.customer(), done.visit_id)
            assert "To choose another time" in last_mail(house)
            continue
        moves.move(house.ctx, house.actor(), done.ticket_ids[0], "in_line", reason="other")
        told = last_mail(house)
        assert "then you can choose another time" in told and "To choose another time" not in told
        for phase in ("on_bench", "on_shelf"):
            moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
        house.deliver(after=91)


def test_ready_taken_back_after_it_was_told_is_followed_by_do_not_come_yet(house: Any) -> None:
    done = house.check_in(phone="")
    ticket = done.ticket_ids[0]
    shelve(house, ticket)
    house.clock.advance(60)
    moves.undo(house.ctx, house.actor(), ticket)
    house.deliver(after=91)
    assert not [one for one in house.sent("email") if "to collect" in words_of(one)]  # nobody had heard of it
    moves.move(house.ctx, house.actor(), ticket, "on_shelf")
    assert "is ready to collect" in last_mail(house)
    moves.undo(house.ctx, house.actor(), ticket, reason="another radio was meant")
    told = last_mail(house)
    assert "please do not come yet" in told and "put on the shelf by mistake" in told
    moves.move(house.ctx, house.actor(), ticket, "on_shelf")
    assert "is ready to collect" in last_mail(house)


def test_a_part_is_not_to_be_ordered_while_the_customer_is_asked_or_once_the_repair_is_over(house: Any) -> None:
    done = house.check_in(DeviceForm("Tidepool handheld"))
    ticket = done.ticket_ids[0]
    part = parts.need(house.ctx, house.actor(), ticket, name="housing, grey")

    def to_order() -> list[str]:
        seen = view_day_sheet.view(house.ctx, house.actor()).deliveries
        assert [line.part_id for line in seen.unordered] == [part]  # the list of deliveries says why not
        return [line.part_id for line in seen.to_order()]

    assert to_order() == [part]
    asked = questions.ask(house.ctx, house.actor(), ticket, kind="substitute_part", wording="Blue?", part_id=part)
    assert to_order() == []
    questions.answer(house.ctx, house.customer(), asked, answer="take_it")
    assert to_order() == [part]
    moves.move(house.ctx, house.actor(), ticket, "on_shelf", outcome="unrepaired", reason="changed_mind")
    assert to_order() == []


def test_nothing_is_owed_at_the_desk_for_what_was_not_repaired(house: Any) -> None:
    done = house.check_in(DeviceForm("radio", price_agreed="30", deposit="10"), DeviceForm("camera", price_agreed="41"))
    radio, camera = done.ticket_ids
    moves.move(house.ctx, house.actor(), radio, "on_shelf", outcome="unrepaired", reason="price_declined")
    shelve(house, camera)
    slot = pickup.offers(house.ctx, house.customer(), done.visit_id)[20].slot
    pickup.book(house.ctx, house.customer(), done.visit_id, slot.local)
    (coming,) = view_pickups.view(house.ctx, house.actor()).pickups
    assert coming.left == 4100
    seen = view_visit.view_visit(house.ctx, house.actor(), done.visit_id)
    assert {(one.device, one.left, one.deposit) for one in seen.devices} == {
        ("radio", None, 1000),
        ("camera", 4100, None),
    }


def test_the_number_to_call_is_written_as_people_read_it(house: Any) -> None:
    done = house.check_in(email="", phone_purposes=())  # a number, but no leave to write to it
    shelve(house, done.ticket_ids[0])
    to_shop = last_mail(house)
    assert "Please call: +44 7700 900123" in to_shop  # spaced as ITU-T E.123 asks
