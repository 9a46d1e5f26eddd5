"""One request of a script with an idempotency key: carried out once, and answered the same when it comes again."""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid
from notify.flows.context import Context
from notify.store import idempotent
from notify.store.once import OnceDatabase, Repeated

# How long a key is known. Common practice, no source: longer than any script tries again.
KEEP = timedelta(days=7)
_PREFIX = "api:"


@dataclass(frozen=True, slots=True)
class Asked:
    """A request with its key. `what` is all that it asks for, as octets; `secret` keys the hashes of both.

    Key and request are kept as keyed hashes only: either may hold somebody's number.
    """

    key: str
    what: bytes
    secret: bytes

    def name(self, actor: Actor) -> str:
        """What the key is kept under: each token has keys of its own."""
        return _PREFIX + hmac.new(self.secret, f"{actor.id}\0{self.key}".encode(), hashlib.sha256).hexdigest()

    def mark(self) -> str:
        """What tells this request from another one under the same key."""
        return hmac.new(self.secret, self.what, hashlib.sha256).hexdigest()


def once(
    ctx: Context, actor: Actor, asked: Asked, do: Callable[[Context], Mapping[str, Any]]
) -> tuple[Mapping[str, Any], bool]:
    """(what `do` gives, whether it was carried out before). `do` gets a context in which the key is kept with what it
    writes first, in one transaction; what it gives (identifiers, codes and times only) is kept right after.

    Raises Invalid for a key that came with another request, and Conflict where it was carried out but a crash cut off
    the keeping of the answer. A request that is refused keeps no key: it may be sent again.
    """
    now, name = ctx.clock(), asked.name(actor)
    base = OnceDatabase(ctx.db, name, mark=asked.mark(), at=now)
    try:
        with ctx.db.read(actor.shop_id) as unit:
            known = idempotent.recall(unit, name)
        if known is not None:
            raise Repeated(known)
        given = do(replace(ctx, db=base))
    except Repeated as repeated:
        return _as_before(repeated.known, asked), True
    if base.is_kept:
        with ctx.db.write(actor.shop_id) as unit:
            idempotent.add_answer(unit, name, given)
    return given, False


def _as_before(known: Mapping[str, Any], asked: Asked) -> Mapping[str, Any]:
    if known["mark"] != asked.mark():
        raise Invalid("This Idempotency-Key came with another request before", "Use a new key for each request.",
                      field="Idempotency-Key")  # fmt: skip
    if "answer" not in known:
        raise Conflict("This request is carried out already; its answer is not known", "Look at what there is now.")
    answer: Mapping[str, Any] = known["answer"]
    return answer


def forget_keys(ctx: Context, actor: Actor) -> int:
    """Drops keys that are older than KEEP; how many."""
    with ctx.db.write(actor.shop_id) as unit:
        return idempotent.forget_before(unit, _PREFIX, ctx.clock() - KEEP)
