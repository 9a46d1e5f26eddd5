"""The shop's own bell from the flow to the wire: for the technician by their own choice, else for the shop."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.core.actors import Actor
from notify.core.errors import Invalid, NotAllowed, NotFound
from notify.flows import forget, moves, parts, pickup, questions, set_up, staff, staff_bell
from notify.flows.view_staff import view_staff
from notify.store import erasing, messages, schema
from tests.flows.conftest import REFUSED, Lines, words

pytestmark = pytest.mark.long

ADA_MAIL, ADA_PHONE = "ada.wren@example.net", "+447700900777"


def technician(lines: Lines, name: str = "Ada Wren") -> Actor:
    """Somebody who works here, as an actor."""
    house = lines.house
    new = staff.add_staff(house.ctx, house.actor(), name=name, role="technician", password="four kind words")
    return Actor(house.shop_id, "staff", new, "technician")


def on_her_bench(lines: Lines, who: Actor) -> Any:
    """A device that `who` took to the bench, with an open question."""
    done = lines.house.check_in()
    for phase in ("inspecting", "in_line", "on_bench"):
        moves.move(lines.house.ctx, who, done.ticket_ids[0], phase)
    lines.house.deliver(after=91)
    return done


def answered(lines: Lines, done: Any) -> None:
    """The customer answers on their page."""
    ctx, owner = lines.house.ctx, lines.house.actor()
    asked = questions.ask(ctx, owner, done.ticket_ids[0], kind="price", wording="New cone?", price="45")
    questions.answer(ctx, lines.house.customer(), asked, answer="accept")
    lines.house.deliver()


def to_shop(lines: Lines, done: Any) -> list[tuple[str, str, str, str]]:
    """(notice, channel, state, whose) of the shop's messages of a visit."""
    return [(m.notice, m.channel, str(m.state), m.contact_id) for m in lines.rows(done.visit_id) if not m.person_id]


def receivers(way: Any, since: int = 0) -> list[str]:
    return [one.to for one in way.sent[since:]]


def test_an_answer_rings_for_the_technician_by_mail_and_text_as_she_chose_and_not_for_the_shop(lines: Lines) -> None:
    ada = technician(lines)
    staff_bell.set_bell(lines.house.ctx, ada, ada.id, email=ADA_MAIL, phone="07700 900777", by="both")
    done = on_her_bench(lines, ada)
    mails, texts = len(lines.mail.sent), len(lines.text.sent)
    answered(lines, done)
    assert to_shop(lines, done) == [("answer_shop", "email", "sent", ada.id), ("answer_shop", "sms", "sent", ada.id)]
    assert receivers(lines.mail, mails) == [ADA_MAIL]
    assert receivers(lines.text, texts) == ["447700900777@sms.example.org"]
    said = words(lines.text.sent[-1])
    assert "Yes, go ahead" in said and "Kestrel" in said
    for hers in ("Ines", "Farrow", "07700 900123", "900123", "ines@example.org", "/c/"):
        assert hers not in said  # no customer's contact data in a text to the shop


@pytest.mark.parametrize("chosen", ["", "sms"])
def test_without_a_way_of_hers_the_shops_own_mail_and_bell_number_ring(lines: Lines, chosen: str) -> None:
    ada = technician(lines)
    if chosen:
        staff_bell.set_bell(lines.house.ctx, ada, ada.id, phone=ADA_PHONE, by=chosen)
        staff_bell.set_bell(lines.house.ctx, ada, ada.id, phone="", by="")
    set_up.change_settings(lines.house.ctx, lines.house.actor(), {"bell_phone": "+44 1632 960124"})
    done = on_her_bench(lines, ada)
    mails, texts = len(lines.mail.sent), len(lines.text.sent)
    answered(lines, done)
    assert to_shop(lines, done) == [("answer_shop", "email", "sent", ""), ("answer_shop", "sms", "sent", "")]
    assert receivers(lines.mail, mails) == ["bench@example.org"]
    assert receivers(lines.text, texts) == ["441632960124@sms.example.org"]


def test_she_leaves_before_it_rang_then_the_shop_hears_it_once_and_nothing_of_hers_is_kept(lines: Lines) -> None:
    house, ada = lines.house, technician(lines)
    staff_bell.set_bell(house.ctx, ada, ada.id, email=ADA_MAIL, phone=ADA_PHONE, by="both")
    done = on_her_bench(lines, ada)
    asked = questions.ask(house.ctx, house.actor(), done.ticket_ids[0], kind="price", wording="New cone?", price="45")
    questions.answer(house.ctx, house.customer(), asked, answer="accept")
    mails, texts = len(lines.mail.sent), len(lines.text.sent)
    staff.change_staff(house.ctx, house.actor(), ada.id, active=False)
    house.deliver()
    assert receivers(lines.mail, mails) == ["bench@example.org"] and receivers(lines.text, texts) == []
    assert {(m.channel, str(m.state), m.reason) for m in lines.rows(done.visit_id, "answer_shop")} == {
        ("email", "sent", ""), ("sms", "dropped", "told_another_way")}  # fmt: skip
    with pytest.raises(NotFound):
        house.ctx.db.vault.data_key(ada.id)


def test_her_address_is_refused_for_good_then_the_shops_own_rings(lines: Lines) -> None:
    ada = technician(lines)
    staff_bell.set_bell(lines.house.ctx, ada, ada.id, email=ADA_MAIL, by="email")
    done = on_her_bench(lines, ada)

    def answer(outgoing: Outgoing) -> Receipt:
        return REFUSED if outgoing.to == ADA_MAIL else Receipt(Verdict.ACCEPTED, "kept")

    lines.mail_line.answer = answer
    answered(lines, done)
    assert to_shop(lines, done) == [
        ("answer_shop", "email", "given_up", ada.id), ("answer_shop", "email", "sent", "")]  # fmt: skip
    assert receivers(lines.mail)[-1] == "bench@example.org"


def test_one_of_her_two_ways_is_refused_then_the_other_is_enough_and_the_shop_is_not_rung(lines: Lines) -> None:
    ada = technician(lines)
    staff_bell.set_bell(lines.house.ctx, ada, ada.id, email=ADA_MAIL, phone=ADA_PHONE, by="both")
    done = on_her_bench(lines, ada)
    lines.text_line.answer = REFUSED
    answered(lines, done)
    assert to_shop(lines, done) == [
        ("answer_shop", "email", "sent", ada.id), ("answer_shop", "sms", "given_up", ada.id)]  # fmt: skip


def test_a_part_a_call_and_pickups_of_the_customer_ring_and_pickups_by_the_desk_do_not(lines: Lines) -> None:
    house, ada = lines.house, technician(lines)
    ctx, owner = house.ctx, house.actor()
    staff_bell.set_bell(ctx, ada, ada.id, email=ADA_MAIL, by="email")
    done = on_her_bench(lines, ada)
    part = parts.need(ctx, owner, done.ticket_ids[0], name="Cone")
    parts.arrive(ctx, owner, part)
    moves.move(ctx, ada, done.ticket_ids[0], "on_shelf")
    first, second = (pickup.offers(ctx, owner, done.visit_id)[n].slot.local for n in (0, 9))
    for doer in (house.customer(), owner):
        pickup.book(ctx, doer, done.visit_id, first)
        pickup.book(ctx, doer, done.visit_id, second)
        house.deliver()
        pickup.cancel(ctx, doer, done.visit_id)
        house.deliver()
    rung = [(m.notice, str(m.state)) for m in lines.rows(done.visit_id) if not m.person_id]
    assert rung == [
        ("part_arrived_shop", "sent"), ("pickup_booked_shop", "dropped"), ("pickup_booked_shop", "sent"),
        ("pickup_given_up_shop", "sent"),
    ]  # fmt: skip
    told = [words(one) for one in lines.mail.sent if one.to == ADA_MAIL]
    assert "the customer comes on" in told[1] and "given up by the customer" in told[2]


def test_the_bell_is_set_by_oneself_or_the_owner_and_a_wrong_address_says_which(lines: Lines) -> None:
    ctx, owner = lines.house.ctx, lines.house.actor()
    ada, ben = technician(lines), technician(lines, "Ben Rowe")
    with pytest.raises(NotAllowed):
        staff_bell.set_bell(ctx, ada, ben.id, email=ADA_MAIL, by="email")
    with pytest.raises(NotAllowed):
        staff_bell.forget_bell(ctx, ada, ben.id)
    staff_bell.set_bell(ctx, owner, ben.id, email="ben@example.net", by="email")
    with pytest.raises(Invalid) as wrong:
        staff_bell.set_bell(ctx, ada, ada.id, email="ada at home", phone="12", by="loudly")
    assert {problem.field for problem in wrong.value.problems} == {"email", "phone", "by"}
    with pytest.raises(Invalid) as lacking:
        staff_bell.set_bell(ctx, ada, ada.id, email=ADA_MAIL, by="both")
    assert [problem.field for problem in lacking.value.problems] == ["phone"]
    shown = {one.name: (one.rings_by, one.email, one.phone) for one in view_staff(ctx, owner)}
    assert shown == {"Ada Wren": ("", "", ""), "Ben Rowe": ("email", "b••@example.net", "")}


def test_erased_by_command_key_and_rows_and_copies_go_and_not_a_sealed_byte_is_left(lines: Lines) -> None:
    house, ada = lines.house, technician(lines)
    staff_bell.set_bell(house.ctx, ada, ada.id, email=ADA_MAIL, phone=ADA_PHONE, by="both")
    done = on_her_bench(lines, ada)
    answered(lines, done)
    with house.read() as unit:
        assert any(messages.get_bytes(unit, m) for m in lines.rows(done.visit_id, "answer_shop"))
        sealed = unit.connection.execute(select(schema.staff.c.email_sealed)).scalars().first()
    dropped: list[str] = []

    def drop(ids: Any) -> int:
        dropped.extend(ids)
        return len(ids)

    staff_bell.forget_bell(house.ctx, ada, ada.id, drop_copies=drop)
    assert len(dropped) == 2 and all(one.startswith("<") for one in dropped)
    with house.read() as unit:
        assert not any(messages.get_bytes(unit, m) for m in lines.rows(done.visit_id, "answer_shop"))
        (record,) = erasing.list_erasures(unit)
    assert (record.reason, record.counts) == ("bell", {"staff": 1, "messages": 2, "copies": 2})
    with pytest.raises(NotFound):
        house.ctx.db.vault.data_key(ada.id)
    assert forget.confirm(house.ctx, house.system())  # rewritten and proved, as for customers
    if house.ctx.db.is_sqlite:  # not even what cannot be read any more is left
        file = Path(str(house.ctx.db.engine.url.database))
        left = b"".join(one.read_bytes() for one in file.parent.glob(f"{file.name}*"))
        assert len(left) > 10_000 and sealed and bytes(sealed) not in left
