"""How a person may be reached: correct an address, stop or allow its uses, change the language."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk
from notify.core.notices import EVERY_PURPOSE, PURPOSES, REACH_CHANNELS
from notify.flows import reach
from notify.flows.view_lookup import find_person

_WHO = click.option("--who", type=click.Choice(["bringer", "tell", "payer", "collector"]), default="tell",
                    show_default=True, help="Which person of the visit.")  # fmt: skip
_CHANNEL = click.Choice(REACH_CHANNELS)


@click.group("person", cls=Group)
def person() -> None:
    """How people are reached. NUMBER is a claim number of their visit."""


@person.command("contact")
@click.argument("number")
@click.argument("channel", type=_CHANNEL)
@click.argument("address", default="")
@click.option("--in-device", is_flag=True, help="The number is in the device that is here.")
@click.option("--works-again", is_flag=True, help="Use it although it did not work before.")
@_WHO
@pass_desk
def contact(
    desk: Desk, number: str, channel: str, address: str, in_device: bool, works_again: bool, who: str
) -> None:  # fmt: skip
    """Replace the address or number on a channel; left out, it is removed. What waits goes to the new one."""
    visit = desk.meant(number).visit_id
    found = find_person(desk.ctx, desk.actor, visit, who)
    new = reach.set_contact(desk.ctx, desk.actor, visit, found, channel=channel, address=address,
                            in_repaired_device=in_device, works_again=works_again, how="command")  # fmt: skip
    unused = reach.why_unused(desk.ctx, desk.actor, new)
    said = ["Changed." if address else "Removed."] + ([f"Please note: {unused}"] if unused else [])
    desk.show({"changed": True, "unused": unused}, *said)


@person.command("stop")
@click.argument("number")
@click.argument("channel", type=_CHANNEL)
@click.option("--for", "purposes", multiple=True, type=click.Choice(EVERY_PURPOSE),
              help="Everything if left out; with --allow, what needs no consent of its own.")  # fmt: skip
@click.option("--allow", is_flag=True, help="Allow it again instead.")
@click.option("--wanted", is_flag=True, help="You asked: they want it again though they had stopped everything.")
@_WHO
@pass_desk
def stop(desk: Desk, number: str, channel: str, purposes: tuple[str, ...], allow: bool, wanted: bool, who: str) -> None:
    """Stop using a channel; messages that wait are not sent by it."""
    visit = desk.meant(number).visit_id
    found = find_person(desk.ctx, desk.actor, visit, who)
    meant = purposes or (PURPOSES if allow else EVERY_PURPOSE)
    reach.set_use(desk.ctx, desk.actor, visit, found, channel=channel, purposes=meant, allowed=allow, how="command",
                  wanted=wanted)  # fmt: skip
    desk.show({"allowed": allow}, "Allowed again." if allow else "Stopped.")


@person.command("child")
@click.argument("number")
@click.option("--no", "grown", is_flag=True, help="It is no child's contact.")
@_WHO
@pass_desk
def child(desk: Desk, number: str, grown: bool, who: str) -> None:
    """Say that a contact is a child's: nothing optional is sent there, and what was allowed of that is withdrawn."""
    visit = desk.meant(number).visit_id
    reach.set_child(desk.ctx, desk.actor, visit, find_person(desk.ctx, desk.actor, visit, who), child=not grown)
    desk.show({"child": not grown}, "No child's contact." if grown else "A child's contact.")


@person.command("language")
@click.argument("number")
@click.argument("language")
@_WHO
@pass_desk
def language(desk: Desk, number: str, language: str, who: str) -> None:
    """Write to a person in another language."""
    visit = desk.meant(number).visit_id
    reach.set_language(desk.ctx, desk.actor, visit, find_person(desk.ctx, desk.actor, visit, who), language=language)
    desk.show({"language": language}, "Changed.")
