"""Parts that tickets wait for: needed, ordered, due, arrived, dead, not needed."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.claim_number import show_number
from notify.flows import parts, view_deliveries
from notify.flows.view_lookup import find_part


@click.group("part", cls=Group)
def part() -> None:
    """Parts. PART is the label on its bag, or the claim number of a ticket that waits for one such part."""


@part.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """What is on its way, what nobody has ordered yet, and what came in today."""
    view = view_deliveries.view(desk.ctx, desk.actor)
    whole = [*(p for box in view.boxes for p in box.parts), *view.unordered, *view.arrived]
    rows = [
        (p.label, p.state, "late" if p.late else "", desk.when(p.due_at), p.supplier or "-", p.ticket.number, p.name)
        for p in whole
    ]  # fmt: skip
    desk.show(
        view,
        *table(rows, head=("label", "state", "", "due", "supplier", "for", "part")),
        f"{len(rows)} part{'' if len(rows) == 1 else 's'}",
    )


@part.command("need")
@click.argument("number")
@click.argument("name")
@pass_desk
def need(desk: Desk, number: str, name: str) -> None:
    """Note that a part is missing for the ticket with this claim NUMBER."""
    new = parts.need(desk.ctx, desk.actor, desk.meant(number).ticket_id, name=name)
    desk.show({"part": new}, f"Noted. Order it: shelfbell part order {number} SUPPLIER")


@part.command("order")
@click.argument("part")
@click.argument("supplier")
@click.option("--due", default="", help="As 2026-11-26T09:30; the supplier's usual delivery if left out.")
@pass_desk
def order(desk: Desk, part: str, supplier: str, due: str) -> None:
    """Note the order."""
    found = find_part(desk.ctx, desk.actor, part, states=("needed",))
    at = parts.order(
        desk.ctx, desk.actor, found, supplier=supplier, due=desk.instant(due, field="due") if due else None
    )
    desk.show({"part": found, "due": at}, f"Ordered; due {desk.when(at)}.")


@part.command("due")
@click.argument("part")
@click.argument("due")
@pass_desk
def due(desk: Desk, part: str, due: str) -> None:
    """Note another delivery time."""
    found = find_part(desk.ctx, desk.actor, part, states=("ordered",))
    parts.change_due(desk.ctx, desk.actor, found, due=desk.instant(due, field="due"))
    desk.show({"part": found}, "Noted.")


@part.command("arrive")
@click.argument("part")
@pass_desk
def arrive(desk: Desk, part: str) -> None:
    """Book a part in; says which ticket it frees."""
    found = find_part(desk.ctx, desk.actor, part, states=("ordered", "needed"))
    done = parts.arrive(desk.ctx, desk.actor, found)
    freed = "is free for the bench" if done.frees else "still waits for something else"
    desk.show(done, f"Booked in. {show_number(done.number)} {freed}.")


@part.command("dead")
@click.argument("part")
@pass_desk
def dead(desk: Desk, part: str) -> None:
    """Note that it came in dead; another one is needed from now on."""
    found = find_part(desk.ctx, desk.actor, part, states=("arrived",))
    new = parts.dead_on_arrival(desk.ctx, desk.actor, found)
    desk.show({"part": new}, "Noted, and another one is needed.")


@part.command("not-needed")
@click.argument("part")
@pass_desk
def not_needed(desk: Desk, part: str) -> None:
    """Note that it is no longer wanted."""
    found = find_part(desk.ctx, desk.actor, part, states=("needed", "ordered", "arrived"))
    parts.not_needed(desk.ctx, desk.actor, found)
    desk.show({"part": found}, "Noted.")
