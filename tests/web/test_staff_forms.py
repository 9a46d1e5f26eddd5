"""The forms of the shop's pages: what they carry out, what they say when refused, and that nothing typed is lost."""

from __future__ import annotations

from datetime import time, timedelta
from typing import Any

import pytest
from flask import Flask

from notify.core.tickets import Phase
from notify.flows import moves, questions, set_up, view_settings
from notify.flows.check_in_form import DeviceForm
from notify.flows.view_ticket import TicketView, view
from notify.store import messages, people, suppliers
from tests.parts import full_shop
from tests.web.conftest import Browser, sign_in
from tests.web.staff_pages import Reader, codes_in

pytestmark = pytest.mark.long  # together some seconds of one core


def ticket(house: Any, *steps: str, **device: Any) -> str:
    ticket_id = str(house.check_in(DeviceForm("Kestrel radio", **device)).ticket_ids[0])
    for step in steps:
        house.clock.advance(60)
        moves.move(house.ctx, house.actor(), ticket_id, step)
    return ticket_id


def seen(house: Any, ticket_id: str) -> TicketView:
    return view(house.ctx, house.actor(), ticket_id)


def text(answer: Any) -> str:
    return Reader(answer.get_data(as_text=True)).text


def test_a_move_lands_back_says_so_and_can_be_undone_from_the_notice(signed_in: Browser, house: Any) -> None:
    ticket_id = ticket(house)
    answer = signed_in.post(f"/tickets/{ticket_id}/move", {"to": "inspecting", "back": "/"})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/")
    sheet = Reader(signed_in.get("/").get_data(as_text=True))
    assert "is being looked at. Undo, until" in sheet.text
    undo = next(form for form in sheet.forms if form.action.endswith("/undo"))
    assert signed_in.post(undo.action, dict([undo.buttons[0][:2]])).status_code == 303
    assert seen(house, ticket_id).line.phase is Phase.TAKEN_IN
    assert "is taken back" in text(signed_in.get(f"/tickets/{ticket_id}"))
    again = signed_in.post(undo.action, dict([undo.buttons[0][:2]]))
    assert again.status_code == 409 and "no move to take back" in text(again)


def test_time_left_for_undo_is_shown_and_after_it_the_owner_needs_a_reason(signed_in: Browser, house: Any) -> None:
    ticket_id = ticket(house, "inspecting")
    house.clock.advance(28)
    assert "for 62 more seconds" in text(signed_in.get(f"/tickets/{ticket_id}"))
    house.clock.advance(100)
    late = Reader(signed_in.get(f"/tickets/{ticket_id}").get_data(as_text=True))
    event = next(dict(form.fields)["event"] for form in late.forms if form.action.endswith("/undo"))
    refused = signed_in.post(f"/tickets/{ticket_id}/undo", {"event": event})
    assert refused.status_code in (409, 422) and "needs a reason" in text(refused)
    assert signed_in.post(f"/tickets/{ticket_id}/undo", {"event": event, "reason": "wrong one"}).status_code == 303
    assert seen(house, ticket_id).line.phase is Phase.TAKEN_IN and seen(house, ticket_id).notes[0].text == "wrong one"


def test_a_refused_move_says_what_is_allowed_and_an_old_page_moves_nothing(signed_in: Browser, house: Any) -> None:
    ticket_id = ticket(house)
    refused = signed_in.post(f"/tickets/{ticket_id}/move", {"to": "proving"})
    assert refused.status_code == 409 and "cannot go" in text(refused) and not codes_in(text(refused))
    assert "Taken in, not looked at" in text(refused)
    version = seen(house, ticket_id).version
    moves.move(house.ctx, house.actor(), ticket_id, "inspecting")
    stale = signed_in.post(f"/tickets/{ticket_id}/move", {"to": "in_line", "version": str(version)})
    assert stale.status_code == 409 and "Somebody changed this ticket meanwhile" in text(stale)
    shelved = ticket(house, "in_line", "on_bench", "on_shelf")
    desk = signed_in.post(f"/tickets/{shelved}/move", {"to": "handed_back"})
    assert desk.status_code == 409 and "handover desk" in text(desk) and not codes_in(text(desk))


def test_starting_anyway_needs_a_note_and_a_move_with_reasons_needs_one_of_them(signed_in: Browser, house: Any) -> None:
    shop = full_shop.fill(house)
    path, how = f"/tickets/{shop.tickets['due']}", {"event": "bench_began", "to": "on_bench", "anyway": "1"}
    bare = signed_in.post(f"{path}/move", how)
    assert bare.status_code == 422 and 'href="#note-bench_began"' in bare.get_data(as_text=True)
    assert signed_in.post(f"{path}/move", {**how, "note": "coil not in the way"}).status_code == 303
    given = {"event": "shelved_unrepaired", "to": "on_shelf", "outcome": "unrepaired", "note": "corroded through"}
    without = signed_in.post(f"{path}/move", given)
    html = without.get_data(as_text=True)
    assert without.status_code == 422 and 'href="#reason-shelved_unrepaired"' in html and "corroded through" in html
    assert signed_in.post(f"{path}/move", {**given, "reason": "not_repairable"}).status_code == 303
    after = seen(house, shop.tickets["due"])
    assert (after.line.phase, after.line.reason) == (Phase.ON_SHELF, "not_repairable")
    assert {one.text for one in after.notes} >= {"coil not in the way", "corroded through"}


def test_a_handover_is_undone_from_the_ticket_by_a_technician_with_a_reason(app: Flask, house: Any) -> None:
    shop = full_shop.fill(house)
    path, how = f"/tickets/{shop.tickets['back']}", {"event": "handover_undone", "to": "on_shelf"}
    assert sign_in(app, house, role="counter").post(f"{path}/move", {**how, "reason": "other"}).status_code == 409
    bench = sign_in(app, house, role="technician")
    assert bench.post(f"{path}/move", how).status_code == 422
    assert bench.post(f"{path}/move", {**how, "reason": "wrong_device", "note": "was Ida's"}).status_code == 303
    assert seen(house, shop.tickets["back"]).line.phase is Phase.ON_SHELF
    assert "Handover undone, on the shelf again: wrong device, Ada technician." in text(bench.get(path))


def test_a_refused_question_keeps_every_word_and_a_good_one_is_asked(signed_in: Browser, house: Any) -> None:
    path = f"/tickets/{ticket(house)}"
    typed = {
        "kind": "price",
        "wording": "New <b>aerial</b>?\nIt is bent.",
        "price": "twelve",
        "until": "2026-11-27T12:00",
    }
    refused = signed_in.post(f"{path}/questions", typed)
    html = refused.get_data(as_text=True)
    assert refused.status_code == 422 and 'href="#price"' in html and 'value="2026-11-27T12:00"' in html
    assert "New &lt;b&gt;aerial&lt;/b&gt;?\nIt is bent." in html and 'value="twelve"' in html
    assert signed_in.post(f"{path}/questions", {**typed, "until": "rubbish"}).status_code == 422
    assert signed_in.post(f"{path}/questions", {**typed, "price": "12"}).status_code == 303
    twice = signed_in.post(f"{path}/questions", {**typed, "price": "12"})
    assert twice.status_code == 422 and "still open" in text(twice)


def test_an_answer_needs_who_said_it_and_a_withdrawn_question_takes_none(signed_in: Browser, house: Any) -> None:
    ticket_id = ticket(house)
    asked = questions.ask(house.ctx, house.actor(), ticket_id, kind="give_back", wording="Shall we stop?")
    bare = signed_in.post(f"/questions/{asked}/answer", {"answer": "keep_trying"})
    assert bare.status_code == 422 and f'href="#said_by-{asked}"' in bare.get_data(as_text=True)
    told = {"answer": "keep_trying", "said_by": "Ines on the phone"}
    assert signed_in.post(f"/questions/{asked}/answer", told).status_code == 303
    page = text(signed_in.get(f"/tickets/{ticket_id}"))
    assert "“Keep trying”, said by Ines on the phone, entered by Ada owner" in page
    other = questions.ask(house.ctx, house.actor(), ticket_id, kind="give_back", wording="And now?")
    assert signed_in.post(f"/questions/{other}/withdraw").status_code == 303
    late = signed_in.post(f"/questions/{other}/answer", told)
    assert late.status_code == 409 and "already withdrawn" in text(late)


def test_a_part_goes_from_noted_to_faulty_through_the_forms_of_its_ticket(signed_in: Browser, house: Any) -> None:
    set_up.put_supplier(house.ctx, house.actor(), name="Lantern", cutoff=None, delivers_at=time(10), days=1)
    path = f"/tickets/{(ticket_id := ticket(house, 'in_line'))}"
    (supplier,) = (one for one, _ in seen(house, ticket_id).suppliers)
    wrong = signed_in.post(f"{path}/parts", {"part": "Coil", "due": "2026-11-30"})
    assert wrong.status_code == 422 and 'value="Coil"' in wrong.get_data(as_text=True)
    assert signed_in.post(f"{path}/parts", {"part": "Coil"}).status_code == 303
    part = seen(house, ticket_id).parts[0].part_id
    late = signed_in.post(f"/parts/{part}/order", {"supplier": supplier, "due": "2026-11-01"})
    assert late.status_code == 422 and f'href="#due-{part}"' in late.get_data(as_text=True)
    assert signed_in.post(f"/parts/{part}/order", {"supplier": supplier}).status_code == 303
    assert "It should be here tomorrow, by 10:00." in text(signed_in.get(path))
    assert signed_in.post(f"/parts/{part}/due", {"due": ""}).status_code == 422
    assert signed_in.post(f"/parts/{part}/due", {"due": "2026-12-01", "back": path}).status_code == 303
    here = signed_in.post(f"/parts/{part}/arrived")
    assert here.headers["Location"] == path and "has all its parts" in text(signed_in.get(path))
    assert signed_in.post(f"/parts/{part}/dead", {"back": path}).status_code == 303
    assert [one.state for one in seen(house, ticket_id).parts] == ["dead", "needed"]
    assert signed_in.post(f"/parts/{part}/not-needed").status_code == 409


def test_a_box_is_booked_in_by_ticks_and_a_label_scanned_leads_to_its_part(signed_in: Browser, house: Any) -> None:
    shop = full_shop.fill(house)
    nothing = signed_in.post("/deliveries/arrived", {})
    assert nothing.status_code == 422 and "No part is ticked" in text(nothing)
    label = next(one.label for one in seen(house, shop.tickets["due"]).parts if one.part_id == shop.parts["due"])
    scanned = signed_in.post("/scan", {"scan": f"shelfbell:p/{label}"})
    assert scanned.headers["Location"] == f"/deliveries#part-{shop.parts['due']}"
    assert f'id="part-{shop.parts["due"]}"' in signed_in.get("/deliveries").get_data(as_text=True)
    both = {"part": [shop.parts["due"], shop.parts["more"], shop.parts["due"]]}
    assert signed_in.post("/deliveries/arrived", both).status_code == 303
    said = text(signed_in.get("/deliveries"))
    assert "Two parts are booked in." in said and "can bench the Harbour 3 radio" in said
    twice = signed_in.post("/deliveries/arrived", both)
    assert twice.status_code == 303 and "is booked in already" in text(signed_in.get("/deliveries"))


def test_promise_money_place_safety_and_note_are_kept_or_refused_with_what_was_typed(
    signed_in: Browser, house: Any
) -> None:
    path = f"/tickets/{(ticket_id := ticket(house, 'in_line'))}"
    assert signed_in.post(f"{path}/promise", {"promise": "2020-01-01T10:00"}).status_code == 422
    assert signed_in.post(f"{path}/promise", {"promise": "2026-11-26T11:30"}).status_code == 303
    assert signed_in.post(f"{path}/promise", {"promise": "2026-11-27T11:30", "why": "bench_busy"}).status_code == 303
    wrong = signed_in.post(f"{path}/paid", {"price_agreed": "38.00", "deposit": "a tenner"})
    html = wrong.get_data(as_text=True)
    assert wrong.status_code == 422 and 'href="#deposit"' in html and "a tenner" in html and 'value="38.00"' in html
    money = {"price_agreed": "38.00", "deposit": "10", "paid": ""}
    assert signed_in.post(f"{path}/paid", money).status_code == 303
    assert "Agreed £38.00, deposit £10.00, £28.00 still to pay." in text(signed_in.get(path))
    assert signed_in.post(f"{path}/paid", {"paid": "yes"}).status_code == 303
    assert signed_in.post(f"{path}/place", {"shelf": "x" * 40}).status_code == 422
    assert signed_in.post(f"{path}/place", {"shelf": "B3"}).status_code == 303
    assert signed_in.post(f"{path}/safety", {"safety": ["swollen", "wet"]}).status_code == 303
    assert signed_in.post(f"{path}/notes", {"note": " "}).status_code == 422
    token_in = signed_in.post(f"{path}/notes", {"note": "bcdfghjklnprstvxbcdfghjklnprstvx"})
    assert token_in.status_code == 422 and "scan field only" in text(token_in)
    assert signed_in.post(f"{path}/notes", {"note": "Dial glass\nloose too"}).status_code == 303
    after = seen(house, ticket_id)
    assert (after.paid, after.line.shelf, after.line.safety) == (True, "B3", ("swollen", "wet"))
    page = text(signed_in.get(path))
    assert "Promised for Friday, 27 November, by 11:30." in page and "Battery swollen" in page


def test_a_wrong_number_is_corrected_at_the_counter_and_rubbish_is_kept_to_be_mended(
    signed_in: Browser, house: Any
) -> None:
    path = f"/tickets/{(ticket_id := ticket(house))}"
    typed = {"person": seen(house, ticket_id).people[0].id, "channel": "sms", "address": "0770 rubbish"}
    wrong = signed_in.post(f"{path}/contact", typed)
    html = wrong.get_data(as_text=True)
    assert wrong.status_code == 422 and 'href="#contact-address"' in html and 'value="0770 rubbish"' in html
    assert signed_in.post(f"{path}/contact", {**typed, "address": "07700 900888"}).status_code == 303
    assert "+44 •••• ••• 888" in text(signed_in.get(path))
    assert signed_in.post(f"{path}/contact", {**typed, "address": ""}).status_code == 303
    assert [one.channel for one in seen(house, ticket_id).people[0].contacts] == ["email"]
    assert (
        signed_in.post(f"{path}/contact", {**typed, "person": "nobody", "address": "07700 900888"}).status_code == 422
    )
    assert signed_in.post(f"{path}/contact", {**typed, "channel": "fax", "address": "1"}).status_code == 422


def test_a_number_that_messages_came_back_from_needs_the_word_that_it_works_again(
    signed_in: Browser, house: Any
) -> None:
    path = f"/tickets/{(ticket_id := ticket(house))}"
    person = seen(house, ticket_id).people[0].id
    with house.ctx.db.write(house.shop_id) as unit:
        for one in people.contacts_of(unit, person):
            people.mark_undeliverable(unit, one.id, at=house.clock(), why="bounced:5.1.1")
    house.clock.advance(60)
    typed = {"person": person, "channel": "email", "address": "ines@example.org"}
    refused = signed_in.post(f"{path}/contact", typed)
    assert refused.status_code == 422 and "say that it works again" in text(refused)
    assert signed_in.post(f"{path}/contact", {**typed, "works_again": "1"}).status_code == 303
    assert [one.undeliverable for one in seen(house, ticket_id).people[0].contacts if one.channel == "email"] == [False]


def test_a_lost_claim_ticket_is_replaced_and_the_old_code_opens_nothing(signed_in: Browser, house: Any) -> None:
    shop = full_shop.fill(house)
    old = shop.token("shelf")
    assert signed_in.post(f"/tickets/{shop.tickets['shelf']}/claim-ticket").status_code == 303
    new = shop.token("shelf")
    assert new != old and old not in signed_in.get(f"/tickets/{shop.tickets['shelf']}").get_data(as_text=True)
    scanned = signed_in.post("/scan", {"scan": f"https://bell.example.org/c/{old}"})
    assert scanned.headers["Location"] == "/"
    assert "/handover" in signed_in.post("/scan", {"scan": f"https://bell.example.org/c/{new}"}).headers["Location"]


def test_a_pickup_is_booked_moved_and_given_up_for_somebody_on_the_phone(signed_in: Browser, house: Any) -> None:
    shop = full_shop.fill(house)
    path = f"/tickets/{shop.tickets['shelf']}"
    first, second = (f"{s.local:%Y-%m-%dT%H:%M}/{s.fold}" for s in seen(house, shop.tickets["shelf"]).slots[:2])
    for slot, said in ((first, "booked"), (second, "moved")):
        posted = signed_in.post(f"/visits/{shop.visits['shelf']}/book", {"slot": slot, "back": path})
        assert posted.headers["Location"] == path and f"The pickup is {said}: " in text(signed_in.get(path))
    assert "Slate e-reader" in text(signed_in.get("/pickups"))
    book = f"/visits/{shop.visits['shelf']}/book"
    assert signed_in.post(book, {"slot": "", "back": path}).status_code == 303
    assert seen(house, shop.tickets["shelf"]).booked_at is not None  # an untouched choice gives nothing up
    assert signed_in.post(book, {"give_up": "1", "back": path}).status_code == 303
    assert seen(house, shop.tickets["shelf"]).booked_at is None
    for slot in ("rubbish", "2020-01-01T10:00/0"):
        signed_in.post(f"/visits/{shop.visits['shelf']}/book", {"slot": slot, "back": path})
        assert 'class="news"' in signed_in.get(path).get_data(as_text=True)
    assert seen(house, shop.tickets["shelf"]).booked_at is None


def test_a_call_is_logged_once_and_its_note_kept_with_the_ticket(signed_in: Browser, house: Any) -> None:
    shop = full_shop.fill(house)
    with house.read() as unit:
        (task,) = messages.list_messages(unit, states=("to_call",))
    wrong = signed_in.post(f"/calls/{task.id}/log", {"result": "rubbish", "note": "left word with Mia"})
    assert wrong.status_code == 422 and "left word with Mia" in wrong.get_data(as_text=True)
    assert signed_in.post(f"/calls/{task.id}/log", {"result": "told", "note": "comes at six"}).status_code == 303
    page = text(signed_in.get("/calls"))
    assert "Told them: noted." in page and "Nobody needs a call." in page and "Told Ida Poole" in page
    assert "comes at six" in text(signed_in.get(f"/tickets/{shop.tickets['call']}"))
    assert signed_in.post(f"/calls/{task.id}/log", {"result": "told"}).status_code == 303
    assert "logged already" in text(signed_in.get("/calls"))


REFUSED: tuple[tuple[str, dict[str, str], str], ...] = (
    ("shop", {"name": "Bench", "phone": "12", "email": "no", "region": "GB", "address": "x"}, "shop-phone"),
    ("hours", {"weekday-1": "0", "opens-1": "25:00", "closes-1": "18:00", "capacity-1": "2"}, "hours-opens-1"),
    ("hours", {"weekday-4": "0", "opens-4": "10:00", "closes-4": "18:00", "lead_minutes": "x"}, "hours-lead_minutes"),
    ("closed", {"day": "", "reason": "Fair"}, "closed-day"),
    ("closed", {"day": "2026-12-24", "opens": "10:00", "closes": "", "reason": "Eve"}, "closed-opens"),
    ("staff", {"name": "Kim", "role": "counter", "password": "short", "pin": "12ab"}, "staff-password"),
    ("suppliers", {"name": "", "days": "2", "cutoff": "17:00"}, "supplier-name"),
    ("suppliers", {"name": "Mole", "days": "many", "cutoff": ""}, "supplier-days"),
    ("suppliers", {"name": "Mole", "days": "2", "calendar": "1"}, "supplier-working_days"),
    (
        "suppliers",
        {"name": "Mole", "days": "2", "calendar": "1", "works": "5", "closed_days": "on holidays"},
        "supplier-closed_days",
    ),
    ("suppliers", {"name": "Mole", "days": "2", "calendar": "1", "works": "5", "zone": "Mole/End"}, "supplier-zone"),
    ("retention", {"days": "soon"}, "retention-days"),
    ("retention", {"days": "0"}, "retention-days"),
)


def test_refused_settings_name_their_field_and_keep_what_was_typed(signed_in: Browser) -> None:
    for form, typed, field in REFUSED:
        answer = signed_in.post(f"/settings/{form}", typed)
        html = answer.get_data(as_text=True)
        assert answer.status_code == 422 and f'href="#{field}"' in html and f'id="{field}"' in html, field
        for name, value in typed.items():
            if value and not name.startswith("weekday") and name not in ("password", "pin"):
                assert f'value="{value}"' in html, (form, name)
        assert 'value="short"' not in html and "12ab" not in html  # a password is never sent back
        assert not codes_in(text(answer)), form
    print(f"FIGURE settings_refused forms={len(REFUSED)} lost=0")


def test_a_suppliers_calendar_is_kept_shown_and_offered_again_for_a_change(signed_in: Browser, house: Any) -> None:
    typed = {"name": "Mole", "days": "2", "cutoff": "17:00", "calendar": "1", "works": ["0", "1", "5"],
             "zone": "Europe/Berlin", "closed_days": "2026-12-24, 2026-12-31", "redelivers": "yes"}  # fmt: skip
    assert signed_in.post("/settings/suppliers", typed).status_code == 303
    [kept] = view_settings.view(house.ctx, house.actor()).suppliers
    assert (kept.zone, kept.working_days, kept.redelivers) == ("Europe/Berlin", "1100010", True)
    assert kept.closed_days == ("2026-12-24", "2026-12-31")
    with house.ctx.db.write(house.shop_id) as unit:
        suppliers.put_delays(unit, kept.id, [8, 2])
    plain = text(signed_in.get("/settings"))
    assert "Order by 17:00 (Europe/Berlin), here after 2 working days." in plain
    assert "Works on Monday, Tuesday and Saturday. Closed on two days of its own." in plain
    assert "Brings a box again when the shop was shut. Came on the day 8 of 10 times, 2 one working day later." in plain
    filled = signed_in.get(f"/settings?supplier={kept.id}").get_data(as_text=True)
    [form] = [one for one in Reader(filled).forms if any(name == "calendar" for name, _ in one.fields)]
    fields = dict(form.fields)
    assert (fields["name"], fields["zone"], fields["redelivers"]) == ("Mole", "Europe/Berlin", "yes")
    assert [value for name, value in form.fields if name == "works"] == ["0", "1", "5"]
    assert "Mole" not in str(Reader(signed_in.get("/settings?supplier=no-such").get_data(as_text=True)).forms)
    short = {"name": "Mole", "days": "1", "cutoff": "", "delivers_at": ""}  # no calendar shown: none is changed
    assert signed_in.post("/settings/suppliers", short).status_code == 303
    [after] = view_settings.view(house.ctx, house.actor()).suppliers
    assert (after.days, after.cutoff, after.working_days, after.delays) == (1, None, "1100010", (8, 2))


def test_settings_change_what_they_say_and_only_that(signed_in: Browser, house: Any) -> None:
    shop = {
        "name": "Quay Bench",
        "phone": "07700 900555",
        "email": "q@example.org",
        "region": "GB",
        "address": "1 Quay",
    }
    week = {"weekday-1": "2", "opens-1": "10:00", "closes-1": "18:30", "capacity-1": "3", "weekday-9": "",
            "slot_minutes": "20", "lead_minutes": "15", "horizon_days": "10",
            "telling_hours": "mon-fri 09:00-19:00"}  # fmt: skip
    tomorrow = str(house.clock().date() + timedelta(days=1))
    steps = [
        ("shop", shop), ("hours", week), ("closed", {"day": tomorrow, "opens": "", "closes": "", "reason": "Fair"}),
        ("closed", {"day": "2026-12-24", "opens": "10:00", "closes": "12:00", "reason": "Eve"}),
        ("suppliers", {"name": "Mole", "days": "2", "cutoff": "17:00", "delivers_at": "10:00"}),
        ("suppliers", {"name": "Mole", "days": "1", "cutoff": "16:00", "delivers_at": ""}),
        ("retention", {"days": "30"}),
        ("staff", {"name": "Kim Lee", "role": "counter", "password": "correct harbour staple", "pin": "4711"}),
    ]  # fmt: skip
    for form, typed in steps:
        assert signed_in.post(f"/settings/{form}", typed).status_code == 303, form
    now = view_settings.view(house.ctx, house.actor())
    assert (now.shop.name, now.shop.phone, now.rules[0].now.period) == ("Quay Bench", "+447700900555", "P90D")
    assert [one.to_come.period for one in now.rules if one.to_come] == ["P30D"]
    assert [(row.weekday, row.capacity) for _, row in now.hours] == [(2, 3)] and now.shop.slot_minutes == 20
    assert now.shop.telling_hours == "mon-fri 09:00-19:00"
    assert [(str(day.day), day.opens) for day in now.days] == [(tomorrow, None), ("2026-12-24", time(10))]
    assert [(one.name, one.days, one.cutoff) for one in now.suppliers] == [("Mole", 1, time(16))]
    page = text(signed_in.get("/settings"))
    assert "closed (Fair)" in page and "open 10:00 to 12:00 (Eve)" in page and "Kim Lee , at the counter" in page
    kim = next(one.id for one in now.people if one.name == "Kim Lee")
    drops = [
        ("closed", {"open_again": now.days[0].id}),
        ("suppliers", {"drop": now.suppliers[0].id}),
        ("staff", {"leave": kim}),
    ]
    for form, typed in drops:
        assert signed_in.post(f"/settings/{form}", typed).status_code == 303, form
    after = view_settings.view(house.ctx, house.actor())
    assert len(after.days) == 1 and not after.suppliers and "Kim Lee" not in {one.name for one in after.people}
