"""Pads of claim tickets printed in advance: what is left of them, and lost ones."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.errors import Invalid, NotFound
from notify.flows import pads


@click.group("pad", cls=Group)
def pad() -> None:
    """Claim tickets printed in advance, for days without power. Print some with `shelfbell print pad FILE`."""


@pad.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """Every pad, the newest first, with what is still blank."""
    found = pads.list_pads(desk.ctx, desk.actor)
    rows = [(one.pad_id[:8], desk.when(one.printed_at), str(one.tickets), str(len(one.entered)), str(len(one.void)),
             " ".join(one.left) or "-") for one in found]  # fmt: skip
    desk.show(found, *table(rows, head=("pad", "printed", "tickets", "entered", "void", "blank")),
              f"{len(found)} pad{'' if len(found) == 1 else 's'}")  # fmt: skip


@pad.command("void")
@click.argument("number", required=False, default="")
@click.option("--pad", "pad_id", default="", help="A whole pad, by the beginning of its identifier.")
@pass_desk
def void(desk: Desk, number: str, pad_id: str) -> None:
    """A lost blank ticket (its NUMBER), or all that is left of a lost pad, opens nothing any more."""
    if bool(number) == bool(pad_id):
        raise Invalid("Name a ticket or a pad, one of both", "Give NUMBER, or --pad.", field="number")
    done = pads.make_void(desk.ctx, desk.actor, number=number, pad_id=_whole(desk, pad_id) if pad_id else "")
    desk.show({"void": done}, f"{done} blank ticket{'' if done == 1 else 's'} made void.")


def _whole(desk: Desk, begins: str) -> str:
    found = [one.pad_id for one in pads.list_pads(desk.ctx, desk.actor) if one.pad_id.startswith(begins)]
    if len(found) != 1:
        raise NotFound("There is no such pad", "Look at `shelfbell pad list`.", field="pad")
    return found[0]
