"""What a gateway's call is about: the message that a receipt names, the shops that a texting number is known in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from notify.flows.context import Context
from notify.flows.reply_writer import normal_address
from notify.store import messages, people, receipts

CHANNEL = "sms"


@dataclass(frozen=True, slots=True)
class Sent:
    """A text message that left: the outbox row, its shop, and the contact that it went to."""

    shop_id: str
    message_id: str
    contact_id: str


def find_sent(ctx: Context, shop_ids: Iterable[str], *, provider_id: str, reference: str) -> Sent | None:
    """The message that the gateway knows by its own name, else the one that bears our reference; None for neither."""
    for shop_id in shop_ids:
        with ctx.db.read(shop_id) as unit:
            found = messages.find_by_provider(unit, CHANNEL, provider_id) if provider_id else None
            if found is None and reference:
                named = messages.get_message(unit, reference[:36])
                # The whole reference: the same row may have gone to another contact or been sent again since.
                found = named if named and named.message_id.startswith(f"<{reference}@") else None
            if found is not None and found.channel == CHANNEL:
                return Sent(shop_id, found.id, found.contact_id)
    return None


def shops_that_know(ctx: Context, shop_ids: Iterable[str], sender: str) -> tuple[str, ...]:
    """The shops where somebody is reached by text message at this number, as dialled there."""
    return tuple(shop_id for shop_id in shop_ids if _knows(ctx, shop_id, sender))


def unknown_words(ctx: Context, shop_id: str) -> Mapping[str, int]:
    """The gateway's words that the settings do not explain, with how many messages each was said of."""
    with ctx.db.read(shop_id) as unit:
        return receipts.unknown_words(unit)


def _knows(ctx: Context, shop_id: str, sender: str) -> bool:
    with ctx.db.read(shop_id) as unit:
        address = normal_address(CHANNEL, sender, ctx.shop(unit))
        return bool(address and people.find_people(unit, CHANNEL, address))
