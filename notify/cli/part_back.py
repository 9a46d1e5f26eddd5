"""Another part came than was ordered, and parts that go back to their suppliers."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, pass_desk, table
from notify.cli.part import part
from notify.flows import another_came, returns
from notify.flows.view_lookup import find_part


@part.command("another")
@click.argument("part")
@click.option(
    "--came", default="", help="What came, as: silver instead of black. Without it the customer is not asked."
)
@click.option("--price", default="", help="How much more it costs; less with a minus.")
@pass_desk
def another(desk: Desk, part: str, came: str, price: str) -> None:
    """Note that another one came than was ordered, and ask the customer whether they take it."""
    found = find_part(desk.ctx, desk.actor, part, states=("needed", "ordered", "arrived", "wrong"))
    if not came:
        new = another_came.note(desk.ctx, desk.actor, found)
        desk.show({"part": found, "needed": new}, "Noted: it goes back, and the right one has to be ordered.")
        return
    asked = another_came.ask(
        desk.ctx, desk.actor, found, came=came, price=price, words=desk.services.words.get
    )  # fmt: skip
    desk.show({"part": found, "question": asked}, "The question goes to the customer in a moment.")


@part.command("use")
@click.argument("part")
@pass_desk
def use(desk: Desk, part: str) -> None:
    """The other part that came fits after all."""
    found = find_part(desk.ctx, desk.actor, part, states=("wrong",))
    frees = another_came.use_anyway(desk.ctx, desk.actor, found)
    desk.show({"part": found}, f"Noted.{' The ticket is free for the bench.' if frees else ''}")


@part.command("back")
@click.argument("part", nargs=-1)
@pass_desk
def back(desk: Desk, part: tuple[str, ...]) -> None:
    """What goes back to the suppliers; with PARTs: note that these went."""
    if part:
        states = ("dead", "wrong", "not_needed")
        found = [find_part(desk.ctx, desk.actor, one, states=states) for one in part]
        desk.show({"parts": found}, f"{returns.send_back(desk.ctx, desk.actor, found)} went back.")
        return
    groups = returns.view(desk.ctx, desk.actor)
    rows = [(group.supplier or "-", p.label, p.why, _caution(p), p.article or "-", p.name)
            for group in groups for p in group.parts]  # fmt: skip
    desk.show(groups, *table(rows, head=("supplier", "label", "why", "", "article", "part")))


def _caution(one: returns.Return) -> str:
    if one.never_posted:
        return "do not post: damaged battery"
    return "customer asked" if one.asked else ""
