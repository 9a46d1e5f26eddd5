"""The claim page as data, on real flows: what one link shows, hides and never changes."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from notify.core.errors import NotAllowed, NotFound
from notify.core.instants import local
from notify.flows import desk_notes, forget, handover, moves, parts, pickup, promises, questions, reach, set_up
from notify.flows.check_in_form import DeviceForm
from notify.flows.claim_shown import ClaimView, Speech
from notify.flows.claims import Forgotten, count_guess
from notify.flows.view_claim import view_claim
from notify.store import messages, people, tickets, visits
from tests.parts.shelved import shelve, token_of

SOON = timedelta(hours=2)


def view(house: Any, ticket_id: str) -> ClaimView:
    """The page behind a ticket's own link."""
    services = house.services
    return view_claim(house.ctx, token_of(house, ticket_id), Speech(services.words.get, services.page_words.get))


def test_a_fresh_repair_says_where_it_is_and_hides_name_device_and_address(house: Any) -> None:
    done = house.check_in(
        DeviceForm("Kestrel pocket radio", device_class="radio", fault="hisses"), collectors=("Mia Oltmann",)
    )
    page = view(house, done.ticket_ids[0])
    assert page.sentence == "Your radio is with us; nobody has opened it yet."
    assert page.expect == "We will tell you as soon as we know how long it takes."
    assert [c.sentence for c in page.contacts] == [
        "By text message to +44 •••• ••• 123: news about the repair, pickup times and reminders.",
        "By e-mail to i••@example.org: news about the repair, pickup times and reminders.",
    ]
    assert page.collectors == (
        "You, with this page or your claim ticket.",
        "M•• O••, with this page or your claim ticket.",
    )
    assert page.known.endswith(
        "and forget it 90 days after the last device is handed back; only the story of the repair "
        "stays, without a person in it."
    )
    assert [s.when + " " + s.sentence for s in page.story] == ["today, 09:00 You handed it in at the counter."]
    for secret in ("Ines", "Farrow", "Kestrel", "hisses", "Oltmann", "ines@", "900123"):
        assert secret not in str(page)


def test_a_question_comes_first_with_frozen_price_and_answers_and_stops_the_promise(house: Any) -> None:
    ticket_id = house.check_in(DeviceForm("Camera", device_class="camera", price_agreed="20")).ticket_ids[0]
    promises.promise(house.ctx, house.actor(), ticket_id, house.clock() + SOON)
    question = questions.ask(
        house.ctx, house.actor(), ticket_id, kind="price", wording="Shutter is broken too. Go on?", price="48.50"
    )
    page = view(house, ticket_id)
    assert (page.mark, page.sentence) == ("question", "Your camera is waiting for your answer.")
    assert page.expect == "We go on as soon as you answer."
    (asked,) = page.questions
    assert (asked.wording, asked.price) == ("Shutter is broken too. Go on?", "£48.50")
    assert asked.until == "Please answer by Wednesday, 2 December, 09:00."
    assert asked.options == (("accept", "Yes, go ahead"), ("decline", "No, not at this price"))
    questions.answer(house.ctx, house.customer(), question, answer="accept", ticket_id=ticket_id)
    page = view(house, ticket_id)
    assert not page.questions and page.expect == "We expect it to be ready today by 11:00."
    assert [(a.sentence, a.can_take_back) for a in page.answered] == [("You answered: Yes, go ahead.", True)]


@pytest.mark.parametrize("how", ["part_ordered", "bench_began"])
def test_a_yes_cannot_be_taken_back_once_something_was_done_on_it(house: Any, how: str) -> None:
    ticket_id = house.check_in(DeviceForm("Camera")).ticket_ids[0]
    question = questions.ask(house.ctx, house.actor(), ticket_id, kind="price", wording="Go on?", price="48")
    questions.answer(house.ctx, house.customer(), question, answer="accept", ticket_id=ticket_id)
    house.clock.advance(60)
    if how == "part_ordered":
        set_up.put_supplier(house.ctx, house.actor(), name="Breakwater Parts", cutoff=None, delivers_at=None, days=1)
        part = parts.need(house.ctx, house.actor(), ticket_id, name="shutter")
        parts.order(house.ctx, house.actor(), part, supplier="Breakwater Parts")
    else:
        moves.move(house.ctx, house.actor(), ticket_id, "in_line")
        moves.move(house.ctx, house.actor(), ticket_id, "on_bench")
    assert [a.can_take_back for a in view(house, ticket_id).answered] == [False]
    with pytest.raises(NotAllowed):
        questions.take_back(house.ctx, house.customer(), question, ticket_id=ticket_id)


@pytest.mark.parametrize("whom", [{}, {"phone": "", "email": ""}], ids=["by_code", "by_phone"])
def test_prices_above_the_setting_are_shown_after_a_code_or_said_by_phone(house: Any, whom: dict[str, str]) -> None:
    set_up.change_settings(house.ctx, house.actor(), {"code_above": 5000})
    ticket_id = house.check_in(DeviceForm("Camera", price_agreed="60"), **whom).ticket_ids[0]
    questions.ask(house.ctx, house.actor(), ticket_id, kind="price", wording="It will be 61 pounds, yes?", price="61")
    (asked,) = view(house, ticket_id).questions
    assert asked.options == () and asked.price == "" and "61" not in asked.wording
    assert asked.by_code != bool(whom) and ("call us" in asked.wording) == bool(whom)
    shelve(house, ticket_id)
    assert view(house, ticket_id).expect == ""


def test_what_is_left_to_pay_is_said_when_it_is_ready(house: Any) -> None:
    ticket_id = house.check_in(DeviceForm("Camera", price_agreed="60", deposit="15.50")).ticket_ids[0]
    shelve(house, ticket_id)
    assert view(house, ticket_id).expect == "Left to pay: £44.50."
    desk_notes.record_money(house.ctx, house.actor(), ticket_id, paid=True)
    assert view(house, ticket_id).expect == ""


def test_a_visit_of_two_shows_its_ready_state_to_both_links_but_each_question_to_its_own(house: Any) -> None:
    done = house.check_in(DeviceForm("Box camera", device_class="camera"), DeviceForm("Pad", device_class="e_reader"))
    camera, reader = done.ticket_ids
    questions.ask(house.ctx, house.actor(), reader, kind="give_back", wording="Give up?")
    shelve(house, camera)
    seen = view(house, camera)
    assert seen.sentence == "Ready to be collected: 1 of your 2 devices." and not seen.questions
    assert seen.pickup is not None and seen.pickup.state == "open"
    assert {d.sentence for d in seen.devices} == {
        "Your camera is repaired and ready for you.",
        "Your e-reader is waiting for your answer: open the link on its own claim ticket.",
    }
    asked = view(house, reader)
    assert asked.sentence == "Your e-reader is waiting for your answer." and len(asked.questions) == 1
    assert asked.pickup is not None and asked.pickup.state == "open"
    book_first(house, done.visit_id)
    assert {p.state for p in (view(house, t).pickup for t in done.ticket_ids) if p} == {"booked"}


def book_first(house: Any, visit_id: str) -> Any:
    """Takes the first time on offer."""
    first = pickup.offers(house.ctx, house.customer(), visit_id)[0].slot
    return pickup.book(house.ctx, house.customer(), visit_id, first.local, fold=first.fold)


def test_unknown_malformed_and_replaced_links_are_the_same_and_a_forgotten_one_is_over(house: Any) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    old = token_of(house, ticket_id)
    desk_notes.replace_claim_link(house.ctx, house.actor(), ticket_id)
    speech, said = Speech(house.services.words.get, house.services.page_words.get), set()
    for token in (old, "b" * 32, "nonsense", "", "'; drop table tickets; --", "é" * 5000):
        with pytest.raises(NotFound) as refused:
            view_claim(house.ctx, token, speech)
        said.add((type(refused.value), str(refused.value)))
    assert len(said) == 1 and Forgotten not in {kind for kind, _ in said}
    token = token_of(house, ticket_id)
    with house.read() as unit:
        person = tickets.get_ticket(unit, ticket_id).person_id
    house.ctx.db.vault.destroy_keys([person])
    with pytest.raises(Forgotten):  # between the key's end and the emptying of the rows
        view_claim(house.ctx, token, speech)
    forget.erase_person(house.ctx, house.actor(), person)
    with pytest.raises(Forgotten):
        view_claim(house.ctx, token, speech)


def test_guesses_are_counted_by_source_for_an_hour_and_kept_as_keyed_hashes(house: Any) -> None:
    waits = [count_guess(house.ctx, house.shop_id, "198.51.100.7", limit=3) for _ in range(5)]
    assert waits == [0, 0, 0, 3600, 3600]
    assert count_guess(house.ctx, house.shop_id, "198.51.100.8", limit=3) == 0
    assert count_guess(house.ctx, house.shop_id, "::ffff:198.51.100.7", limit=3) == 3600
    assert [count_guess(house.ctx, house.shop_id, f"2001:db8::{n}", limit=2) for n in range(3)] == [0, 0, 3600]
    house.clock.advance(1200)
    assert count_guess(house.ctx, house.shop_id, "198.51.100.7", limit=3) == 2400
    house.clock.advance(2401)
    assert count_guess(house.ctx, house.shop_id, "198.51.100.7", limit=3) == 0
    house.clock.advance(-86400)  # a clock set back never locks anybody out for longer
    assert count_guess(house.ctx, house.shop_id, "198.51.100.7", limit=1) == 0


def test_stopped_resting_and_failing_contacts_are_told_apart(house: Any) -> None:
    done = house.check_in(number_is_device=True)
    texts = [c.sentence for c in view(house, done.ticket_ids[0]).contacts]
    assert texts[0] == "Not used while that device is with us: +44 •••• ••• 123."
    with house.read() as unit:
        (told,) = visits.visit_people(unit, done.visit_id)["tell"]
        email = people.contacts_of(unit, told)[1]
    reach.set_use(house.ctx, house.customer(), done.visit_id, told, channel="sms", purposes=("repair", "pickup"),
                  allowed=False, how="claim_page")  # fmt: skip
    with house.ctx.db.write(house.shop_id) as unit:
        people.mark_undeliverable(unit, email.id, at=house.clock())
    lines = view(house, done.ticket_ids[0]).contacts
    assert lines[0].sentence.startswith("We send no more text messages to +44") and not lines[0].can_stop
    assert lines[1].sentence.startswith("Our messages to i••@example.org come back.")


def test_what_is_kept_names_the_day_and_says_why_it_is_kept_longer(house: Any) -> None:
    ticket_id = house.check_in(DeviceForm("Radio", price_agreed="30")).ticket_ids[0]
    shelve(house, ticket_id)
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket_id], token=token_of(house, ticket_id))
    assert view(house, ticket_id).known.endswith(
        "and forget it on Tuesday, 23 February 2027, or later, if it is still true then that a bill is still open."
    )
    house.clock.advance(timedelta(days=91).total_seconds())
    assert not forget.forget(house.ctx, house.system()).due
    assert "keep it for now, because a bill is still open." in view(house, ticket_id).known


def test_an_unrepaired_device_keeps_its_reason_through_an_undone_handover(house: Any) -> None:
    ticket_id = house.check_in(DeviceForm("Radio", device_class="radio")).ticket_ids[0]
    moves.move(house.ctx, house.actor(), ticket_id, "on_shelf", outcome="unrepaired", reason="not_repairable")
    said = "Your radio is ready to be collected, but not repaired: nothing can be done about this fault."
    assert view(house, ticket_id).sentence == said
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket_id], token=token_of(house, ticket_id))
    handover.undo_handover(house.ctx, house.actor(), ticket_id, reason="wrong_device")
    assert view(house, ticket_id).sentence == said


def test_a_move_undone_at_once_is_not_in_the_story_and_one_undone_later_is(house: Any) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    moves.move(house.ctx, house.actor(), ticket_id, "inspecting")
    moves.undo(house.ctx, house.actor(), ticket_id)
    assert [s.sentence for s in view(house, ticket_id).story] == ["You handed it in at the counter."]
    moves.move(house.ctx, house.actor(), ticket_id, "inspecting")
    house.clock.advance(91)
    moves.undo(house.ctx, house.actor(), ticket_id, reason="wrong ticket")
    assert [s.sentence for s in view(house, ticket_id).story][:2] == [
        "We corrected a mistake of ours.",
        "We began to look for the fault.",
    ]


def test_the_page_is_read_in_one_transaction_that_writes_nothing(house: Any) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    with house.read() as unit:
        before = (tickets.get_ticket(unit, ticket_id), messages.list_messages(unit))
    for _ in range(3):
        view(house, ticket_id)
    with house.read() as unit:
        assert before == (tickets.get_ticket(unit, ticket_id), messages.list_messages(unit))
    assert local(house.clock(), "Europe/London").hour == 9
