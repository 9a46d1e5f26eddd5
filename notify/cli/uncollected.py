"""Devices that nobody collects: the list, the rules of the law, the steps, the draft to print."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.cli.files import write_private
from notify.core.uncollected import LONGEST, WAYS, Standing, Step
from notify.flows import view_uncollected
from notify.flows.uncollected import RuleForm, log_step, set_rule
from notify.render.uncollected_notice import notice_pdf

_DAY = click.DateTime(formats=["%Y-%m-%d"])
_DAYS = click.IntRange(0, LONGEST)
_ADVICE = "Not legal advice: check your local law. What happens to a device is decided and done by a person."


@click.group("uncollected", cls=Group)
def uncollected() -> None:
    """Devices that nobody collects. NUMBER is a claim number. Not legal advice; nothing is ever disposed of."""


@uncollected.command("list")
@click.option("--all", "everything", is_flag=True, help="The whole shelf, not only what is overdue.")
@pass_desk
def list_(desk: Desk, everything: bool) -> None:
    """Who is overdue and what may be done from when; close one with `shelfbell ticket move NUMBER left_behind`."""
    seen = view_uncollected.view(desk.ctx, desk.actor, everything=everything)
    rows = [
        (o.ticket.number, o.days, o.told_on or "not told", o.reminders, o.missed, o.standing.stage.value,
         _from(o.standing), o.review_on or "-", o.ticket.person or "-", o.ticket.device)
        for o in seen.overdue
    ]  # fmt: skip
    head = ("number", "days", "told", "reminders", "missed", "stage", "from", "look again", "who", "device")
    kept = [f"  {k.ticket.number}  closed {k.since}, look again {k.review_on or '-'}" for k in seen.kept]
    desk.show(
        seen, *(table(rows, head=head) or ["Nothing is overdue."]),
        *([f"{seen.hidden} more on the shelf: --all"] if seen.hidden else []),
        *(["Closed as never collected, data kept:", *kept] if kept else []),
        f"Rule: {seen.rule.name if seen.rule else 'none is verified and switched on'}", _ADVICE,
    )  # fmt: skip


def _from(standing: Standing) -> str:
    return str(standing.decide_from or standing.notice_from or "-")


@uncollected.command("rules")
@pass_desk
def rules(desk: Desk) -> None:
    """The rules of the law on file. Those that come with the program are examples, not verified and switched off."""
    found = view_uncollected.rules(desk.ctx, desk.actor)
    rows = [
        (r.code, r.notice_after_days, r.wait_days, "counts" if r.active else ("verified" if r.verified else "-"),
         r.checked_on or "-", r.name)
        for r in found
    ]  # fmt: skip
    desk.show(found, *table(rows, head=("code", "before", "after", "state", "read on", "name")), _ADVICE)


@uncollected.command("rule-set")
@click.argument("code")
@click.option("--name", default=None, help="Place and law.")
@click.option("--before", type=_DAYS, default=None, help="Days after they were told, before the notice.")
@click.option("--after", type=_DAYS, default=None, help="Days after the notice, before a person may decide.")
@click.option("--form", default=None, help="How the notice must be given.")
@click.option("--source", default=None, help="Where it is written.")
@click.option("--checked-on", type=_DAY, default=None, help="The day on which you read the law itself.")
@click.option("--verified/--not-verified", default=None, help="You have read the law, and the row says what it says.")
@click.option("--active/--not-active", default=None, help="This rule counts here; the others are switched off.")
@pass_desk
def rule_set(
    desk: Desk, code: str, name: str | None, before: int | None, after: int | None, form: str | None,
    source: str | None, checked_on: datetime | None, verified: bool | None, active: bool | None,
) -> None:  # fmt: skip
    """Change the rule CODE, or make one of your own; a changed rule has to be verified again."""
    changes = RuleForm(name, before, after, form, source, checked_on.date() if checked_on else None, verified, active)
    made = set_rule(desk.ctx, desk.actor, code, changes)
    state = "counts" if made.active else ("is verified" if made.verified else "is not verified")
    desk.show(made, f"{made.code} {state}: {made.notice_after_days} days, then {made.wait_days} days. {_ADVICE}")


@uncollected.command("step")
@click.argument("number")
@click.argument("step", type=click.Choice([step.value for step in Step]))
@click.option("--on", type=_DAY, default=None, help="As 2026-11-26; today if left out.")
@click.option("--how", type=click.Choice(WAYS), default=None, help="How a notice was given.")
@pass_desk
def step(desk: Desk, number: str, step: str, on: datetime | None, how: str | None) -> None:
    """Note what you did; noted again, the newest counts."""
    meant = desk.meant(number)
    event = log_step(desk.ctx, desk.actor, meant.ticket_id, step, on=on.date() if on else None, how=how or "")
    seen = view_uncollected.view_one(desk.ctx, desk.actor, meant.ticket_id)[0]
    desk.show({"event": event, "standing": seen.standing, "checks": seen.checks},
              f"Noted. {number}: {seen.standing.stage.value}, from {_from(seen.standing)}.")  # fmt: skip


@uncollected.command("notice")
@click.argument("number")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--overwrite", is_flag=True)
@pass_desk
def notice(desk: Desk, number: str, file: Path, overwrite: bool) -> None:
    """Write the draft of a notice for NUMBER into FILE as a PDF, to be checked, completed and signed by a person."""
    draft = view_uncollected.notice(desk.ctx, desk.actor, desk.meant(number).ticket_id)
    data = notice_pdf(draft, templates=desk.services.templates, made_at=desk.ctx.clock())
    write_private(file, data, overwrite=overwrite)
    desk.show({"file": str(file), "bytes": len(data)}, f"Written: {file}. {_ADVICE}")
