"""Why was she told, or not? The story of every message about a ticket, in sentences."""

from __future__ import annotations

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.flows import view_why
from notify.flows.view_why import Told
from notify.render.why_says import say_steps
from notify.render.words import Language, Words


@click.command("why", cls=Command)
@click.argument("number")
@pass_desk
def why(desk: Desk, number: str) -> None:
    """Why each message about a ticket left or did not: planned, waited, dropped, sent, delivered; the newest first."""
    seen = view_why.view(desk.ctx, desk.actor, desk.meant(number).ticket_id)
    words = Words(desk.services.templates / "words", prefix="desk.").get("en")
    lines = [line for one in seen.told for line in _lines(desk, words, one)]
    desk.show(seen, *(lines or [f"Nothing was planned about {seen.number} yet."]))


def _lines(desk: Desk, words: Language, one: Told) -> list[str]:
    notice = desk.services.words.get("en")(f"notice.{one.line.notice}")
    to = one.line.staff or " ".join(part for part in (one.person, one.line.to) if part)  # the notice names the shop
    way = words[f"channel.{one.line.channel}"] if one.line.channel else ""
    head = f"{notice}{f', to {to}' if to else ''}{f', {way}' if way else ''}"
    return [head, *(f"  {said}" for said in say_steps(one.steps, words=words, at=lambda at: f"at {desk.when(at)}"))]
