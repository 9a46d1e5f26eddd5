"""Codes to stored contacts: to whom, how often, how long, how many tries; never to a contact noted too lately."""

from __future__ import annotations

import re
import threading
from typing import Any

import pytest
from sqlalchemy import select

from notify.core import contact_code as rules
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound, TooOften
from notify.flows import contact_codes, desk_notes, handover, lost_ticket, reach, resend, view_messages
from notify.flows.check_in_form import PersonForm
from notify.flows.contact_codes import WrongCode
from notify.store import contact_codes as code_rows
from notify.store import events, messages, schema, visits
from tests.flows.conftest import Lines, words
from tests.parts.shelved import shelve, token_of

pytestmark = pytest.mark.long

CODE = re.compile(r"(\d{4}) (\d{4})")


def code_in(outgoing: Any) -> str:
    """The code that a reader of this message sees."""
    found = CODE.search(words(outgoing))
    assert found
    return found[1] + found[2]


def other(code: str) -> str:
    return f"{(int(code) + 1) % 10**8:08d}"


def ask(lines: Lines, visit_id: str, purpose: str = "lost_ticket") -> str:
    """Has a code sent, and reads it."""
    sent = contact_codes.send_code(lines.house.ctx, lines.house.actor(), visit_id, purpose=purpose)
    lines.house.deliver()
    return code_in((lines.text if sent.channel == "sms" else lines.mail).sent[-1])


def test_the_arithmetic_beside_the_constants_holds() -> None:
    """OWASP ASVS 5.0.0, 6.5.3 (facts 2.2): 20 bits at least; and the even chance of a sprayer is years away."""
    import math

    tries_a_day = 1000 * rules.A_DAY * rules.MOST_WRONG
    half = math.log(0.5) / math.log1p(-tries_a_day / 10**rules.DIGITS)
    print(f"FIGURE contact_code bits={rules.DIGITS * math.log2(10):.1f} days_to_even_chance={half:.0f}")
    assert rules.DIGITS * math.log2(10) >= 20 > 6 * math.log2(10)
    assert 1600 < half < 1800


@pytest.mark.parametrize(
    ("typed", "read"),
    [("1234 5678", "12345678"), ("1234-5678", "12345678"), (" 12 34.56\u201378 ", "12345678"), ("١٢٣٤٥٦٧٨", "12345678"),
     ("1234567", ""), ("123456789", ""), ("1234567x", ""), ("", ""), ("²2345678", "")],
)  # fmt: skip
def test_a_code_is_read_however_it_is_typed_and_anything_else_is_none(typed: str, read: str) -> None:
    assert rules.read_code(typed) == read


def test_the_code_goes_by_text_and_else_by_mail_and_its_message_says_who_asks_for_it(lines: Lines) -> None:
    house = lines.house
    done = house.check_in()
    sent = contact_codes.send_code(house.ctx, house.actor(), done.visit_id, purpose="lost_ticket")
    house.deliver()
    assert (sent.masked, sent.channel) == ("+44 •••• ••• 123", "sms")
    assert sent.expires_at == house.clock() + rules.LIFETIME
    text = words(lines.text.sent[-1])
    assert "Nobody from the shop will ask you for it, except at the counter when you say you lost your ticket" in text
    assert f"{rules.LIFETIME.seconds // 60} minutes" in text and "Ines" not in text and "radio" not in text
    mailed = house.check_in(phone="")
    assert contact_codes.send_code(house.ctx, house.actor(), mailed.visit_id, purpose="price").masked == (
        "i••@example.org"
    )
    house.deliver()
    assert code_in(lines.mail.sent[-1]) and CODE.search(str(lines.mail.sent[-1].payload)) is not None


def nobody(lines: Lines) -> str:
    return str(lines.house.check_in(phone="", email="").visit_id)


def stopped(lines: Lines) -> str:
    done = lines.house.check_in(email="")
    with lines.house.read() as unit:
        person = visits.visit_people(unit, done.visit_id)["bringer"][0]
    reach.set_use(lines.house.ctx, lines.house.customer(), done.visit_id, person, channel="sms",
                  purposes=("repair", "pickup"), allowed=False, how="reply")  # fmt: skip
    return str(done.visit_id)


def in_the_device(lines: Lines) -> str:
    return str(lines.house.check_in(email="", number_is_device=True).visit_id)


def only_the_told_one(lines: Lines) -> str:
    told = PersonForm("Tam Okoro", "07700 900456", "tam@example.org")
    return str(lines.house.check_in(phone="", email="", tell=told).visit_id)


@pytest.mark.parametrize("make", [nobody, stopped, in_the_device, only_the_told_one])
def test_without_a_contact_that_proves_anything_staff_are_told_what_to_do_instead(lines: Lines, make: Any) -> None:
    visit_id = make(lines)
    with pytest.raises(NotAllowed, match="Check who it is in words") as refused:
        contact_codes.send_code(lines.house.ctx, lines.house.actor(), visit_id, purpose="lost_ticket")
    assert "Call us" not in str(refused.value)
    with pytest.raises(NotAllowed, match="Call us"):
        contact_codes.send_code(lines.house.ctx, lines.house.customer(), visit_id, purpose="price")
    lines.house.deliver()
    assert lines.rows(visit_id, "contact_code") == []


def test_a_stopped_number_gives_way_to_the_mail_address(lines: Lines) -> None:
    done = lines.house.check_in()
    with lines.house.read() as unit:
        person = visits.visit_people(unit, done.visit_id)["bringer"][0]
    reach.set_use(lines.house.ctx, lines.house.customer(), done.visit_id, person, channel="sms",
                  purposes=("repair", "pickup"), allowed=False, how="reply")  # fmt: skip
    assert contact_codes.send_code(lines.house.ctx, lines.house.actor(), done.visit_id, purpose="price").channel == (
        "email"
    )


def test_a_stop_between_asking_and_leaving_keeps_the_code_back(lines: Lines) -> None:
    done = lines.house.check_in(email="")
    contact_codes.send_code(lines.house.ctx, lines.house.actor(), done.visit_id, purpose="price")
    with lines.house.read() as unit:
        person = visits.visit_people(unit, done.visit_id)["bringer"][0]
    reach.set_use(lines.house.ctx, lines.house.customer(), done.visit_id, person, channel="sms",
                  purposes=("repair", "pickup"), allowed=False, how="reply")  # fmt: skip
    lines.house.deliver()
    assert lines.states(done.visit_id, "contact_code") == [("sms", "dropped", "not_allowed")]


def test_the_right_code_counts_once_for_its_visit_and_its_purpose(lines: Lines) -> None:
    house = lines.house
    mine, theirs = house.check_in(), house.check_in(phone="07700 900777", email="")
    code = ask(lines, mine.visit_id)
    for visit_id, purpose in ((mine.visit_id, "price"), (theirs.visit_id, "lost_ticket")):
        with pytest.raises(WrongCode, match="No code is open"):
            contact_codes.prove(house.ctx, house.actor(), visit_id, purpose=purpose, typed=code)
    contact_codes.prove(house.ctx, house.actor(), mine.visit_id, purpose="lost_ticket", typed=code)
    with pytest.raises(WrongCode, match="No code is open"):
        contact_codes.prove(house.ctx, house.actor(), mine.visit_id, purpose="lost_ticket", typed=code)
    with house.read() as unit:
        story = [e.kind for e in events.story_of(unit, visit_id=mine.visit_id)]
    assert story.count("code_asked") == story.count("code_proved") == 1


def test_five_wrong_tries_end_a_code_and_each_counts_although_it_is_refused(lines: Lines) -> None:
    house = lines.house
    visit_id = house.check_in().visit_id
    code = ask(lines, visit_id)
    said = []
    for _ in range(rules.MOST_WRONG):
        with pytest.raises(WrongCode) as wrong:
            contact_codes.prove(house.ctx, house.actor(), visit_id, purpose="lost_ticket", typed=other(code))
        said.append(str(wrong.value))
    assert "4 times more" in said[0] and "counts no more" in said[-1]
    with pytest.raises(WrongCode, match="No code is open"):
        contact_codes.prove(house.ctx, house.actor(), visit_id, purpose="lost_ticket", typed=code)
    fresh = ask(lines, visit_id)
    for _ in range(3):  # what cannot be a code is no try
        with pytest.raises(Invalid):
            contact_codes.prove(house.ctx, house.actor(), visit_id, purpose="lost_ticket", typed="1234")
    contact_codes.prove(house.ctx, house.actor(), visit_id, purpose="lost_ticket", typed=fresh)


def test_wrong_codes_typed_all_at_once_are_each_counted(lines: Lines) -> None:
    """Nobody gets more tries by typing at the same time: the check and its count are one transaction."""
    house = lines.house
    visit_id = house.check_in().visit_id
    code = ask(lines, visit_id)
    answers: list[str] = []
    start = threading.Barrier(12)

    def guess() -> None:
        start.wait()
        try:
            contact_codes.prove(house.ctx, house.actor(), visit_id, purpose="lost_ticket", typed=other(code))
        except WrongCode as wrong:
            answers.append(wrong.what)

    threads = [threading.Thread(target=guess) for _ in range(12)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    tried = sum(answer.startswith("This is not the code") for answer in answers)
    print(f"FIGURE wrong_codes_at_once guesses={len(answers)} tried={tried}")
    assert (len(answers), tried) == (12, rules.MOST_WRONG)


def test_a_code_is_over_after_half_an_hour_and_a_newer_one_ends_the_older(lines: Lines) -> None:
    house = lines.house
    visit_id = house.check_in().visit_id
    first = ask(lines, visit_id)
    second = ask(lines, visit_id)
    with pytest.raises(WrongCode):
        contact_codes.prove(house.ctx, house.actor(), visit_id, purpose="lost_ticket", typed=first)
    house.clock.advance(rules.LIFETIME.total_seconds())
    with pytest.raises(WrongCode, match="No code is open"):
        contact_codes.prove(house.ctx, house.actor(), visit_id, purpose="lost_ticket", typed=second)


def test_a_message_that_comes_too_late_or_was_overtaken_is_not_sent(lines: Lines) -> None:
    house = lines.house
    visit_id = house.check_in().visit_id
    for _ in range(2):
        contact_codes.send_code(house.ctx, house.actor(), visit_id, purpose="price")
    house.deliver()
    house.clock.advance(3600)
    contact_codes.send_code(house.ctx, house.actor(), visit_id, purpose="price")
    house.deliver(after=rules.LIFETIME.total_seconds() + 1)
    reasons = [(m.state, m.reason) for m in lines.rows(visit_id, "contact_code")]
    assert reasons == [("dropped", "code_over"), ("sent", ""), ("dropped", "expired")]


def test_a_visit_gets_three_codes_an_hour_and_eight_a_day_and_a_place_ten_an_hour(lines: Lines) -> None:
    house, sent = lines.house, 0
    visit_id = house.check_in().visit_id
    for hour in range(4):
        for _ in range(rules.AN_HOUR + 2):
            try:
                contact_codes.send_code(house.ctx, house.actor(), visit_id, purpose=rules.PURPOSES[hour % 3])
                sent += 1
            except TooOften as wait:
                assert "minutes" in str(wait)
        house.clock.advance(3601)
    from_one_place = 0
    for n in range(rules.FROM_ONE_PLACE + 3):
        other_visit = house.check_in(phone=f"07700 9001{n:02d}").visit_id
        try:
            contact_codes.send_code(house.ctx, house.customer(), other_visit, purpose="price", source="2001:db8::1")
            from_one_place += 1
        except TooOften:
            continue
    print(f"FIGURE codes_sent a_day={sent} from_one_place={from_one_place}")
    assert (sent, from_one_place) == (rules.A_DAY, rules.FROM_ONE_PLACE)
    house.clock.advance(86400)
    contact_codes.send_code(house.ctx, house.actor(), visit_id, purpose="price")


def test_no_code_goes_to_a_contact_that_was_changed_within_the_hold(lines: Lines) -> None:
    """Whoever talks the shop into another number must not prove with it that they own the device."""
    house = lines.house
    done = house.check_in(email="")
    house.deliver(after=91)
    with house.read() as unit:
        person = visits.visit_people(unit, done.visit_id)["bringer"][0]
    house.clock.advance(3600)
    reach.set_contact(house.ctx, house.actor(), done.visit_id, person, channel="sms", address="07700 900999")
    with pytest.raises(NotAllowed, match="no address or number"):
        contact_codes.send_code(house.ctx, house.actor(), done.visit_id, purpose="lost_ticket")
    house.clock.advance(24 * 3600)
    assert contact_codes.send_code(house.ctx, house.actor(), done.visit_id, purpose="lost_ticket").masked.endswith(
        "999"
    )


def test_the_right_code_replaces_every_open_ticket_and_the_contacts_learn_of_it(lines: Lines) -> None:
    house = lines.house
    done = house.check_in()
    old = token_of(house, done.ticket_ids[0])
    shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    code = ask(lines, done.visit_id)
    with pytest.raises(WrongCode):
        lost_ticket.renew(house.ctx, house.actor(), done.visit_id, typed=other(code))
    assert token_of(house, done.ticket_ids[0]) == old
    new = lost_ticket.renew(house.ctx, house.actor(), done.visit_id, typed=f"{code[:4]} {code[4:]}")
    house.deliver()
    assert new.count == 1 and new.token == token_of(house, done.ticket_ids[0]) != old
    assert [c for c, state, _ in lines.states(done.visit_id, "link_replaced") if state == "sent"] == ["sms", "email"]
    assert new.token in words(lines.mail.sent[-1]) and old not in words(lines.mail.sent[-1])
    with pytest.raises(NotFound):
        handover.find_claim(house.ctx, house.actor(), old)
    given = handover.hand_back(house.ctx, house.actor(), ticket_ids=done.ticket_ids, token=new.token, by_code=True)
    assert given.how == "contact_code"


def test_a_ticket_replaced_on_the_word_of_staff_is_told_as_well(lines: Lines) -> None:
    house = lines.house
    done = house.check_in()
    desk_notes.replace_after_check(house.ctx, house.actor(), done.visit_id, checked="knew the dent")
    house.deliver()
    assert [state for _, state, _ in lines.states(done.visit_id, "link_replaced")] == ["sent", "sent"]


def test_the_code_and_the_bytes_that_tell_it_are_gone_once_it_has_left(lines: Lines) -> None:
    house = lines.house
    visit_id = house.check_in().visit_id
    contact_codes.send_code(house.ctx, house.actor(), visit_id, purpose="price")
    with house.read() as unit:
        row = unit.connection.execute(select(schema.contact_codes)).mappings().one()
        assert row["code_sealed"] is not None and len(row["hash"]) == 64
    house.deliver()
    code = code_in(lines.text.sent[-1])
    with house.read() as unit:
        row = unit.connection.execute(select(schema.contact_codes)).mappings().one()
        (message,) = (m for m in messages.messages_of_visit(unit, visit_id) if m.notice == "contact_code")
        assert row["code_sealed"] is None and not message.has_bytes and messages.get_sentence(unit, message) == ""
        kept = [
            repr(dict(one))
            for t in schema.metadata.sorted_tables
            for one in unit.connection.execute(select(t)).mappings()
        ]
    assert not any(code in one for one in kept) and len(kept) > 20
    house.clock.advance(rules.LIFETIME.total_seconds())
    assert contact_codes.tidy(house.ctx, house.system()) == 1
    with house.read() as unit:
        assert unit.connection.execute(select(schema.contact_codes)).first() is None


def test_staff_see_dots_where_a_code_stands_while_it_waits_to_leave(lines: Lines) -> None:
    from notify.channels.base import Receipt, Verdict

    house = lines.house
    lines.text_line.answer = Receipt(Verdict.TRY_LATER, "connect", "Nobody answers.")
    visit_id = house.check_in(email="").visit_id
    contact_codes.send_code(house.ctx, house.actor(), visit_id, purpose="price")
    house.deliver()
    (message,) = lines.rows(visit_id, "contact_code")
    with house.read() as unit:
        whole = messages.get_sentence(unit, message)
    assert message.state == "waiting" and CODE.search(whole)
    seen = view_messages.view_one(house.ctx, house.actor(), message.id)
    assert "•••• ••••" in seen.sms and not CODE.search(repr(seen).replace("900 123", ""))
    with pytest.raises(Conflict, match="once only"):
        resend.resend(house.ctx, house.actor(), message.id, reason="lost", look=house.services.dispatcher.look)


def test_a_refused_code_tries_no_other_way_and_is_wiped(lines: Lines) -> None:
    from tests.flows.conftest import REFUSED

    house = lines.house
    lines.text_line.answer = REFUSED
    visit_id = house.check_in().visit_id
    contact_codes.send_code(house.ctx, house.actor(), visit_id, purpose="price")
    house.deliver()
    assert [(m.channel, str(m.state), m.has_bytes) for m in lines.rows(visit_id, "contact_code")] == [
        ("sms", "given_up", False)
    ]
    assert contact_codes.send_code(house.ctx, house.actor(), visit_id, purpose="price").channel == "email"


def test_old_counts_of_tries_are_forgotten_and_running_ones_are_kept(lines: Lines) -> None:
    house = lines.house
    contact_codes.send_code(house.ctx, house.actor(), house.check_in().visit_id, purpose="price")
    house.clock.advance(40 * 3600)
    contact_codes.send_code(house.ctx, house.actor(), house.check_in(phone="07700 900124").visit_id, purpose="price")

    def count() -> int:
        with house.read() as unit:
            return len(unit.connection.execute(select(schema.throttles)).all())

    assert count() == 4
    house.clock.advance(9 * 3600)
    contact_codes.tidy(house.ctx, house.system())
    assert count() == 2


def test_a_visit_that_is_not_ours_gets_no_code_and_is_said_to_be_none(lines: Lines) -> None:
    lines.house.check_in()
    with pytest.raises(NotFound, match="no such visit"):
        contact_codes.send_code(lines.house.ctx, lines.house.actor(), "nobody", purpose="lost_ticket")


def test_the_same_digits_kept_for_two_visits_look_different_in_a_stolen_file(lines: Lines) -> None:
    """Else whoever has the file, and one code of their own, finds everybody else who has the same eight digits."""
    house = lines.house
    until = house.clock() + rules.LIFETIME
    for done in (house.check_in(), house.check_in()):
        with house.ctx.db.write(house.shop_id) as unit:
            person = visits.visit_people(unit, done.visit_id)["bringer"][0]
            code_rows.add_code(unit, visit_id=done.visit_id, person_id=person, contact_id="c", purpose="price",
                               code="12345678", at=house.clock(), expires_at=until)  # fmt: skip
    with house.read() as unit:
        hashes = unit.connection.execute(select(schema.contact_codes.c.hash)).scalars().all()
    assert len(hashes) == len(set(hashes)) == 2
