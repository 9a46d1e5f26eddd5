"""What is heard of a message after it left: a delivery report or a gateway's receipt, which only moves it forward."""

from __future__ import annotations

from datetime import datetime

from notify.channels.base import clean
from notify.core.errors import Conflict
from notify.core.messages import Delivery, MessageState, goes_further
from notify.dispatch.settle import mark_dead, next_way
from notify.store import messages, outbox
from notify.store.database import Database, Unit
from notify.store.messages import Ending, Message
from notify.store.receipts import Told, add_receipts


def take_receipt(
    db: Database, shop_id: str, *, message_id: str, delivery: Delivery, code: str, text: str, suppress: bool,
    contact_id: str, now: datetime, channels_on: frozenset[str],
) -> bool:  # fmt: skip
    """Takes one report about a message, as often as it comes and in any order; whether it was news.

    FAILED ends the message as given up, and the next channel that the person allowed, or a call, takes over.
    `suppress`: the address is not used again before somebody corrects it (`contact_id` is the one that was written to;
    empty: the row's own). Raises Conflict while the message is just leaving: offer the report again in a moment.
    """
    with db.write(shop_id) as unit:
        return receive(
            unit, message_id, delivery=delivery, code=code, text=text, suppress=suppress, contact_id=contact_id,
            now=now, channels_on=channels_on,
        )  # fmt: skip


def receive(
    unit: Unit, message_id: str, *, delivery: Delivery, code: str, text: str, suppress: bool, contact_id: str,
    now: datetime, channels_on: frozenset[str],
) -> bool:  # fmt: skip
    """Like take_receipt, inside the caller's transaction, which may note the report as taken in the same breath."""
    message = messages.get_message(unit, message_id)
    if message is None or not (message.attempts or message.leased):
        return False  # none of ours, or it never left
    if message.leased:
        raise Conflict("The message is just leaving", "Offer the report again in a moment.")
    failed = delivery is Delivery.FAILED
    if failed and suppress:
        mark_dead(unit, contact_id or message.contact_id, why=f"bounced:{code}", now=now)
    if not goes_further(message.delivery, delivery):
        return False
    add_receipts(unit, [Told(message, delivery.value, code, clean(text))], at=now)
    if failed:
        _came_back(unit, message, contact_id or message.contact_id, code, now=now, channels_on=channels_on)
    elif delivery is Delivery.DELIVERED and message.state == MessageState.WAITING:
        outbox.settle(unit, [Ending(message, MessageState.SENT)], now=now)  # the try nobody answered (RFC 1047) arrived
    outbox.note_delivery(unit, message.id, delivery, at=now)
    return True


def _came_back(
    unit: Unit, message: Message, contact_id: str, code: str, *, now: datetime, channels_on: frozenset[str]
) -> None:
    ending = Ending(message, MessageState.GIVEN_UP, reason=f"bounced:{code}"[:40])
    if outbox.settle(unit, [ending], now=now):
        next_way(unit, message, contact_id=contact_id, now=now, channels_on=channels_on)
