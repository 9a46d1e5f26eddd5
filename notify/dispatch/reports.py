"""Delivery reports (RFC 3464) believed only with a proof: our own return address, or our own Message-ID inside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from notify.core.bounces import judge, read_status
from notify.core.return_address import is_ours, read_token
from notify.dispatch.receipts import receive
from notify.store import letters, messages, people
from notify.store.database import Database, Unit
from notify.store.messages import Message

TAKEN, AGAIN, UNPROVED = "taken", "again", "unproved"


@dataclass(frozen=True, slots=True, repr=False)
class Said:
    """What one recipient's group of a report says: its fields as written, "" for one it has not."""

    action: str
    status: str
    message_id: str
    diagnostic: str


def take_reports(
    db: Database, shop_ids: Sequence[str], said: Sequence[Said], *, tokens: Sequence[str], bounce_key: bytes,
    source: str, key: str, now: datetime, channels_on: frozenset[str],
) -> str:  # fmt: skip
    """Takes one letter with reports, once per `key` of `source`: TAKEN, AGAIN (it was before) or UNPROVED (no effect).

    `tokens` are those of the return addresses that the letter came to. Raises Conflict while a message just leaves.
    """
    for shop_id in shop_ids:
        with db.write(shop_id) as unit:
            proved = [(one, *found) for one in said if (found := _prove(unit, one, tokens, bounce_key)) is not None]
            if not proved:
                continue
            if not letters.take(unit, source, key, kind="report", at=now):
                return AGAIN
            for one, message, contact_id in proved:
                _receive(unit, one, message, contact_id, now=now, channels_on=channels_on)
            return TAKEN
    return UNPROVED


def _prove(unit: Unit, said: Said, tokens: Sequence[str], key: bytes) -> tuple[Message, str] | None:
    """The message that a report is about and the contact it was sent to; None without a proof."""
    for token in tokens:
        message = messages.get_message(unit, read_token(token))
        if message is None:
            continue
        contact = next((one for one in _ways(unit, message) if is_ours(token, one, key=key)), None)
        if contact is not None:
            return message, contact
    found = messages.find_by_message_id(unit, said.message_id) if said.message_id else None
    return (found, found.contact_id) if found is not None else None


def _ways(unit: Unit, message: Message) -> tuple[str, ...]:
    """The contacts that a message may have gone to: the one it has now first, then whatever its person had."""
    others = people.contact_ids_of(unit, message.person_id) if message.person_id else ()
    return tuple(dict.fromkeys((message.contact_id, *others)))


def _receive(
    unit: Unit, said: Said, message: Message, contact_id: str, *, now: datetime, channels_on: frozenset[str]
) -> None:
    status = read_status(said.status, said.diagnostic)
    judged = judge(said.action, status)
    if judged.delivery is not None:
        receive(
            unit, message.id, delivery=judged.delivery, code=status or "no_status",
            text=said.diagnostic, suppress=judged.suppress, contact_id=contact_id, now=now, channels_on=channels_on,
        )  # fmt: skip
