"""What the sheets gather: order, grouping, what is left out, on both databases."""

from __future__ import annotations

from datetime import time, timedelta
from typing import Any

import pytest

from notify.core.tickets import Phase, WaitsOn
from notify.flows import moves, parts, promises, questions, set_up, view_calls, view_day_sheet, view_deliveries
from notify.flows import view_shelf as shelved
from notify.flows.check_in_form import DeviceForm
from tests.parts import full_shop
from tests.parts.full_shop import FullShop

pytestmark = pytest.mark.long


def take_in(house: Any, name: str, *steps: str) -> str:
    ticket_id = str(house.check_in(DeviceForm(name)).ticket_ids[0])
    for step in steps:
        house.clock.advance(60)
        moves.move(house.ctx, house.actor(), ticket_id, step)
    return ticket_id


def names(lines: Any) -> list[str]:
    return [line.device for line in lines]


def test_the_bench_comes_by_what_is_in_hand_then_promise_then_waiting_time(house: Any) -> None:
    old = take_in(house, "oldest, no promise", "in_line")
    house.clock.advance(600)
    late = take_in(house, "promised late", "in_line")
    soon = take_in(house, "promised soon", "in_line")
    take_in(house, "in hand", "in_line", "on_bench")
    take_in(house, "newest, no promise")
    now = house.clock()
    promises.promise(house.ctx, house.actor(), late, now + timedelta(hours=6))
    promises.promise(house.ctx, house.actor(), soon, now + timedelta(hours=2))
    seen = view_day_sheet.view(house.ctx, house.actor())
    assert names(seen.bench) == [
        "in hand",
        "promised soon",
        "promised late",
        "oldest, no promise",
        "newest, no promise",
    ]
    assert seen.bench[3].ticket_id == old


def test_what_waits_for_a_part_or_an_answer_is_not_for_the_bench(house: Any) -> None:
    waits, asked = take_in(house, "for a part", "in_line"), take_in(house, "for an answer", "in_line")
    parts.need(house.ctx, house.actor(), waits, name="Coil")
    questions.ask(house.ctx, house.actor(), asked, kind="give_back", wording="Shall we stop?")
    seen = view_day_sheet.view(house.ctx, house.actor())
    assert names(seen.bench) == [] and [one.ticket.device for one in seen.asked] == ["for an answer"]
    assert [part.ticket.device for part in seen.deliveries.unordered] == ["for a part"]
    assert seen.resting == 0  # nobody has ordered it: it needs hands


def test_a_ticket_whose_part_comes_another_day_rests(house: Any) -> None:
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern", cutoff=None, delivers_at=time(10), days=3)
    ticket_id = take_in(house, "rests", "in_line")
    parts.need(house.ctx, house.actor(), ticket_id, name="Coil", supplier="Lantern")
    seen = view_day_sheet.view(house.ctx, house.actor())
    assert seen.resting == 1 and not seen.deliveries.due() and len(seen.deliveries.boxes) == 1
    house.clock.advance(timedelta(days=6).total_seconds())
    seen = view_day_sheet.view(house.ctx, house.actor())
    assert seen.resting == 0 and seen.deliveries.due()[0].late


def test_an_answer_stays_on_the_sheet_until_somebody_acts_on_it(house: Any) -> None:
    ticket_id = take_in(house, "answered", "inspecting")
    asked = questions.ask(house.ctx, house.actor(), ticket_id, kind="price", wording="45?", price="45")
    questions.answer(house.ctx, house.customer(), asked, answer="accept")
    seen = view_day_sheet.view(house.ctx, house.actor())
    assert [(one.ticket.device, one.answer) for one in seen.answered] == [("answered", "accept")]
    assert names(seen.bench) == []  # it stands with the answers, not twice
    questions.take_back(house.ctx, house.customer(), asked)
    assert not view_day_sheet.view(house.ctx, house.actor()).answered  # open again, so it waits for the customer
    questions.answer(house.ctx, house.customer(), asked, answer="accept")
    moves.move(house.ctx, house.actor(), ticket_id, "in_line")
    seen = view_day_sheet.view(house.ctx, house.actor())
    assert not seen.answered and names(seen.bench) == ["answered"]


def test_a_question_that_ran_out_is_something_to_act_on(house: Any) -> None:
    ticket_id = take_in(house, "ran out")
    questions.ask(house.ctx, house.actor(), ticket_id, kind="price", wording="45?", price="45")
    house.clock.advance(timedelta(days=8).total_seconds())
    questions.expire_due(house.ctx, house.system())
    assert [one.state for one in view_day_sheet.view(house.ctx, house.actor()).answered] == ["expired"]


def test_boxes_are_by_supplier_and_day_and_say_which_tickets_they_free(house: Any) -> None:
    for name in ("Lantern", "Mole"):
        set_up.put_supplier(house.ctx, house.actor(), name=name, cutoff=None, delivers_at=time(10), days=1)
    both, one = take_in(house, "two parts", "in_line"), take_in(house, "one of two", "in_line")
    for name in ("a", "b"):
        parts.need(house.ctx, house.actor(), both, name=name, supplier="Lantern")
    parts.need(house.ctx, house.actor(), one, name="c", supplier="Lantern")
    parts.need(house.ctx, house.actor(), one, name="d", supplier="Mole")
    seen = view_deliveries.view(house.ctx, house.actor())
    assert [(box.supplier, len(box.parts)) for box in seen.boxes] == [("Lantern", 3), ("Mole", 1)]
    assert names(seen.boxes[0].frees()) == ["two parts"] and names(seen.boxes[1].frees()) == []
    for part in seen.boxes[0].parts:
        parts.arrive(house.ctx, house.actor(), part.part_id)
    after = view_deliveries.view(house.ctx, house.actor())
    assert names(after.boxes[0].frees()) == ["one of two"]
    assert {part.name: part.frees for part in after.arrived} == {"a": True, "b": True, "c": False}


def test_the_shelf_tells_how_its_owner_was_told_and_when_they_come(full_day: FullShop) -> None:
    house, shop = full_day.house, full_day
    seen = {one.ticket.ticket_id: one for one in shelved.shelf_now(house.ctx, house.actor())}
    booked, silent = seen[shop.tickets["ready"]], seen[shop.tickets["call"]]
    assert (booked.told, booked.channel) == ("sent", "sms") and booked.booked_at is not None
    assert silent.told == "to_call" and silent.booked_at is None


def test_a_call_that_reached_nobody_comes_back_with_its_time(house: Any) -> None:
    full_shop.fill(house)
    (call,) = view_calls.view(house.ctx, house.actor()).calls
    assert call.tried_at is not None and call.again_at == call.tried_at + timedelta(hours=2)
    assert call.why == "no_contact" and "Lark radio" in call.sentence and call.phone == ""
    house.clock.advance(timedelta(hours=3).total_seconds())
    assert view_calls.view(house.ctx, house.actor()).calls[0].again_at is None
    assert [one.result for one in view_calls.view(house.ctx, house.actor()).done] == ["nobody_there"]


def test_no_line_carries_a_claim_secret_or_an_open_contact(full_day: FullShop) -> None:
    house, shop = full_day.house, full_day
    tokens = [shop.token(name) for name in shop.tickets if name != "forgotten"]
    shown = repr(view_day_sheet.view(house.ctx, house.actor())) + repr(view_deliveries.view(house.ctx, house.actor()))
    assert tokens and not any(token in shown for token in tokens)
    assert "ines@example.org" not in shown and "447700900123" not in shown


def test_waits_on_and_phase_are_as_the_tickets_stand(full_day: FullShop) -> None:
    house, shop = full_day.house, full_day
    seen = view_day_sheet.view(house.ctx, house.actor())
    about = {one.ticket.ticket_id: one.ticket for one in seen.asked}
    assert about[shop.tickets["asked"]].waits_on is WaitsOn.CUSTOMER
    assert {line.phase for line in seen.bench} == {Phase.TAKEN_IN, Phase.IN_LINE, Phase.ON_BENCH, Phase.PROVING}


def test_a_technician_sees_their_own_bench_first_and_everybody_else_the_order_of_the_whole(house: Any) -> None:
    """Common practice, no source: whoever repairs goes on with what they hold; whoever plans looks at the whole."""
    now = house.clock()
    theirs = take_in(house, "Odile's", "in_line", "on_bench")
    soon = take_in(house, "promised soon", "in_line")
    mine = take_in(house, "mine, put back", "in_line")
    promises.promise(house.ctx, house.actor(), soon, now + timedelta(hours=2))
    promises.promise(house.ctx, house.actor(), mine, now + timedelta(hours=6))
    moves.move(house.ctx, house.actor("technician"), mine, "on_bench")
    moves.move(house.ctx, house.actor("technician"), mine, "in_line", reason="other_job", note="a hasty one")
    whole = ["Odile's", "promised soon", "mine, put back"]
    for role in ("owner", "counter"):
        seen = view_day_sheet.view(house.ctx, house.actor(role))
        assert (names(seen.bench), seen.mine) == (whole, frozenset())
    seen = view_day_sheet.view(house.ctx, house.actor("technician"))
    assert names(seen.bench) == ["mine, put back", "Odile's", "promised soon"] and seen.mine == {mine}
    # Which is next of all in line does not hang on who looks: only what is not can be put first.
    assert [line.device for line in seen.bench if seen.is_later(line)] == ["mine, put back"]
    assert seen.next_id == soon and theirs not in seen.mine
