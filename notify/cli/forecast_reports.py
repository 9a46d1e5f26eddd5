"""The reports about the bench and the time, in words and numbers, and every picture as a file."""

from __future__ import annotations

from pathlib import Path

import click

from notify.cli.desk import Desk, pass_desk, table
from notify.cli.files import write_private
from notify.cli.forecast import forecast
from notify.flows import view_load, view_time

__all__ = ["forecast"]
PICTURES = ("bench", "promises", "pit", "drift", "time")


@forecast.command("report")
@pass_desk
def report(desk: Desk) -> None:
    """How full the bench will be on the next days, and where the time of devices goes. It changes nothing."""
    from notify.web.counter import load_says, time_says  # their pages come with them: not for the other commands

    load, spent = view_load.view(desk.ctx, desk.actor), view_time.view(desk.ctx, desk.actor)
    causes = time_says.rows(spent) if spent.devices else []
    desk.show(
        {"bench": load, "time": spent}, load_says.finding(load), load_says.about(load), "",
        *table(load_says.rows(load), head=("day", "hours taken", "8 times in 10")), "",
        time_says.finding(spent), *([time_says.about(spent), ""] if spent.devices else []),
        *table(causes, head=("what", "open hours a device", "of 100 until ready", "days")), "",
        *table(time_says.kinds(spent), head=("kind", "hours on the bench", "waits longest")),
    )  # fmt: skip


@forecast.command("picture")
@click.argument("name", type=click.Choice(PICTURES))
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), help="The file to write (SVG).")
@click.option("--dark", is_flag=True, help="For a dark page.")
@click.option("--overwrite", is_flag=True, help="Also when the file is there.")
@pass_desk
def picture(desk: Desk, name: str, out: Path, dark: bool, overwrite: bool) -> None:
    """A picture as a file: the bench over the next days, promised against ready, where promises fell in their
    forecasts (pit), whether that drifts, or where the time goes."""
    from notify.web.counter import pictures

    drawn, words = pictures.draw(name, desk.ctx, desk.actor, dark=dark)
    write_private(desk.here / out, drawn, overwrite=overwrite)
    desk.show({"file": str(out), "words": words}, f"Written to {out}.", words)
