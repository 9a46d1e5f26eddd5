"""Who of the staff and of the shop's scripts looked at an address or number in clear."""

from __future__ import annotations

import click

from notify.cli.desk import PAGE, Command, Desk, pass_desk, table
from notify.flows import contact_reads as flow


@click.command("access-log", cls=Command)
@click.option("--number", default="", help="Only looks at the people of this claim number.")
@click.option("--page", type=PAGE, default=1, show_default=True)
@pass_desk
def access_log(desk: Desk, number: str, page: int) -> None:
    """Who looked at whose address or number, when and where; never the address itself."""
    found = flow.view(desk.ctx, desk.actor, page=page, number=number)
    rows = [
        (desk.when(one.at), f"{one.times} times" if one.times > 1 else "once", one.by, one.place,
         ", ".join(one.numbers) or "-")
        for one in found.lines
    ]  # fmt: skip
    more = [f"There are older ones: --page {page + 1}"] if found.has_older else []
    desk.show(found, *(table(rows, head=("when", "", "who", "where", "claim number")) or ["Nobody looked."]), *more)
