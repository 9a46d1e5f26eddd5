"""Forget the people whose time is over, or one person at once."""

from __future__ import annotations

import click

from notify.cli.backup import keep_list_beside
from notify.cli.bars import bar
from notify.cli.desk import Command, Desk, pass_desk
from notify.cli.forget_dry_run import would_forget, would_forget_one
from notify.cli.only_one import is_served
from notify.core.errors import Invalid
from notify.core.retention import EXCEPTIONS
from notify.flows import forget as flow
from notify.flows import requests_due, watch_clock
from notify.flows.view_lookup import find_person

OUT_OF_REACH = (
    "Out of reach: mail and texts that have left, invites in their calendar, paper, and backups until their life ends."
)


@click.command("forget", cls=Command)
@click.option(
    "--dry-run", is_flag=True, help="Only say who would go (by claim numbers), what stays, why, and until when."
)
@click.option("--all", "everyone", is_flag=True, help="With --dry-run: also those whose time is not over yet.")
@click.option("--person", "number", default=None, help="Forget the people of the visit with this claim number at once.")
@click.option(
    "--who", type=click.Choice(["bringer", "tell", "payer", "collector"]), default=None,
    help="Which person of the visit; the bringer if left out.",
)  # fmt: skip
@click.option("--yes", is_flag=True, help="Do not ask before --person.")
@click.option("--the-clock-is-right", "right", is_flag=True, help="You looked: this machine's date and time are right.")
@pass_desk
def forget(
    desk: Desk, dry_run: bool, everyone: bool, number: str | None, who: str | None, yes: bool, right: bool
) -> None:  # fmt: skip
    """Forget people: their keys are destroyed, their rows overwritten, and the files rewritten.

    Without options this does what happens every night: who was handed everything back longer ago than the shop
    keeps contact data is forgotten. The story of the repairs stays, without a person in it.
    """
    _go_together(
        ("--all goes with --dry-run", everyone, dry_run), ("--who goes with --person", who, number is not None),
        ("--the-clock-is-right goes without --dry-run and --person", right, not dry_run and number is None),
    )  # fmt: skip
    if number is not None:
        _one(desk, number, who or "bringer", yes=yes, dry_run=dry_run)
        return
    if dry_run:
        would_forget(desk, everyone=everyone)
        return
    if right:
        watch_clock.vouch(desk.ctx, desk.actor)
    else:
        watch_clock.look(desk.ctx, ran=None)
    served = _is_served(desk)
    done = _all(desk, dry_run=dry_run, served=served)
    keep_list_beside(desk.services)
    kept = [f"  kept: {EXCEPTIONS[reason]}" for _, reason in done.kept]
    if done.doubt:
        kept += [f"{watch_clock.WHY[done.doubt]}, so nobody is forgotten on its word.",
                 "If its date and time are right, say so: shelfbell forget --the-clock-is-right"]  # fmt: skip
    said = [
        f"Forgotten: {len(done.due) or 'nobody'}. Kept though their time is over: {len(done.kept) or 'nobody'}.",
        *kept,
    ]
    desk.show(done, *said, *([_proof(done.confirmed, served), OUT_OF_REACH] if done.due else []))


def _go_together(*rules: tuple[str, object, bool]) -> None:
    """What would be left aside without a word is refused: whoever typed it meant something else than would be done."""
    for what, is_there, is_meant in rules:
        if is_there and not is_meant:
            raise Invalid(what, "See `shelfbell forget --help`.")


def _all(desk: Desk, *, dry_run: bool, served: bool) -> flow.Forgotten:
    """With a bar where somebody looks; it begins once it is known how many go."""
    with bar(desk, "Forgetting") as tell:
        services = desk.services
        return flow.forget(desk.ctx, desk.actor, dry_run=dry_run, drop_copies=services.drop_copies, prove=not served,
                           tell=tell, rest=services.rest)  # fmt: skip


def _one(desk: Desk, number: str, who: str, *, yes: bool, dry_run: bool) -> None:
    found = find_person(desk.ctx, desk.actor, desk.meant(number).visit_id, who)
    fate, lines = would_forget_one(desk, found)
    if dry_run:
        desk.show({"would_forget": 1, "person": fate}, "This person would be forgotten.", *lines)
        return
    if not yes:
        click.echo("\n".join(lines), err=True)
        click.confirm("This cannot be taken back. Forget this person now?", abort=True, err=True)
    served = _is_served(desk)
    proved = flow.erase_person(desk.ctx, desk.actor, found, drop_copies=desk.services.drop_copies, prove=not served)
    requests_due.end_requests(desk.ctx, desk.actor, found)
    keep_list_beside(desk.services)
    desk.show({"forgotten": 1, "confirmed": proved}, "Forgotten.", _proof(proved, served), OUT_OF_REACH)


def _is_served(desk: Desk) -> bool:
    """Whether a running service has the files: then it proves the forgetting."""
    return desk.ctx.db.is_sqlite and is_served(desk.services.settings.database.data_folder)


def _proof(confirmed: bool, served: bool) -> str:
    if confirmed:
        return "It is proved that nothing readable is left in the database files."
    if served:
        return (
            "The running service rewrites the files and proves it: within a minute, or, where the database is large, "
            "once the shop is closed. The keys are gone already."
        )
    return (
        "It is not proved yet, because somebody was reading just now, or the database is large and the shop is open; "
        "the next run proves it."
    )
