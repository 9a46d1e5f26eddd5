"""Which shops a letter concerns, and which of their messages it names: by Message-ID, by return address, by sender."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from notify.core.return_address import is_ours, read_token
from notify.flows.context import Context
from notify.flows.reply_writer import normal_address
from notify.store import bookings, messages, people
from notify.store.database import Unit


def route(
    ctx: Context, shop_ids: Sequence[str], *, sender: str, message_ids: Sequence[str], tokens: Sequence[str],
    key: bytes, organizer_tokens: Sequence[str] = (), uids: Sequence[str] = (),
) -> Mapping[str, tuple[str, ...]]:  # fmt: skip
    """shop -> our outbox rows that a letter names there.

    The shops whose messages or bookings it names; else those that know the sender; else the first one, for somebody
    unknown. `tokens` of return addresses count only when we made them (`key`). A booking is named by the token in the
    address that it came to or by the UID in its calendar part, both of which nobody can guess.
    """
    named: dict[str, tuple[str, ...]] = {}
    knows: dict[str, tuple[str, ...]] = {}
    for shop_id in shop_ids:
        with ctx.db.read(shop_id) as unit:
            rows = _rows(unit, message_ids, tokens, key)
            if rows or bookings.find_spoken(unit, tokens=organizer_tokens, uids=uids):
                named[shop_id] = rows
            elif _is_known(ctx, unit, sender):
                knows[shop_id] = ()
    return named or knows or dict.fromkeys(shop_ids[:1], ())


def _rows(unit: Unit, message_ids: Sequence[str], tokens: Sequence[str], key: bytes) -> tuple[str, ...]:
    by_id = (messages.find_by_message_id(unit, one) for one in message_ids)
    found = [message.id for message in by_id if message is not None]
    return tuple(dict.fromkeys([*found, *(row for one in tokens if (row := _row_of(unit, one, key)))]))


def _row_of(unit: Unit, token: str, key: bytes) -> str:
    message = messages.get_message(unit, read_token(token))
    return message.id if message is not None and is_ours(token, message.contact_id, key=key) else ""


def _is_known(ctx: Context, unit: Unit, sender: str) -> bool:
    address = normal_address("email", sender, ctx.shop(unit))
    return bool(address and people.current_owners(unit, "email", address))
