"""Listeners: the shop's own systems that are told of events; added, paused, given another key, dropped by an owner."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from urllib.parse import urlsplit

from notify.channels.http_target import listener_target
from notify.core.actors import Actor
from notify.core.errors import Conflict, Invalid, Misconfigured, NotFound
from notify.core.events import OTHER_EVENTS
from notify.core.listeners import OLD_KEY_LIVES
from notify.core.signed_call import new_secret
from notify.core.text import clean_line
from notify.core.tickets import MOVE_EVENTS
from notify.flows.context import Context
from notify.store import listeners
from notify.store.database import Unit

LONGEST_NAME, LONGEST_ADDRESS, MOST, OCTETS = 80, 500, 20, 32


@dataclass(frozen=True, slots=True)
class Made:
    """A listener just made, or its new key, which is shown this once."""

    id: str
    name: str
    secret: str = field(repr=False)


@dataclass(frozen=True, slots=True)
class Shown:
    """One listener as staff see it. `behind` counts events that it has not heard, `refused` those it did not want.

    `host` is where it stands; its whole address, which may hold a secret of that system, is shown to nobody.
    """

    id: str
    name: str
    host: str
    kinds: tuple[str, ...]
    state: str
    behind: int
    refused: int
    trouble: str
    trouble_since: datetime | None
    next_at: datetime | None
    old_until: datetime | None


def add(
    ctx: Context, actor: Actor, *, name: str, address: str, inner_hosts: Collection[str], kinds: Sequence[str] = ()
) -> Made:  # fmt: skip
    """A new listener, told of what happens from now on; of these kinds of events, or of all.

    `inner_hosts` are those of the shop's own network that the settings allow. Raises Invalid for an address that may
    not be called, Conflict for a name that is taken.
    """
    actor.need("settings")
    name = clean_line(name, field="name", limit=LONGEST_NAME)
    if not name:
        raise Invalid("The listener has no name", "Say which system it is.", field="name")
    if len(address) > LONGEST_ADDRESS:
        raise Invalid(f"The address is longer than {LONGEST_ADDRESS} signs", "Write a shorter one.", field="address")
    _place(address, inner_hosts)
    kinds = _known(kinds)
    listener_id, secret = ctx.new_id(), new_secret(ctx.db.vault.random(OCTETS))
    ctx.db.vault.have_key(listener_id)  # before anything is sealed with it
    with ctx.db.write(actor.shop_id) as unit:
        there = listeners.list_listeners(unit)
        if any(one.name == name for one in there):
            raise Conflict("There is a listener of this name", "Choose another name.", field="name")
        if len(there) >= MOST:
            raise Invalid(f"There are {MOST} listeners already", "Drop one first.", field="name")
        listeners.add_listener(unit, listener_id, name=name, address=address.strip(), secret=secret, kinds=kinds,
                               by=actor.id, at=ctx.clock())  # fmt: skip
    return Made(listener_id, name, secret)


def list_all(ctx: Context, actor: Actor) -> tuple[Shown, ...]:
    """All listeners by name."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        return shown_within(unit)


def shown_within(unit: Unit) -> tuple[Shown, ...]:
    """Like list_all, inside the caller's transaction."""
    there = listeners.list_listeners(unit)
    if not there:
        return ()
    newest, refused = listeners.newest(unit), listeners.count_refused(unit)
    return tuple(
        Shown(one.id, one.name, _host(unit, one.id), one.kinds, one.state, newest - one.heard,
              refused.get(one.id, 0), one.trouble, one.trouble_since, one.next_at, one.old_until)
        for one in there
    )  # fmt: skip


def find(ctx: Context, actor: Actor, name_or_id: str) -> Shown:
    """The listener of this name, identifier or end of one. Raises NotFound."""
    there = list_all(ctx, actor)
    found = [one for one in there if one.name == name_or_id] or [
        one for one in there if name_or_id and one.id.endswith(name_or_id)
    ]
    if len(found) != 1:
        raise NotFound("There is no such listener", "`shelfbell listener list` names them.", field="name")
    return found[0]


def pause(ctx: Context, actor: Actor, listener_id: str) -> None:
    """Tells it nothing until it is resumed; what happens meanwhile is told then. Raises NotFound."""
    _set(ctx, actor, listener_id, listeners.PAUSED)


def resume(ctx: Context, actor: Actor, listener_id: str) -> None:
    """Tells it again, from the first event that it has not heard. Raises NotFound."""
    _set(ctx, actor, listener_id, listeners.ON)


def drop(ctx: Context, actor: Actor, listener_id: str) -> None:
    """Tells it nothing any more, and destroys its key, so that its address can be read nowhere. Raises NotFound."""
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        listeners.get_listener(unit, listener_id)
        listeners.set_state(unit, listener_id, listeners.OFF)
        listeners.free_name(unit, listener_id)
    ctx.db.vault.destroy_keys([listener_id])  # afterwards: one that is not dropped after all must stay readable


def new_key(ctx: Context, actor: Actor, listener_id: str) -> Made:
    """Another key; the one before signs beside it for a week, so that no call is lost meanwhile. Raises NotFound."""
    actor.need("settings")
    secret = new_secret(ctx.db.vault.random(OCTETS))
    with ctx.db.write(actor.shop_id) as unit:
        known = listeners.get_listener(unit, listener_id)
        before = listeners.secrets_of(unit, listener_id).secret
        listeners.put_secret(unit, listener_id, secret=secret, old_secret=before, until=ctx.clock() + OLD_KEY_LIVES)
    return Made(listener_id, known.name, secret)


def offer_again(ctx: Context, actor: Actor, listener_id: str) -> int:
    """Has everything that it refused offered once more, before what is new; how many. Raises NotFound."""
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        listeners.get_listener(unit, listener_id)
        return listeners.offer_again(unit, listener_id)


def _set(ctx: Context, actor: Actor, listener_id: str, state: str) -> None:
    actor.need("settings")
    with ctx.db.write(actor.shop_id) as unit:
        listeners.get_listener(unit, listener_id)
        listeners.set_state(unit, listener_id, state)


def _known(kinds: Sequence[str]) -> tuple[str, ...]:
    every: Collection[str] = {*OTHER_EVENTS, *MOVE_EVENTS}
    unknown = [one for one in kinds if one not in every]
    if unknown:
        raise Invalid(f"There is no event {unknown[0][:40]!r}", "`shelfbell listener kinds` lists them.", field="kinds")
    return tuple(dict.fromkeys(kinds))


def _place(address: str, inner_hosts: Collection[str]) -> None:
    try:
        listener_target(address.strip(), inner_hosts)
    except Misconfigured:
        raise Invalid(
            "This is no address that may be called",
            'Write one that begins with "https://", without a name or password in it. One in your own network must be '
            "named in the settings, under listeners.inner_hosts.",
            field="address",
        ) from None


def _host(unit: Unit, listener_id: str) -> str:
    return urlsplit(listeners.secrets_of(unit, listener_id).address).hostname or ""
