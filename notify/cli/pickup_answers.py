"""What calendars answered about pickups and staff have to decide."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, pass_desk
from notify.cli.pickup import pickup, typed_slot
from notify.core.calendar_choices import Choice
from notify.flows import view_calendar
from notify.flows.settle_answer import At, find_answer, settle
from notify.flows.view_calendar import Question


@pickup.command("answers")
@pass_desk
def answers(desk: Desk) -> None:
    """What calendars asked that waits for a decision. ID is the beginning of its identifier."""
    found = view_calendar.view(desk.ctx, desk.actor)
    lines = [line for one in found for line in _told(desk, one)]
    desk.show(found, *(lines or ["No calendar asks anything."]))


def _told(desk: Desk, one: Question) -> list[str]:
    said = desk.services.words.get("en")(f"calendar_asks.{one.asked}")
    wants = [f"    asks for: {desk.when(one.wants_at)}"] if one.wants_at else []
    offers = (one.fits,) if one.fits else one.near
    near = [f"    free: {o.slot.local:%Y-%m-%dT%H:%M}{'/1' if o.slot.fold else ''}" for o in offers]
    return [
        f"{one.id[:8]}  {one.number or '-'}  {one.person or '-'}  {desk.when(one.start_at)}", f"    {said}", *wants,
        *near, *(f"    “{line}”" for line in one.words.splitlines() if line),
        f"    decide: shelfbell pickup answer {one.id[:8]} {'|'.join(one.can)}",
    ]  # fmt: skip


@pickup.command("answer")
@click.argument("answer_id", metavar="ID")
@click.argument("choice", type=click.Choice([each.value for each in Choice]))
@click.option("--slot", default="", help="With take: another time, as `pickup slots` lists it.")
@pass_desk
def answer(desk: Desk, answer_id: str, choice: str, slot: str) -> None:
    """Decide: free the place, keep it, take the time asked for, say no to it, or only note that you have seen it."""
    at = At(*typed_slot(slot)) if slot else None
    found = find_answer(desk.ctx, desk.actor, answer_id)
    settle(desk.ctx, desk.actor, found, Choice(choice), at=at)
    desk.show({"answer": found, "choice": choice}, _DONE[Choice(choice)])


_DONE = {
    Choice.FREE: "The place is free again, and the customer is told.",
    Choice.KEEP: "The place is kept.",
    Choice.TAKE: "The pickup is moved, and the customer is told.",
    Choice.NO: "The pickup stays, and the customer is told.",
    Choice.SEEN: "Noted.",
}
