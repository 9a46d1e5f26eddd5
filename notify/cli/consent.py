"""What people allowed, as proof and as they say it; the same as the page /visits/NUMBER/consents."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk
from notify.core.consent import EVERY_PURPOSE, PURPOSES, REACH_CHANNELS
from notify.flows import reach
from notify.flows.view_consents import Way, Who, proof
from notify.flows.view_lookup import find_person
from notify.render.consent_says import say_entry, say_way

_WHO = click.option("--who", type=click.Choice(["bringer", "tell", "payer", "collector"]), default="tell",
                    show_default=True, help="Which person of the visit.")  # fmt: skip
_CHANNEL = click.Choice(REACH_CHANNELS)


@click.group("consent", cls=Group)
def consent() -> None:
    """What people allowed and took back. NUMBER is a claim number of their visit."""


@consent.command("show")
@click.argument("number")
@pass_desk
def show(desk: Desk, number: str) -> None:
    """Everything that was said, in the exact words shown, with who noted it, when and how."""
    seen = proof(desk.ctx, desk.actor, number)
    lines = [line for who in seen.people for line in _lines(desk, who)]
    desk.show(seen, *(lines or ["Nothing is kept any more."]))


def _lines(desk: Desk, who: Who) -> list[str]:
    head = f"{who.name or ('Forgotten' if who.forgotten else 'No name')} ({', '.join(who.roles)})"
    ways = [f"  {_way(desk, way)}" for way in who.ways]
    said = [
        "  " + say_entry(
            when=desk.dated(one.at), allowed=one.allowed, channel=one.channel, purpose=one.purpose, basis=one.basis,
            text=one.text, wording=one.wording, language=one.language, how=one.how, by=one.by, evidence=one.evidence,
            evidence_id=one.evidence_id,
        )
        for one in who.said
    ]  # fmt: skip
    return [head, *(["  A child's contact."] if who.child else []), *ways, *said]


def _way(desk: Desk, way: Way) -> str:
    stopped = desk.dated(way.stopped_on) if way.stopped_on else ""
    return say_way(channel=way.channel, masked=way.masked, allowed=way.allowed, stopped_on=stopped)


@consent.command("give")
@click.argument("number")
@click.argument("channel", type=_CHANNEL)
@click.option("--for", "purposes", multiple=True, type=click.Choice(EVERY_PURPOSE),
              help="What they allow; what belongs to the repair if left out.")  # fmt: skip
@click.option("--wanted", is_flag=True, help="You asked: they want it again though they had stopped everything.")
@_WHO
@pass_desk
def give(desk: Desk, number: str, channel: str, purposes: tuple[str, ...], wanted: bool, who: str) -> None:
    """Note that somebody allows uses of a channel."""
    visit = desk.meant(number).visit_id
    found, meant = find_person(desk.ctx, desk.actor, visit, who), purposes or PURPOSES
    reach.set_use(desk.ctx, desk.actor, visit, found, channel=channel, purposes=meant, allowed=True, how="command",
                  wanted=wanted)  # fmt: skip
    desk.show({"allowed": list(meant)}, "Noted.")


@consent.command("withdraw")
@click.argument("number")
@click.argument("channel", type=_CHANNEL)
@click.option("--for", "purposes", multiple=True, type=click.Choice(EVERY_PURPOSE), help="Everything if left out.")
@_WHO
@pass_desk
def withdraw(desk: Desk, number: str, channel: str, purposes: tuple[str, ...], who: str) -> None:
    """Note that somebody takes it back; messages that wait are not sent."""
    visit = desk.meant(number).visit_id
    found, meant = find_person(desk.ctx, desk.actor, visit, who), purposes or EVERY_PURPOSE
    reach.set_use(desk.ctx, desk.actor, visit, found, channel=channel, purposes=meant, allowed=False, how="command")
    desk.show({"withdrawn": list(meant)}, "Noted; messages that wait are not sent.")
