"""Claims ended in a group: each message for itself, and never one that was withdrawn meanwhile."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from sqlalchemy import event

from notify.core.messages import MessageState, may_move
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


def test_an_ending_counts_only_from_the_state_it_was_thought_of_in_and_along_the_table_of_moves(house: Any) -> None:
    """A worker that came back from a stall must not give up what another one has sent since."""
    house.check_in(phone="")
    house.clock.advance(91)
    now = house.clock()

    def settle(message: Any, state: MessageState, **more: Any) -> bool:
        with house.ctx.db.write(house.shop_id) as unit:
            return outbox.settle(unit, [Ending(message, state, **more)], now=now) == {message.id}

    def stored() -> Any:
        with house.read() as unit:
            return messages.list_messages(unit)[0]

    waiting = stored()
    assert not settle(waiting, MessageState.CALLED, reason="told")  # nobody calls what is no call
    assert settle(waiting, MessageState.SENT, tried=True)
    assert not settle(waiting, MessageState.GIVEN_UP, reason="refused:x")  # the stalled worker's late opinion
    assert not settle(waiting, MessageState.WAITING, reason="try_later")
    assert (stored().state, stored().reason, stored().attempts) == ("sent", "", 1)
    assert settle(stored(), MessageState.GIVEN_UP, reason="bounced:5.1.1")  # it came back: RFC 3464
    assert not settle(stored(), MessageState.SENT) and stored().state == "given_up"


def test_a_group_is_settled_in_two_statements_however_many_it_holds(house: Any) -> None:
    for number in range(10):
        house.check_in(email=f"ines{number}@example.org", phone="")
    house.clock.advance(91)
    now = house.clock()
    with house.ctx.db.write(house.shop_id) as unit:
        claimed = outbox.claim(unit, now=now, until=now, by="w")
    asked: list[str] = []
    with house.ctx.db.write(house.shop_id) as unit:
        event.listen(house.ctx.db.engine, "before_cursor_execute", lambda *a: asked.append(a[2]))
        outbox.settle(unit, [Ending(m, MessageState.SENT, tried=True) for m in claimed], now=now)
        assert len(claimed) == 10 and len(asked) == 2, asked


def test_withdrawing_moves_along_the_table_as_well() -> None:
    """`withdraw` drops in one UPDATE by its own WHERE: what that lets through must be moves that the table has."""
    assert all(may_move(state, MessageState.DROPPED) for state in (MessageState.WAITING, MessageState.TO_CALL))
