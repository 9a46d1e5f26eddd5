"""Reasons to keep somebody's data beyond their time: list, set, look again, end."""

from __future__ import annotations

from datetime import date, datetime

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.errors import Conflict, NotFound
from notify.core.holds import HOLD_REASONS
from notify.flows import data_holds

_DAY = click.DateTime(formats=["%Y-%m-%d"])


@click.group("hold", cls=Group)
def hold() -> None:
    """Keep the data of a visit beyond their time, with a reason and a day to look again. Not legal advice."""


@hold.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """Every hold, the earliest day to look again first; past it, it still holds."""
    found = data_holds.list_holds(desk.ctx, desk.actor)
    rows = [
        (one.id[:8], " ".join(one.numbers), one.reason, one.made_at.date(),
         f"{one.review_on}{' LOOK AGAIN NOW' if one.overdue else ''}", one.note)
        for one in found
    ]  # fmt: skip
    head = ("hold", "numbers", "reason", "since", "look again", "note")
    desk.show(found, *(table(rows, head=head) or ["Nothing is held."]))


@hold.command("set")
@click.argument("number")
@click.argument("reason", type=click.Choice(list(HOLD_REASONS)))
@click.option("--note", default="", help="What it is about, in a few words; sealed.")
@click.option("--review-on", type=_DAY, default=None, help="When somebody looks again; in three months if left out.")
@pass_desk
def set_(desk: Desk, number: str, reason: str, note: str, review_on: datetime | None) -> None:
    """Keep the data of everybody in the visit of claim number NUMBER."""
    visit_id = desk.meant(number).visit_id
    new = data_holds.set_hold(desk.ctx, desk.actor, visit_id, reason, note=note, review_on=_date(review_on))
    [made] = [one for one in data_holds.list_holds(desk.ctx, desk.actor) if one.id == new]
    desk.show(made, f"Held: {HOLD_REASONS[reason]}. Look again on {made.review_on}.")


@hold.command("review")
@click.argument("which", metavar="HOLD")
@click.option("--review-on", type=_DAY, default=None, help="When somebody looks again; in three months if left out.")
@pass_desk
def review(desk: Desk, which: str, review_on: datetime | None) -> None:
    """Say that HOLD (its identifier, the beginning of it, or a claim number) still holds."""
    day = data_holds.review_hold(desk.ctx, desk.actor, _find(desk, which), _date(review_on))
    desk.show({"review_on": day}, f"It still holds. Look again on {day}.")


@hold.command("end")
@click.argument("which", metavar="HOLD")
@pass_desk
def end(desk: Desk, which: str) -> None:
    """End HOLD: the data go when their own time is over."""
    data_holds.end_hold(desk.ctx, desk.actor, _find(desk, which))
    desk.show({"ended": True}, "Ended. The data go when their own time is over.")


def _date(moment: datetime | None) -> date | None:
    return moment.date() if moment else None


def _find(desk: Desk, text: str) -> str:
    asked = text.strip()
    plain = asked.upper().replace("-", "")
    found = [
        one for one in data_holds.list_holds(desk.ctx, desk.actor)
        if asked and (one.id.startswith(asked) or plain in [number.replace("-", "") for number in one.numbers])
    ]  # fmt: skip
    if not found:
        raise NotFound(f"Nothing is held by {asked[:40]!r}", "See `shelfbell hold list`.", field="hold")
    if len(found) > 1:
        raise Conflict(f"Several holds fit {asked[:40]!r}", "Name one by its identifier.", field="hold")
    return found[0].id
