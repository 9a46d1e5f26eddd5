"""The owner's page of messages: filters in the address, the alarm in words, sending once more, and what texts cost."""

from __future__ import annotations

import re
from typing import Any

import pytest

from notify.flows import moves
from notify.store import messages
from tests.web.conftest import Browser
from tests.web.staff_pages import Reader, codes_in

pytestmark = pytest.mark.long


def read(browser: Browser, path: str) -> str:
    answer = browser.get(path)
    assert answer.status_code == 200, path
    return Reader(answer.get_data(as_text=True)).text


def shelved(house: Any) -> Any:
    done = house.check_in()
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    house.deliver(after=91)
    return done


def newest(house: Any, notice: str) -> Any:
    with house.read() as unit:
        return next(m for m in messages.list_messages(unit, limit=500) if m.notice == notice)


def test_a_filter_stays_chosen_leads_through_the_pages_and_a_wrong_one_is_refused_in_words(
    signed_in: Browser, house: Any
) -> None:
    for n in range(52):
        house.check_in(email=f"c{n}@example.org", phone="")
    page = signed_in.get("/messages?group=waiting").get_data(as_text=True)
    assert '<option value="waiting" selected>' in page and "group=waiting&amp;page=2" in page
    assert "Older" in page and "Newer" not in page
    second = signed_in.get("/messages?group=waiting&page=2").get_data(as_text=True)
    assert "group=waiting&amp;page=1" in second and second.count('<span class="when">') == 2
    assert "No message fits." in read(signed_in, "/messages?group=told&notice=ready&channel=call")
    for wrong, field in (("group=x", "group"), ("number=QQQ", "number"), ("channel=pigeon", "channel")):
        answer = signed_in.get(f"/messages?{wrong}")
        assert answer.status_code == 422
        text = answer.get_data(as_text=True)
        assert f'href="#{field}"' in text and not codes_in(Reader(text).text), wrong


def test_the_page_says_what_waits_longest_and_is_alarmed_by_what_should_have_left(
    signed_in: Browser, house: Any
) -> None:
    house.check_in(phone="")
    assert "The oldest" not in read(signed_in, "/messages") and "should have left" not in read(signed_in, "/messages")
    house.clock.advance(3 * 3600)  # nobody takes it out
    text = read(signed_in, "/messages")
    assert "One message should have left and has not, for 2 hours." in text or "for two hours" in text
    assert re.search(r"Checked in [A-Z0-9]{3}-[A-Z0-9]{4} has waited three hours\.", text)


def test_once_more_from_the_page_asks_why_and_says_why_not(signed_in: Browser, house: Any) -> None:
    done = shelved(house)
    first = newest(house, "ready")
    address = f"/messages/{first.id}/resend"
    assert signed_in.post(address).status_code == 422
    page = signed_in.post(address, {"reason": ""}).get_data(as_text=True)
    assert 'href="#reason"' in page and not codes_in(Reader(page).text)
    answer = signed_in.post(address, {"reason": "lost"})
    assert answer.status_code == 303
    landed = signed_in.get(answer.headers["Location"]).get_data(as_text=True)
    assert "It is sent once more." in landed and newest(house, "ready").resend == 1
    house.deliver()
    moves.move(house.ctx, house.actor(), done.ticket_ids[0], "in_line", reason="fault_seen_again")
    refused = signed_in.post(address, {"reason": "lost"})
    said = Reader(refused.get_data(as_text=True)).text
    assert refused.status_code == 422 and "it was no longer on the shelf" in said and not codes_in(said)


def test_what_is_forgotten_or_waits_offers_no_sending_again(signed_in: Browser, house: Any) -> None:
    from notify.flows import forget, handover
    from notify.store import tickets
    from tests.parts.shelved import token_of

    house.check_in()
    assert "Send it once more" not in read(signed_in, f"/messages/{newest(house, 'checked_in').id}")
    done = shelved(house)
    told = newest(house, "ready")
    assert "Send it once more" in read(signed_in, f"/messages/{told.id}")
    ticket = done.ticket_ids[0]
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket], token=token_of(house, ticket))
    with house.read() as unit:
        person = tickets.get_ticket(unit, ticket).person_id
    forget.erase_person(house.ctx, house.actor(), person)
    assert "Send it once more" not in read(signed_in, f"/messages/{told.id}")
    assert signed_in.post(f"/messages/{told.id}/resend", {"reason": "lost"}).status_code == 422


def test_the_way_to_how_messages_read_is_on_the_page(signed_in: Browser, house: Any) -> None:
    page = signed_in.get("/messages")
    assert '<a href="/previews">How messages read</a>' in page.text and signed_in.get("/previews").status_code == 200


def test_what_texts_cost_stands_in_a_sentence_and_by_kind_on_a_page_of_its_own(signed_in: Browser, house: Any) -> None:
    assert "No text message has left" in read(signed_in, "/messages/cost")
    shelved(house)
    assert re.search(r"This month: one text message in one part\.", read(signed_in, "/messages"))
    answer = signed_in.post(
        "/settings/telling",
        {
            "sms_part_price": "0,045",
            "alarm_minutes": "60",
            "bell_phone": "01632 960124",
            "all_well_days": "7",
            "forget_notice_days": "3",
            "long_past_hours": "6",
        },
    )
    assert answer.status_code == 303, answer.get_data(as_text=True)[-2000:]
    assert "in one part, £0.05." in read(signed_in, "/messages")  # 0.045 rounded half up
    assert "Each part of a text message costs 0.045 GBP now." in read(signed_in, "/messages/cost")
    wrong = signed_in.post(
        "/settings/telling", {"sms_part_price": "dear", "alarm_minutes": "x", "bell_phone": "1", "all_well_days": "61"}
    )
    text = wrong.get_data(as_text=True)
    assert wrong.status_code == 422
    wanted = ("sms_part_price", "alarm_minutes", "bell_phone", "all_well_days")
    assert all(f'href="#telling-{name}"' in text for name in wanted)
    assert 'value="dear"' in text


def test_the_bell_is_set_on_the_settings_page_shown_masked_kept_when_left_empty_and_erased(
    signed_in: Browser, house: Any
) -> None:
    me = house.actor("owner").id
    wrong = signed_in.post("/settings/bell", {"id": me, "by": "both", "email": "ada@example.net", "phone": ""})
    assert wrong.status_code == 422 and f'href="#bell-{me}-phone"' in wrong.get_data(as_text=True)
    assert 'value="ada@example.net"' in wrong.get_data(as_text=True)  # kept as typed
    assert signed_in.post("/settings/bell", {"id": me, "by": "email", "email": "ada@example.net"}).status_code == 303
    page = signed_in.get("/settings").get_data(as_text=True)
    assert "a••@example.net" in page and "ada@example.net" not in page
    assert signed_in.post("/settings/bell", {"id": me, "by": "both", "phone": "07700 900777"}).status_code == 303
    assert "The bell rings by e-mail and text message, to a••@example.net and +44 •••• ••• 777." in read(
        signed_in, "/settings"
    )
    assert signed_in.post("/settings/bell", {"erase": me}).status_code == 303
    assert "The bell rings on the shop's own address." in read(signed_in, "/settings")


def test_a_technician_sets_their_own_bell_and_nobody_elses(app: Any, house: Any, signed_in: Browser) -> None:
    from tests.web.conftest import sign_in

    ben = sign_in(app, house, role="technician")
    other, own = house.actor("owner").id, house.actor("technician").id
    text = ben.get("/settings").get_data(as_text=True)
    assert f'value="{own}"' in text and f'name="id" value="{other}"' not in text
    assert ben.post("/settings/bell", {"id": own, "by": "email", "email": "ben@example.net"}).status_code == 303
    refused = ben.post("/settings/bell", {"id": other, "by": "email", "email": "ben@example.net"})
    assert refused.status_code == 422 and "may not" in refused.get_data(as_text=True)


def test_a_message_to_one_of_the_staff_names_them_and_not_their_address(signed_in: Browser, house: Any) -> None:
    from notify.flows import questions, staff_bell

    owner = house.actor("owner")
    staff_bell.set_bell(house.ctx, owner, owner.id, email="ada@example.net", by="email")
    done = house.check_in()
    for phase in ("inspecting", "in_line", "on_bench"):
        moves.move(house.ctx, owner, done.ticket_ids[0], phase)
    asked = questions.ask(house.ctx, owner, done.ticket_ids[0], kind="price", wording="New cone?", price="45")
    questions.answer(house.ctx, house.customer(), asked, answer="accept")
    house.deliver()
    text = read(signed_in, "/messages?notice=answer_shop")
    assert "By e-mail to Ada owner, left" in text and "example.net" not in text


def test_failures_stand_under_their_own_heading_above_the_others(signed_in: Browser, house: Any) -> None:
    house.check_in()
    called = house.check_in(phone="", email="", name="Noor Vale")
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), called.ticket_ids[0], phase)
    house.deliver(after=91)
    text = read(signed_in, "/messages")
    assert text.index("What needs somebody") < text.index("By a call, still to be made") < text.index("The others")
    assert "What needs somebody" not in read(signed_in, "/messages?group=failed")
