"""Listeners: the shop's own systems that are told of events by signed calls."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.errors import Conflict
from notify.core.events import OTHER_EVENTS
from notify.core.listeners import meaning
from notify.core.tickets import MOVE_EVENTS
from notify.flows import listeners as flow

_ONCE = "The key is shown this once; give it to that system, which checks each call by it (Standard Webhooks 1.0.0):"
_NAME = click.argument("name", metavar="NAME")


@click.group("listener", cls=Group)
def listener() -> None:
    """Systems of your own that are told of what happens, by signed calls."""


@listener.command("add")
@_NAME
@click.argument("address", metavar="ADDRESS")
@click.option("--kind", "kinds", multiple=True, help="Only events of this kind; may be given several times.")
@pass_desk
def add(desk: Desk, name: str, address: str, kinds: tuple[str, ...]) -> None:
    """Tell the system NAME at ADDRESS ("https://...") of what happens from now on."""
    made = flow.add(desk.ctx, desk.actor, name=name, address=address, kinds=kinds,
                    inner_hosts=desk.settings.listeners.inner_hosts)  # fmt: skip
    shown = {"id": made.id, "name": made.name, "secret": made.secret}
    desk.show(shown, _ONCE, made.secret, f"Try it: shelfbell listener ping {made.name!r}")


@listener.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """Each listener: how far behind it is, what it refused, and what is in the way."""
    found = flow.list_all(desk.ctx, desk.actor)
    rows = [
        (one.id[-8:], one.name, one.host, one.state, str(one.behind), str(one.refused), one.trouble or "-",
         desk.when(one.next_at), ", ".join(one.kinds) or "all")
        for one in found
    ]  # fmt: skip
    head = ("id", "name", "host", "", "behind", "refused", "in the way", "again", "events")
    desk.show(found, *(table(rows, head=head) or ["Nobody is told of events."]))


@listener.command("kinds")
@pass_desk
def kinds(desk: Desk) -> None:
    """The kinds of events that a listener may ask for."""
    told = {kind: OTHER_EVENTS.get(kind, "a device came from one phase to the next") for kind in
            sorted({*OTHER_EVENTS, *MOVE_EVENTS})}  # fmt: skip
    desk.show(told, *table(list(told.items()), head=("event", "meaning")))


@listener.command("ping")
@_NAME
@pass_desk
def ping(desk: Desk, name: str) -> None:
    """Call NAME once about nothing, to see whether it answers well. Ends with 5 when it does not."""
    found = flow.find(desk.ctx, desk.actor, name)
    desk.actor.need("settings")
    said = desk.services.teller.ping(desk.shop_id, found.id, desk.ctx.new_id())
    if meaning(said.status) is not meaning(200):
        raise Conflict(f"{found.name} did not take it ({said.trouble or said.status})", "Look at its address and key.")
    desk.show({"name": found.name, "status": said.status}, f"{found.name} took it ({said.status}).")


@listener.command("pause")
@_NAME
@pass_desk
def pause(desk: Desk, name: str) -> None:
    """Tell NAME nothing until it is resumed; what happens meanwhile is told then."""
    found = flow.find(desk.ctx, desk.actor, name)
    flow.pause(desk.ctx, desk.actor, found.id)
    desk.show({"name": found.name}, f"{found.name} is told nothing for now.")


@listener.command("resume")
@_NAME
@pass_desk
def resume(desk: Desk, name: str) -> None:
    """Tell NAME again, from the first event that it has not heard; after trouble at once."""
    found = flow.find(desk.ctx, desk.actor, name)
    flow.resume(desk.ctx, desk.actor, found.id)
    desk.show({"name": found.name, "behind": found.behind}, f"{found.name} is told again; {found.behind} to come.")


@listener.command("key")
@_NAME
@pass_desk
def key(desk: Desk, name: str) -> None:
    """Another key for NAME; for a week the one before signs beside it."""
    made = flow.new_key(desk.ctx, desk.actor, flow.find(desk.ctx, desk.actor, name).id)
    desk.show({"id": made.id, "name": made.name, "secret": made.secret}, _ONCE, made.secret)


@listener.command("retry")
@_NAME
@pass_desk
def retry(desk: Desk, name: str) -> None:
    """Offer NAME once more what it refused."""
    found = flow.find(desk.ctx, desk.actor, name)
    number = flow.offer_again(desk.ctx, desk.actor, found.id)
    desk.show({"name": found.name, "offered": number}, f"{number} events are offered to {found.name} once more.")


@listener.command("drop")
@_NAME
@pass_desk
def drop(desk: Desk, name: str) -> None:
    """Tell NAME nothing any more, and forget its address."""
    found = flow.find(desk.ctx, desk.actor, name)
    flow.drop(desk.ctx, desk.actor, found.id)
    desk.show({"name": found.name}, f"{found.name} is told nothing any more.")
