"""Claims ended in a group: each message for itself, and never one that was withdrawn meanwhile."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from notify.core.messages import MessageState
from notify.store import messages, outbox
from notify.store.messages import Ending


def test_an_ending_is_void_for_the_one_message_withdrawn_meanwhile(house: Any) -> None:
    for number in range(3):
        house.check_in(email=f"ines{number}@example.org")
    house.clock.advance(91)
    now = house.clock()
    with house.ctx.db.write(house.shop_id) as unit:
        claimed = outbox.claim(unit, now=now, until=now, by="w")
    gone, later = claimed[1], now + timedelta(minutes=1)
    with house.ctx.db.write(house.shop_id) as unit:
        assert outbox.withdraw(unit, causes=[gone.cause], now=later, reason="undone") == 1
        standing = outbox.settle(unit, [Ending(m, MessageState.SENT, tried=True) for m in claimed], now=later)
    with house.read() as unit:
        ended = {m.id: (m.state, m.reason, m.attempts) for m in messages.list_messages(unit)}
    assert standing == {claimed[0].id, claimed[2].id}
    assert ended == {
        claimed[0].id: ("sent", "", 1),
        gone.id: ("dropped", "undone", 0),
        claimed[2].id: ("sent", "", 1),
    }


def test_a_message_goes_back_to_waiting_beside_one_that_was_sent(house: Any) -> None:
    for number in range(2):
        house.check_in(email=f"ines{number}@example.org")
    house.clock.advance(91)
    now = house.clock()
    again = now + timedelta(minutes=5)
    with house.ctx.db.write(house.shop_id) as unit:
        first, second = outbox.claim(unit, now=now, until=now + timedelta(minutes=15), by="w")
        endings = [
            Ending(first, MessageState.WAITING, reason="try_later", due_at=again, tried=True),
            Ending(second, MessageState.SENT, tried=True),
        ]
        outbox.settle(unit, endings, now=now)
    with house.read() as unit:
        found = {m.id: m for m in messages.list_messages(unit)}
    waits, sent = found[first.id], found[second.id]
    assert (waits.state, waits.due_at, waits.ended_at, waits.leased) == ("waiting", again, None, False)
    assert (sent.state, sent.due_at, sent.ended_at, sent.leased) == ("sent", second.due_at, now, False)
