"""A shop's history of finished repairs: read it in, see what was learned, drop it again."""

from __future__ import annotations

import sys
from typing import IO

import click

from notify.cli.bars import bar
from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.errors import Invalid
from notify.core.history import ORDERS
from notify.flows import history as flow
from notify.flows.history_file import LARGEST
from notify.flows.view_learned import LOOKED_AT, Learned, view

_SHOWN = 20  # refused lines in words; --json has more
_ENCODINGS = ("utf-8", "cp1252", "latin-1", "utf-16")


@click.group("history", cls=Group)
def history() -> None:
    """Past repairs, for sensible forecasts from the first day on."""


@history.command("import")
@click.argument("file", type=click.File("rb"))
@click.option("--dates", type=click.Choice(ORDERS), default="iso", show_default=True,
              help="How days are written: 2026-11-25, 25.11.2026 or 11/25/2026.")  # fmt: skip
@click.option("--encoding", type=click.Choice(_ENCODINGS), default=None, help="Found out if left out.")
@click.option(
    "--new-kinds", is_flag=True, help="Make kinds of repair that are not there; else their lines are refused."
)
@click.option("--dry-run", is_flag=True, help="Only say what would be taken.")
@pass_desk
def import_(
    desk: Desk, file: IO[bytes], dates: str, encoding: str | None, new_kinds: bool, dry_run: bool
) -> None:  # fmt: skip
    """Read finished repairs from a CSV FILE (- is the standard input) and learn from them.

    Its first line names the columns: kind, minutes, ended; or kind, started, ended. Others are not looked at, and the
    file is not kept. Bad lines are refused, the others taken; the same file again teaches nothing twice.
    """
    data = file.read(LARGEST + 1)
    with bar(desk, "Reading") as progress:
        read = flow.read_history(
            desk.ctx, desk.actor, data, dates=dates, encoding=encoding or "", new_kinds=new_kinds, dry_run=dry_run,
            progress=progress,
        )  # fmt: skip
    desk.show({"dry_run": dry_run, "read": read}, *told(read, dry_run=dry_run))


def told(read: flow.Read, *, dry_run: bool) -> list[str]:
    """What came of a file, in words."""
    would = "would be " if dry_run else ""
    lines = [f"{read.taken:,} repairs {would}taken, {read.known:,} known before, {read.refused:,} lines refused."]
    if read.made:
        lines.append(f"New kinds{' (not made)' if dry_run else ''}: {', '.join(read.made)}.")
    if read.unknown:
        named = ", ".join(f"{name} ({count})" for name, count in read.unknown)
        lines += [f"Kinds that are not here: {named}.", "Make them with `shelfbell kind set`, or add --new-kinds."]
    lines += [f"  line {line}: {why}." for line, why in read.reasons[:_SHOWN]]
    if read.refused > _SHOWN:
        lines.append(f"  and {read.refused - _SHOWN:,} more; --json names up to {flow.MOST_REASONS:,}.")
    return lines


@history.command("report")
@click.option("--all", "all_", is_flag=True, help=f"Put every repair to the test, not the newest {LOOKED_AT:,} only.")
@pass_desk
def report(desk: Desk, all_: bool) -> None:
    """What was learned of each kind, and how well each past repair would have been predicted from those before it."""
    seen = view(desk.ctx, desk.actor, **({"limit": sys.maxsize} if all_ else {}))
    rows = [
        (one.name, one.jobs, one.read, one.kept_out, f"{one.half:.0f}", f"{one.nine:.0f}")
        for one in seen.kinds if one.jobs or one.kept_out
    ]  # fmt: skip
    head = ("kind", "repairs", "read in", "kept out", "half within", "nine of ten within")
    nothing = "Nothing was learned yet. `shelfbell history import FILE.csv` reads past repairs in."
    desk.show(seen, *(table(rows, head=head) or [nothing]), *_tested(seen))


def _tested(seen: Learned) -> list[str]:
    test = seen.test
    if not test.jobs:
        return []
    rows = [
        (f"{one.level:.0%}", f"{one.share:.1%}", f"{one.low:.1%} to {one.high:.1%}", f"{one.share_nominal:.1%}",
         f"{one.loss:.1f}", f"{one.loss_nominal:.1f}")
        for one in test.levels
    ]  # fmt: skip
    head = ("said", "done", "between", "usual minutes alone", "loss, min", "alone")
    bars = [(f"{n * 10}-{n * 10 + 10} %", count) for n, count in enumerate(test.histogram)]
    return ["", f"The newest {test.jobs:,} repairs, each predicted from those before it:", *table(rows, head=head), "",
            "Where they fell in their own forecasts (even is right):", *table(bars)]  # fmt: skip


@history.command("drop")
@click.option("--yes", is_flag=True, help="Do not ask.")
@pass_desk
def drop(desk: Desk, yes: bool) -> None:
    """Drop all repairs that were read in and what they taught; the shop's own stay."""
    if not yes and not desk.options.json:
        click.confirm("Drop every repair that was read in?", abort=True)
    elif not yes:
        raise Invalid("Dropping the history needs --yes", "Add it.", field="yes")
    gone = flow.drop_history(desk.ctx, desk.actor)
    desk.show({"dropped": gone}, f"{gone:,} repairs dropped.")
