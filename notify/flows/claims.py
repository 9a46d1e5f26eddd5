"""Open a claim by its secret; count who guesses at secrets, and let nobody with a right one be counted."""

from __future__ import annotations

import ipaddress
from datetime import timedelta
from math import ceil

from notify.core.errors import NotFound
from notify.flows.check_in import token_hash
from notify.flows.context import Context
from notify.store import staff
from notify.store.claims import Claim, find_claim
from notify.store.pad_tickets import find_printed

WINDOW = timedelta(hours=1)
LONGEST_SECRET = 200


class UnknownClaim(NotFound):
    """No ticket has this secret: mistyped, made up or replaced; the answer is the same."""


class NotEntered(NotFound):
    """The ticket was printed in advance and given out, and nobody has entered it yet. Its shop is `shop_id`."""

    def __init__(self, shop_id: str) -> None:
        super().__init__("This claim ticket is not entered yet", "Enter it first: the device is with us on paper.")
        self.shop_id = shop_id


class Forgotten(NotFound):
    """The link was right once; the person it belonged to has been forgotten. `language` was theirs."""

    def __init__(self, language: str) -> None:
        super().__init__("This repair is over and forgotten", "Bring the device along if something is wrong.")
        self.language = language


def open_claim(ctx: Context, token: str, *, found: Claim | None = None) -> Claim:
    """The claim behind a secret. Unknown, malformed and replaced ones raise UnknownClaim after the same work.

    `found` is what find_claim gave for the same secret in the same request, so that it is not asked twice.
    Raises Forgotten once the person was forgotten, NotEntered for a ticket of a pad. All are NotFound.
    """
    found = found or find_claim(ctx.db, token_hash(token[:LONGEST_SECRET]))
    if found is None:
        if printed := find_printed(ctx.db, token_hash(token[:LONGEST_SECRET])):
            raise NotEntered(printed.shop_id)
        raise UnknownClaim("This claim link is not known here", "It may have been replaced; ask for a new one.")
    if found.forgotten:
        raise Forgotten(found.language)
    return found


def count_guess(ctx: Context, shop_id: str, source: str, *, limit: int, kind: str = "claim") -> int:
    """Counts one wrong secret from an address; the seconds to wait when it was one too many, else 0.

    Call it only after a secret turned out wrong: whoever holds a right one is never counted and never kept out
    by somebody else behind the same address. The address is kept as a keyed hash for an hour's count only. `kind` is
    what was guessed at: a calendar program that comes again and again uses up no claim link's tries.
    """
    with ctx.db.read(shop_id) as unit:
        key = unit.opener.lookup(f"try:{kind}", network(source))
        tries, began = staff.tries(unit, key)
    now = ctx.clock()
    fresh = began is not None and now - WINDOW < began <= now
    if fresh and tries >= limit:
        assert began is not None
        return max(1, ceil((began + WINDOW - now).total_seconds()))
    with ctx.db.write(shop_id) as unit:
        staff.count_try(unit, key, at=now, window=WINDOW)
    return 0


def network(source: str) -> str:
    """The address itself, or the /64 of an IPv6 one: a single customer line has that many addresses (RFC 6177)."""
    try:
        address = ipaddress.ip_address(source)
    except ValueError:
        return "unknown"
    if isinstance(address, ipaddress.IPv6Address):
        return str(address.ipv4_mapped or ipaddress.ip_network((address, 64), strict=False))
    return str(address)
