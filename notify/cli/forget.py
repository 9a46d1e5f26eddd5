"""Forget the people whose time is over, or one person at once."""

from __future__ import annotations

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.cli.only_one import is_served
from notify.flows import forget as flow
from notify.flows.view_lookup import find_person


@click.command("forget", cls=Command)
@click.option("--dry-run", is_flag=True, help="Only say how many would go and who stays for what reason.")
@click.option("--person", "number", default="", help="Forget the people of the visit with this claim number at once.")
@click.option(
    "--who", type=click.Choice(["bringer", "tell", "payer", "collector"]), default="bringer", show_default=True
)
@click.option("--yes", is_flag=True, help="Do not ask before --person.")
@pass_desk
def forget(desk: Desk, dry_run: bool, number: str, who: str, yes: bool) -> None:
    """Forget people: their keys are destroyed, their rows overwritten, and the files rewritten.

    Without options this does what happens every night: who was handed everything back longer ago than the shop
    keeps contact data is forgotten. The story of the repairs stays, without a person in it.
    """
    if number:
        _one(desk, number, who, yes=yes, dry_run=dry_run)
        return
    served = _is_served(desk)
    done = flow.forget(desk.ctx, desk.actor, dry_run=dry_run, drop_copies=desk.services.drop_copies, prove=not served)
    kept = [f"  kept: {reason}" for _, reason in done.kept]
    if dry_run:
        desk.show(
            done,
            f"{len(done.due)} people would be forgotten, {len(done.kept)} stay although their time is over.",
            *kept,
        )
        return
    desk.show(done, f"{len(done.due)} people forgotten, {len(done.kept)} kept.", *kept, _proof(done.confirmed, served))


def _one(desk: Desk, number: str, who: str, *, yes: bool, dry_run: bool) -> None:
    found = find_person(desk.ctx, desk.actor, desk.meant(number).visit_id, who)
    if dry_run:
        desk.show({"would_forget": 1}, "This person would be forgotten.")
        return
    if not yes:
        click.confirm("This cannot be taken back. Forget this person now?", abort=True)
    served = _is_served(desk)
    proved = flow.erase_person(desk.ctx, desk.actor, found, drop_copies=desk.services.drop_copies, prove=not served)
    desk.show({"forgotten": 1, "confirmed": proved}, "Forgotten.", _proof(proved, served))


def _is_served(desk: Desk) -> bool:
    """Whether a running service has the files: then it proves the forgetting, within a minute."""
    return desk.ctx.db.is_sqlite and is_served(desk.services.settings.database.data_folder)


def _proof(confirmed: bool, served: bool) -> str:
    if confirmed:
        return "It is proved that nothing readable is left in the database files."
    if served:
        return "The running service rewrites the files and proves it within a minute."
    return "It is not proved yet, because somebody was reading just now; the next run proves it."
