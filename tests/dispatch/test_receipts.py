"""What a receipt does beyond its own message: everybody at a dead address, and the try whose end nobody knew."""

from __future__ import annotations

from typing import Any

import pytest

from notify.channels.base import Receipt, Verdict
from notify.core.messages import Delivery
from notify.dispatch.receipts import take_receipt
from notify.store import people
from tests.flows.conftest import Lines
from tests.flows.conftest import lines as lines


def receive(lines: Lines, message: Any, delivery: Delivery, *, suppress: bool = False) -> bool:
    """One receipt, as a report or a gateway brings it."""
    house = lines.house
    return take_receipt(
        house.ctx.db, house.shop_id, message_id=message.id, delivery=delivery, code="5.1.1", text="", suppress=suppress,
        contact_id="", now=house.clock(), channels_on=house.ctx.channels_on,
    )  # fmt: skip


def dead(lines: Lines, person_id: str) -> list[bool]:
    """Whether each address of somebody's e-mail is out of use."""
    with lines.house.read() as unit:
        return [c.undeliverable for c in people.contacts_of(unit, person_id) if c.channel == "email"]


def test_an_address_that_failed_for_one_is_out_of_use_for_everybody_who_is_reached_at_it(lines: Lines) -> None:
    """RFC 3463 3.2: X.1.1 is about the mailbox, whoever shares it."""
    house = lines.house
    one, two, apart = (
        house.check_in(name=name, phone="", email=email)
        for name, email in (("Ines Farrow", "home@example.org"), ("Pat Farrow", "home@example.org"),
                            ("Noor Vale", "noor@example.org"))
    )  # fmt: skip
    house.deliver(after=91)
    ours, theirs, other = (lines.rows(done.visit_id, "checked_in")[0] for done in (one, two, apart))
    assert ours.person_id != theirs.person_id
    assert receive(lines, ours, Delivery.FAILED, suppress=True)
    assert dead(lines, ours.person_id) == dead(lines, theirs.person_id) == [True]
    assert dead(lines, other.person_id) == [False]


@pytest.mark.parametrize(
    ("delivery", "state", "offers"), [(Delivery.DELIVERED, "sent", 1), (Delivery.DELAYED, "sent", 2)]
)
def test_a_try_whose_end_nobody_knew_is_not_repeated_once_a_receipt_says_that_it_arrived(
    lines: Lines, delivery: Delivery, state: str, offers: int
) -> None:
    """RFC 1047: after the final dot the sender cannot know. "Delayed" says nothing about the end (RFC 3464 2.3.3)."""
    house, done = lines.house, lines.house.check_in(phone="")
    lines.mail_line.answer = Receipt(Verdict.UNKNOWN, "dot-lost", "The line broke.")
    house.deliver(after=91)
    lines.mail_line.answer = None
    (row,) = lines.rows(done.visit_id, "checked_in")
    assert str(row.state) == "waiting"
    assert receive(lines, row, delivery)
    house.deliver(after=7200)
    (row,) = lines.rows(done.visit_id, "checked_in")
    assert (str(row.state), len(lines.mail.offered)) == (state, offers)
