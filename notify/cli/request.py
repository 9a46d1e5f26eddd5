"""What people ask by law about their own data: take in, make sure, answer, refuse, extend; everything that is held."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from notify.cli.desk import Desk, Group, as_json, pass_desk, table
from notify.cli.files import write_private
from notify.core.requests import REASONS, WAYS, Kind
from notify.core.retention import EXCEPTIONS, NOT_ADVICE
from notify.flows import granted, view_requests
from notify.flows import requests as flow
from notify.flows.view_lookup import find_person
from notify.flows.view_replies import find_reply
from notify.flows.view_requests import RequestLine

_DAY = click.DateTime(formats=["%Y-%m-%d"])
_NOTE = click.option("--note", default="", help="In your own words; kept sealed.")
_ONE = click.argument("request")


@click.group("request", cls=Group)
def request() -> None:
    """What people ask about their own data. REQUEST is the beginning of its identifier. Not legal advice."""


@request.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """Open ones, the nearest last day first, then by which data are set aside, then the newest that are over."""
    seen = view_requests.view(desk.ctx, desk.actor)
    rows = [_row(one) for one in (*seen.open, *seen.in_force, *seen.ended)]
    head = ("request", "number", "what", "state", "last day", "left", "known", "waits for")
    desk.show(seen, *(table(rows, head=head) or ["Nobody has asked anything."]), NOT_ADVICE)


def _row(one: RequestLine) -> tuple[object, ...]:
    left = f"{one.days} {'day' if one.days == 1 else 'days'}" if one.state == "open" else "-"
    known = "yes" if one.proved else "no"
    waits = ", ".join("a device of theirs is here" if code == "open" else EXCEPTIONS[code] for code in one.against)
    state = "set aside" if one.in_force else one.state
    return one.id[:8], one.number, one.kind.value, state, one.last_day, left, known, waits or "-"


@request.command("show")
@_ONE
@pass_desk
def show(desk: Desk, request: str) -> None:
    """One request with what was asked and said about it."""
    one = view_requests.view_one(desk.ctx, desk.actor, _found(desk, request))
    late = "  LATE" if one.state == "open" and one.days < 0 else ""
    desk.show(one, *table([_row(one)]), f"{one.article}; received {one.received_on}, by {one.last_day}{late}",
              *one.note.splitlines(), NOT_ADVICE)  # fmt: skip


def _found(desk: Desk, beginning: str) -> str:
    return view_requests.find_request(desk.ctx, desk.actor, beginning)


@request.command("add")
@click.argument("number")
@click.argument("kind", type=click.Choice([kind.value for kind in Kind]))
@click.option("--how", type=click.Choice(WAYS), default="counter", show_default=True, help="How it came.")
@click.option("--who", type=click.Choice(["bringer", "tell", "payer", "collector"]), default="bringer")
@click.option("--received", "received_on", type=_DAY, default=None, help="The day on which it came; today if left out.")
@click.option("--made-sure", default="", help="How you know that it is them.")
@_NOTE
@pass_desk
def add(
    desk: Desk, number: str, kind: str, how: str, who: str, received_on: datetime | None, made_sure: str, note: str
) -> None:  # fmt: skip
    """Note what somebody of the visit NUMBER asks."""
    visit, day = desk.meant(number).visit_id, received_on.date() if received_on else None
    made = flow.ask(desk.ctx, desk.actor, visit, find_person(desk.ctx, desk.actor, visit, who), kind=kind, how=how,
                    note=note, made_sure=made_sure, received_on=day)  # fmt: skip
    desk.show(made, f"{made.id[:8]}: {'noted' if made.new else 'was asked already'}, answer by {made.due_on}.")


@request.command("prove")
@_ONE
@click.option("--made-sure", required=True, help="How you know that it is them.")
@pass_desk
def prove(desk: Desk, request: str, made_sure: str) -> None:
    """Say how you made sure who asks."""
    flow.prove(desk.ctx, desk.actor, _found(desk, request), made_sure=made_sure)
    desk.show({"proved": True}, "Noted.")


@request.command("done")
@_ONE
@click.option("--name", default="", help="The right name, where a wrong one is corrected.")
@_NOTE
@pass_desk
def done(desk: Desk, request: str, name: str, note: str) -> None:
    """It is answered; they are told."""
    flow.finish(desk.ctx, desk.actor, _found(desk, request), note=note, name=name)
    desk.show({"state": "done"}, "It is done, and they are told.")


@request.command("refuse")
@_ONE
@click.option("--reason", type=click.Choice(REASONS), required=True)
@_NOTE
@pass_desk
def refuse(desk: Desk, request: str, reason: str, note: str) -> None:
    """Refuse it; they are told why, and how to complain."""
    flow.refuse(desk.ctx, desk.actor, _found(desk, request), reason=reason, note=note)
    desk.show({"state": "refused"}, f"It is refused, and they are told. {NOT_ADVICE}")


@request.command("extend")
@_ONE
@_NOTE
@pass_desk
def extend(desk: Desk, request: str, note: str) -> None:
    """Two months more, once, within the first month; they are told."""
    until = flow.extend(desk.ctx, desk.actor, _found(desk, request), note=note)
    desk.show({"until": until}, f"Extended until {until}, and they are told.")


@request.command("lift")
@_ONE
@click.option("--told", default="", help="How you told them, in words; empty: they are written to first.")
@pass_desk
def lift(desk: Desk, request: str, told: str) -> None:
    """End a restriction: they are told first (GDPR art. 18(3)); once that has left, the same command ends it."""
    ended = granted.lift(desk.ctx, desk.actor, _found(desk, request), told=told)
    said = "It has ended." if ended else "They are told now. Give the same command once more when that has left."
    desk.show({"ended": ended}, said)


@request.command("withdraw")
@_ONE
@pass_desk
def withdraw(desk: Desk, request: str) -> None:
    """They took it back."""
    flow.withdraw(desk.ctx, desk.actor, _found(desk, request))
    desk.show({"state": "withdrawn"}, "It is taken back.")


@request.command("export")
@_ONE
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--overwrite", is_flag=True)
@pass_desk
def export(desk: Desk, request: str, file: Path, overwrite: bool) -> None:
    """Write everything that is held about who asked into FILE, as JSON."""
    found = flow.export(desk.ctx, desk.actor, _found(desk, request))
    data = as_json(found).encode()
    write_private(file, data, overwrite=overwrite)
    desk.show({"file": str(file), "bytes": len(data)}, f"Written: {file}.")


@request.command("of-reply")
@click.argument("reply")
@pass_desk
def of_reply(desk: Desk, reply: str) -> None:
    """Make a request of a REPLY that asks to be forgotten."""
    made = flow.from_reply(desk.ctx, desk.actor, find_reply(desk.ctx, desk.actor, reply))
    desk.show(made, f"{made.id[:8]}: noted, answer by {made.due_on}. Make sure who asks.")
